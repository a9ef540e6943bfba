"""What the tape reads at each line, held against the layout, handbooks and the real corners."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely

from marking.hand.plan import by_hand
from marking.hand.readings import cross_ticks, side_work
from marking.layout.layout import lay_out
from marking.measures.tape import Tape, as_taped
from marking.ruling.order import WhoRules
from tests.conftest import MILLRACE
from tests.hand.benches import BENCHES

if TYPE_CHECKING:
    from tests.conftest import MakeJob


@pytest.mark.parametrize("bench", BENCHES)
def test_every_numeral_stands_at_the_reading_that_counts_to_it(
    make_job: MakeJob, bench: str
) -> None:
    job = make_job(BENCHES[bench])
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    per_line = 25.4 if job.units == "in" else 10.0
    written = {"near": 0, "far": 0}
    for tick in plan.ticks:
        for side, numeral in tick.numerals.items():
            written[side] += 1
            assert tick.reading == pytest.approx(int(numeral.text) * per_line, abs=1e-6)
            assert numeral.text == tick.name
    assert written["near"] == written["far"] == len(layout.numerals) / 2
    assert [tick.reading for tick in plan.ticks] == sorted(tick.reading for tick in plan.ticks)


def test_the_mark_for_60_lies_at_61_in_when_the_tape_starts_at_the_tables_end(
    make_job: MakeJob,
) -> None:
    """Common practice, no source: a second zero finds what a first one hides."""
    job = make_job(MILLRACE)
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules())
    checks = {check.name: as_taped(check.reading, Tape(), "in") for check in plan.near.checks}
    assert checks["60"] == "61 in"
    assert checks["147"] == "148 in"
    assert (plan.near.zero_hand, plan.far.zero_hand) == ("left", "right")
    # The zero end leans outward, so that from the far side's own end the same marks read more.
    assert all(
        far.reading > near.reading
        for near, far in zip(plan.near.checks, plan.far.checks, strict=True)
    )


def test_a_side_begun_at_the_other_end_fails_the_check_of_the_count(make_job: MakeJob) -> None:
    job = make_job(MILLRACE)
    layout = lay_out(job)
    work = by_hand(layout, job, WhoRules()).near
    last = float(layout.grid.cross_x[-1])
    for check in work.checks:
        wrong_way = last - int(check.name) * 25.4
        if int(check.name) != 147 - int(check.name):
            assert abs(wrong_way - check.reading) > 12


def test_a_warm_tape_shows_less_by_what_steel_expands(make_job: MakeJob) -> None:
    """Surveying handbooks: 6.45e-6 a degree F; 30 above 68, 147 in are 0.028 short."""
    job = make_job(MILLRACE)
    layout = lay_out(job)
    ticks = cross_ticks(layout, job.units, Tape(temperature=(98 - 32) / 1.8))
    short = 147 * 25.4 - ticks[-1].reading
    assert short == pytest.approx(147 * 25.4 * 30 * 6.45e-6, rel=0.01)


@pytest.mark.parametrize("side", ["near", "far"])
def test_hem_lines_are_told_by_their_distance_from_the_real_edge(
    make_job: MakeJob, side: str
) -> None:
    """The distance to a crooked edge by shapely, square to the line as a tape is laid."""
    job = make_job(MILLRACE)
    layout = lay_out(job)
    near, far = (layout.top.corners_table[[0, 1]], layout.top.corners_table[[3, 2]])
    edge = shapely.LineString(near if side == "near" else far)
    tape = Tape()
    work = side_work(side, layout, job.grid, tape, cross_ticks(layout, job.units, tape))
    lines = {line.id: line for line in layout.grid.long_lines}
    assert [one.line for one in work.longs] == sorted(
        (name for name, line in lines.items() if line.side == side),
        key=lambda name: lines[name].offset,
    )
    for one in work.longs:
        y = lines[one.line].y
        for x, told in zip(layout.grid.cross_x[[0, -1]], one.from_edge, strict=True):
            upright = shapely.LineString([(x, -100), (x, 10_000)])
            assert told == pytest.approx(abs(upright.intersection(edge).y - y), abs=1e-6)
        assert one.reading == pytest.approx(abs(y - lines[work.longs[0].line].y), abs=1e-6)
    served = {hem for one in work.longs for hem in one.serves}
    assert served == {"double 4 in", "double 3 in", "double 1 1/2 in", "single 1 in"}


def test_what_is_ruled_is_every_line_across_once_and_whole(make_job: MakeJob) -> None:
    job = make_job(
        MILLRACE.replace("[hems]", "bias = [20]\n[hems]\ncross_folds = true").replace(
            "heavy_every = 12", "heavy_every = 12\nhalf_ticks = true"
        )
    )
    layout = lay_out(job)
    plan = by_hand(layout, job, WhoRules("left", by_two=True))
    across = {
        s.id: s.points
        for s in layout.strokes
        if np.ptp(s.points[:, 1]) > 1000 and s.layer != "numeral"
    }
    assert {name.partition("-")[0] for name in across} == {"cross", "fold", "bias"}
    ruled = {step.line.of: step.line.points for step in plan.steps}
    assert ruled.keys() == across.keys()
    assert all(np.array_equal(ruled[name], across[name]) for name in across)
