"""Ticks on the table's sides that printed lines are pulled onto, against shapely and arithmetic."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from shapely import LineString, Point

from marking.drawing.svg import svg
from marking.layout.layout import lay_out
from marking.output.report import markdown, record
from marking.output.table_picture import table_picture
from marking.sections.plan import divide_into_sections
from marking.stretching.ticks import pull_ticks

if TYPE_CHECKING:
    from tests.conftest import MakeJob

CROOKED = {
    "length": "100 in",
    "width": "28 in",
    "survey": {
        "near": "100 in",
        "far": "100 1/16 in",
        "zero_end": "28 in",
        "far_end": "27 15/16 in",
        "diagonal_from_zero_near": "103 27/32 in",
        "diagonal_from_zero_far": "103 29/32 in",
    },
}
SLACK = {"stretch_length": "0.5 %", "stretch_width": "1 %"}
ROLL = {"profile": "roll-36"}


@pytest.mark.parametrize("cloth", [{}, SLACK], ids=["as it lies", "slack"])
def test_ticks_stand_where_the_true_lines_leave_the_real_top(
    make_job: MakeJob, cloth: dict[str, str]
) -> None:
    """The lines of a cover that is not drawn slack, carried on to the real sides by shapely."""
    job = make_job({"table": CROOKED, "hems": {"depth": "4 in"}, "plotter": ROLL, "cloth": cloth})
    true = lay_out(make_job({"table": CROOKED, "hems": {"depth": "4 in"}, "plotter": ROLL}))
    ticks = pull_ticks(lay_out(job), job.grid)
    corners = [Point(*corner) for corner in true.top.corners_table]
    names = {"near edge": (0, 1), "far edge": (3, 2), "zero end": (0, 3), "far end": (1, 2)}
    ys = {line.id: line.y for line in true.grid.long_lines}
    seen = dict.fromkeys(names, 0)
    for tick in ticks:
        start, end = (corners[n] for n in names[tick.side])
        side = LineString([start, end])
        seen[tick.side] += 1
        if tick.line is not None and tick.line.startswith("cross"):
            x = true.grid.cross_x[int(tick.line.split("-")[1])]
            where = side.intersection(LineString([(x, -500), (x, 5000)]))
        elif tick.line is not None:
            where = side.intersection(LineString([(-500, ys[tick.line]), (9000, ys[tick.line])]))
        else:
            where = side.interpolate(tick.along_side)
        assert where.distance(Point(*tick.at_table)) < 1e-6, tick
        assert where.distance(start) == pytest.approx(tick.along_side, abs=1e-6)
        inner = {
            "near edge": min(ys.values()) - where.y,
            "far edge": where.y - max(ys.values()),
            "zero end": true.grid.cross_x[0] - where.x,
            "far end": where.x - true.grid.cross_x[-1],
        }[tick.side]
        assert tick.inset == pytest.approx(inner, abs=1e-6)
    assert all(count >= 3 for count in seen.values()), seen


def test_ticks_are_the_zero_line_each_heavy_line_and_the_last_on_all_four_sides(
    make_job: MakeJob,
) -> None:
    job = make_job({"table": {"length": "150 in", "width": "33 in"}, "plotter": ROLL})
    layout = lay_out(job)
    last = len(layout.grid.cross_x) - 1
    ticks = pull_ticks(layout, job.grid)
    for side in ("near edge", "far edge"):
        numbers = [int(str(t.line).split("-")[1]) for t in ticks if t.side == side]
        assert numbers == [*range(0, last - 3, 12), last]
    for side in ("zero end", "far end"):
        along = [t.along_side for t in ticks if t.side == side]
        assert along[0] == pytest.approx(25.4)
        assert along[-1] == pytest.approx(32 * 25.4)
        assert np.diff(along).max() <= 16 * 25.4 + 1e-6


def test_the_report_says_how_to_pull_and_how_far_a_stretch_in_per_cent_misses(
    make_job: MakeJob,
) -> None:
    job = make_job({"table": {"length": "149 in", "width": "33 in"}, "plotter": ROLL})
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    said = markdown(layout, job, plan)
    # 0.3 per cent of 147 in is 0.441 in, 7/16 in to a sixteenth.
    assert "If this cloth gave 0.3 % more or less than told, line 147 would lie 7/16 in off" in said
    assert "from the middle out" in said
    assert "opposite sides in turn" in said
    assert "| near edge | cross line 12 | 13 in | 1 in |" in said
    told = json.loads(json.dumps(record(layout, job, plan)))["pull"]
    assert [one["along_side_mm"] for one in told] == [
        tick.along_side for tick in pull_ticks(layout, job.grid)
    ]
    drawn = table_picture(layout, job, plan)
    (layer,) = (layer for layer in drawn.layers if layer.name == "pull-ticks")
    assert len(layer.items) == len(told)
    for words in (said, svg(drawn).decode()):
        assert "et down" not in words
        assert "etting down" not in words


def test_readings_are_what_this_tape_shows(make_job: MakeJob) -> None:
    """A tape that shows 1/8 in too little at 100 in: its readings are that much less."""
    tables: dict[str, Any] = {"table": {"length": "149 in", "width": "33 in"}, "plotter": ROLL}
    job = make_job({**tables, "tape": {"scale_error": "0.125 %"}})
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    # 97 in / 1.00125 = 96.879 in, 96 7/8 to a thirty-second; line 96 stands 97 in from the end.
    assert "| near edge | cross line 96 | 96 7/8 in |" in markdown(layout, job, plan)


def test_a_cover_marked_on_its_table_is_pulled_nowhere(make_job: MakeJob) -> None:
    tables: dict[str, Any] = {"table": CROOKED, "hems": {"depth": "4 in"}}
    for cloth, pulled in (({}, False), (SLACK, True)):
        job = make_job({**tables, "cloth": cloth})
        layout = lay_out(job)
        plan = divide_into_sections(layout, job, job.plotter.zone)
        assert ("## Pulling the printed lines" in markdown(layout, job, plan)) is pulled
        assert bool(record(layout, job, plan)["pull"]) is pulled
