"""What `place` tells of each section, on covers that an independent model marks.

`tests.ways.cover_model` was written from a description of the work by someone who had not read the
program; its figures are our own assumptions. `python -m tests.benchmarks.placement` counts more.
"""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from marking.job.work_keys import FenceTable
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.datum import Datum
from marking.network.error_model import ErrorModel
from marking.sections.plan import divide_into_sections
from marking.tape_marks.choice import MarksChoice, Task, work
from marking.tape_marks.visible import sights
from tests.placement.whole_covers import LIMITS, placed_covers, slipped, within_told
from tests.tape_marks.as_cover_plan import as_cover_plan
from tests.ways.cover_model import Errors

COVERS = 14
# Set down so that no mark leaves the window: what `place` would refuse, a person would move.
ERRORS = replace(Errors(), set_down=0.5, set_down_turn=1e-3)
DATUM = Datum((0.0, 0.0), ERRORS.tape_scale, ERRORS.lean)


@pytest.fixture(scope="module", params=[None, "4 ft"], ids=["alone", "fence"])
def covers(request, make_job):
    """40 x 20 in on an A3 bed, marked as chosen: what is read, and how it was placed."""
    job = make_job(
        {"table": {"length": "40 in", "width": "20 in"}, "plotter": {"profile": "flatbed-a3"}}
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    fence = None if request.param is None else FenceTable(length=request.param)
    task = Task(layout, plan, Tape(), "in", LIMITS, errors=ErrorModel(), fence=fence)
    done = work(task, MarksChoice(at_nodes="all" if fence is None else "ends"))
    marks = [one.mark for one in done.tape_marks.marks if one.line == "row"]
    seen = sights(plan, layout.grid, marks, read=dict(done.tape_marks.read))
    model = as_cover_plan(layout, plan, done.tape_marks, seen, done.fences)
    _, by_place = placed_covers(model, plan, ERRORS, DATUM, COVERS, 5)
    return model, by_place


def test_ink_lies_as_near_true_as_place_told_on_about_95_of_100_covers(covers):
    model, by_place = covers
    kept = within_told(model, ERRORS, by_place, COVERS, 5)
    assert kept.size > 60
    # So few say 95 of 100 to about 3.
    assert kept.mean() > 0.88
    doubted = [bool(placed.doubts) for of_one in by_place.placed for placed in of_one]
    assert np.mean(doubted) < 0.04


def test_the_plotters_scale_is_known_better_after_each_section(covers):
    _, by_place = covers
    sds = []
    for of_one in by_place.placed:
        network = of_one[0].inking.network
        block = network.places["plotter"]
        sds.append(np.sqrt(np.diag(network.by_tape)[block]))
    assert (np.diff(sds, axis=0) <= 1e-15).all()
    # Along the table, where the marks of a section lie furthest apart.
    assert sds[-1][0] < 0.95 * ERRORS.scale


def test_a_slip_of_3_mm_in_a_reading_asked_for_is_named(covers):
    _, by_place = covers
    named = slipped(by_place, 3.0, np.random.default_rng(2), most=25)
    assert len(named) == 25
    assert np.mean(named) > 0.9
