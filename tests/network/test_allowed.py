"""What is allowed, from a job's tolerance and its [allowed]."""

from math import inf

from marking.job.keys import MarkingJob
from marking.job.work_keys import AllowedTable, FenceTable
from marking.network.allowed_errors import Allowed, allowed_of
from marking.network.error_model import ErrorModel, error_model_of


def job(**given):
    return MarkingJob.model_construct(**{"tolerance": 1.5, "fence": None, **given})


def test_the_tolerance_is_total_and_square_where_nothing_else_is_said():
    assert allowed_of(job()) == Allowed(1.5, 1.0, square=1.5, neighbours=inf)


def test_what_is_allowed_beside_the_tolerance_overrides_single_limits():
    table = AllowedTable.model_construct(total=3.0, square=None, neighbours=0.8, step=1.1)
    found = allowed_of(job(allowed=table))
    assert found == Allowed(3.0, 1.1, square=1.5, neighbours=0.8)


def test_a_fence_errs_as_the_job_says_and_all_else_as_we_assume():
    table = FenceTable.model_construct(length=2400.0, straight=0.5, contact=0.1, stops=None)
    found = error_model_of(job(fence=table).fence)
    assert (found.bow, found.contact) == (0.5, 0.1)
    assert (found.stops, found.pointer) == (ErrorModel().stops, 0.05)
