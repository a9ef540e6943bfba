"""A slip of 3 mm in one of the readings that `control` asks for is named, and good ones pass.

The whole score, on the demo bench and with a 24 x 36 in, is `tests.benchmarks.slips`; what it may
come to by chance is the binomial distribution's.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from marking.job.work_keys import FenceTable
from marking.layout.layout import lay_out
from marking.least_squares.least_slip import least_named, unnamed_share
from marking.measures.tape import Tape
from marking.network.allowed_errors import Allowed
from marking.network.error_model import ErrorModel
from marking.network.network import KnownMark, Reading, known
from marking.network.worth_of_readings import gain
from marking.sections.locating_marks import Mark
from marking.sections.plan import divide_into_sections
from marking.tape_marks.choice import MarksChoice, Task, work
from tests.placement.slipping_asked import score_asked

RUNS = 15


@pytest.mark.parametrize("rail", [None, "3 ft"])
def test_a_slip_is_named_99_in_100_and_good_readings_are_doubted_1_in_100(make_job, rail) -> None:
    job = make_job(
        {"table": {"length": "32 in", "width": "20 in"}, "plotter": {"profile": "flatbed-a3"}}
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    fence = None if rail is None else FenceTable(length=rail)
    limits = Allowed(25.4 / 16, 1.1)
    task = Task(layout, plan, Tape(), "in", limits, errors=ErrorModel(), fence=fence)
    done = work(task, MarksChoice(at_nodes="all" if fence is None else "ends"))
    told = score_asked(task, done, RUNS)
    assert told.slips == told.good >= 40
    # Fewer than so many have odds of 1 in 1000 where 99 in 100 are named; so many more likewise.
    assert told.named + told.again >= binom.ppf(0.001, told.slips, 0.99)
    assert told.doubted <= binom.ppf(0.999, told.good, 0.01)
    if rail is None:
        # Four readings leave it open now and then which of two slipped, until both are read again.
        assert told.named >= binom.ppf(0.001, told.slips, 0.96)


def test_how_often_a_slip_stays_unnamed_is_told_before_it_is_read() -> None:
    """Of marks round a bed: at the slip that is named 99 in 100 at worst, fewer stay unnamed."""
    angles = 2 * np.pi * np.arange(8) / 8
    spots = [(200 + 190 * np.cos(a), 130 + 120 * np.sin(a)) for a in angles]
    marks = [KnownMark(Mark(f"m{n}", at, "control"), None, 0.3) for n, at in enumerate(spots)]
    readings = [Reading(one.mark.id, one.mark.at_table, 0.25) for one in marks]
    gained = gain(known(marks), readings, np.array([200.0, 130.0]), "rigid")
    names = [one.mark.id for one in marks]
    least = max(least_named(n, names, gained.projector, gained.own) for n in range(8))
    assert unnamed_share(least, names, gained.projector, gained.own) < 0.01
    assert unnamed_share(least / 2, names, gained.projector, gained.own) > 0.1
    assert unnamed_share(3.0, names[:1], gained.projector[:2, :2] * 0, gained.own[:1]) == 1.0
