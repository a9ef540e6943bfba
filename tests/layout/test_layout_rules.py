"""The rules of the marking that must always hold, over random but legal jobs and surveys."""

from __future__ import annotations

import itertools
import math
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings

from marking.errors import RefusedError
from marking.layout.layout import lay_out
from tests.sections.random_jobs import jobs
from tests.sections.records import (
    Record,
    ink_width,
    laid_out,
    points_of,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.conftest import MakeJob


@settings(max_examples=80)
@given(tables=jobs())
def test_no_ink_falls_off_the_real_top(make_job: MakeJob, tables: Record) -> None:
    job, layout = laid_out(make_job, tables)
    slack = np.array([layout["fit"]["slack"]["along"], layout["fit"]["slack"]["across"]])
    for stroke in layout["strokes"]:
        room = room_inside(layout, points_of(stroke) / slack, slack)
        assert room >= ink_width(job, stroke["pen"]) / 2 - 1e-9, stroke["id"]


def room_inside(layout: Record, finished: NDArray[np.float64], slack: NDArray[np.float64]) -> float:
    """The least distance from points on the finished cover to the four edges of its real top."""
    corners = np.array(layout["fit"]["top"]["corners"]) / slack
    rooms = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        run = (end - start) / math.dist(start, end)
        rooms.append(((finished - start) @ (-run[1], run[0])).min())
    return float(min(rooms))


@settings(max_examples=80)
@given(tables=jobs())
def test_numerals_keep_their_clearance_from_neighbours_lines_and_edges(
    make_job: MakeJob, tables: Record
) -> None:
    job, layout = laid_out(make_job, tables)
    slack = np.array([layout["fit"]["slack"]["along"], layout["fit"]["slack"]["across"]])
    half, clear = ink_width(job, "numerals") / 2, job.numerals.clear - 1e-9
    strokes = {stroke["id"]: points_of(stroke) / slack for stroke in layout["strokes"]}
    first_lines = [strokes[f"long-{side}"][0, 1] for side in ("near", "far")]
    # A cross line ends on the first long line: beyond it stands its tip, however often it goes.
    line_ink = max(ink_width(job, "lines"), job.pens.heavy.width) / 2
    before: dict[str, float] = {}
    for numeral in layout["numerals"]:
        points = np.concatenate([strokes[stroke] for stroke in numeral["strokes"]])
        low, high = points.min(axis=0) - half, points.max(axis=0) + half
        side = numeral["side"]
        assert low[0] - before.get(side, -math.inf) >= clear, numeral["text"]
        before[side] = high[0]
        to_line = first_lines[0] - high[1] if side == "near" else low[1] - first_lines[1]
        assert to_line - line_ink >= clear, numeral["text"]
        box = np.array([low, (low[0], high[1]), high, (high[0], low[1])])
        assert room_inside(layout, box, slack) >= clear, numeral["text"]


@settings(max_examples=60)
@given(tables=jobs())
def test_a_numerals_height_and_box_are_what_its_ink_measures(
    make_job: MakeJob, tables: Record
) -> None:
    job, layout = laid_out(make_job, tables)
    half = ink_width(job, "numerals") / 2
    strokes = {stroke["id"]: points_of(stroke) for stroke in layout["strokes"]}
    for numeral in layout["numerals"]:
        points = np.concatenate([strokes[stroke] for stroke in numeral["strokes"]])
        ink = np.concatenate([points.min(axis=0) - half, points.max(axis=0) + half])
        np.testing.assert_allclose(numeral["box"], ink, atol=1e-9)
        assert math.isclose(numeral["height"], ink[3] - ink[1], abs_tol=1e-9)


@settings(max_examples=40)
@given(tables=jobs())
def test_numerals_count_from_zero_at_the_zero_line_and_stand_upright_for_their_side(
    make_job: MakeJob, tables: Record
) -> None:
    """Held against vpype's own setting of its Hershey face, which counts y downwards."""
    job, layout = laid_out(make_job, tables)
    cross = [points_of(s)[0, 0] for s in layout["strokes"] if s["layer"] == "cross"]
    strokes = {stroke["id"]: points_of(stroke) for stroke in layout["strokes"]}
    for side in job.numerals.sides:
        numerals = [n for n in layout["numerals"] if n["side"] == side]
        numbered = range(0, len(cross), job.numerals.every)
        assert [n["text"] for n in numerals] == [str(k * job.numerals.per_line) for k in numbered]
        for numeral, line in zip(numerals, numbered, strict=True):
            box = numeral["box"]
            assert math.isclose((box[0] + box[2]) / 2, cross[line], abs_tol=1e-9)
        turn = 1 if side == "near" else -1
        for numeral in (numerals[0], numerals[len(numerals) // 2], numerals[-1]):
            drawn = [turn * strokes[stroke] for stroke in numeral["strokes"]]
            right = -math.inf
            for digit in numeral["text"]:
                strokes_of_it = next(
                    (n for n in range(1, len(drawn) + 1) if drawn_as(drawn[:n]) == upright(digit)),
                    None,
                )
                assert strokes_of_it is not None, f"no upright {digit} in {numeral['text']}"
                glyph, drawn = np.concatenate(drawn[:strokes_of_it]), drawn[strokes_of_it:]
                assert glyph[:, 0].min() > right, numeral["text"]
                right = float(glyph[:, 0].max())
            assert not drawn


@cache
def upright(digit: str) -> set[frozenset[tuple[float, float]]]:
    """What a digit looks like as vpype sets it, with y upwards."""
    import vpype

    lines = vpype.text_line(digit, "futural", 10.0, "left")
    return drawn_as([np.stack([line.real, -line.imag], axis=1) for line in lines])


def drawn_as(strokes: list[NDArray[np.float64]]) -> set[frozenset[tuple[float, float]]]:
    """Every straight bit of ink, whichever way it is drawn, in the unit square of its extent."""
    points = np.concatenate(strokes)
    low, high = points.min(axis=0), points.max(axis=0)
    squared = [
        [
            (round(x, 6) + 0.0, round(y, 6) + 0.0)
            for x, y in ((stroke - low) / (high - low)).tolist()
        ]
        for stroke in strokes
    ]
    return {frozenset(ends) for stroke in squared for ends in itertools.pairwise(stroke)}


@settings(max_examples=80)
@given(tables=jobs())
def test_no_line_is_inked_over_another(make_job: MakeJob, tables: Record) -> None:
    job, layout = laid_out(make_job, tables)
    for axis in (0, 1):
        lines = []
        for stroke in layout["strokes"]:
            points = points_of(stroke)
            upright = points[0][axis] == points[-1][axis]
            if upright and stroke["layer"] not in ("numeral", "bias"):
                low, high = sorted(points[:, 1 - axis])
                half = ink_width(job, stroke["pen"]) / 2
                lines.append((points[0][axis], half, low, high, stroke["id"]))
        lines.sort()
        for this, after in itertools.pairwise(lines):
            if max(this[2], after[2]) < min(this[3], after[3]):
                assert after[0] - this[0] > this[1] + after[1], (this[4], after[4])


@settings(max_examples=80)
@given(tables=jobs())
def test_a_fold_has_its_line_from_both_long_edges_or_from_neither(
    make_job: MakeJob, tables: Record
) -> None:
    job, layout = laid_out(make_job, tables)
    slack = layout["fit"]["slack"]["across"]
    far_edge = layout["fit"]["top"]["inscribed"][3] / slack
    strokes = [s for s in layout["strokes"] if s["layer"] in ("long", "hem")]
    level = {side: [0.0] for side in ("near", "far")}
    for s in strokes:
        if s["points"][0][1] == s["points"][1][1]:
            for side in [one for one in level if one in s["id"]] or level:
                level[side].append(points_of(s)[0, 1] / slack)
    for fold in layout["fit"]["folds"]:
        if fold["edge"] == "side":
            # By lines of that edge or of the whole width: the other's may lie there by chance.
            at = {"near": fold["distance"], "far": far_edge - fold["distance"]}
            off = [min(abs(y - at[side]) for y in level[side]) for side in at]
            served = [distance <= job.pens.lines.width / 2 + 1e-6 for distance in off]
            assert served == [fold["line"] is not None] * 2, fold


def test_full_long_lines_stand_in_for_folds_of_the_edge_they_are_true_to_only(
    make_job: MakeJob,
) -> None:
    """47.3 in is no whole number of pitches: lines from the near edge miss the far edge's folds."""
    job = make_job(
        {
            "table": {"length": "50 in", "width": "47.3 in"},
            "grid": {"long_lines": "full"},
            "hems": {"folds": ["single 12 in"]},
        }
    )
    level = [line.y / 25.4 for line in lay_out(job).grid.long_lines]
    for wanted in (12.0, 47.3 - 12.0):
        assert min(abs(y - wanted) for y in level) * 25.4 <= job.pens.lines.width / 2, wanted


def test_numerals_lower_than_two_pen_widths_are_refused(make_job: MakeJob) -> None:
    """Under one pen width the centre lines would turn upside down; under two the insides fill."""
    tables = {
        "table": {"length": "50 in", "width": "40 in"},
        "pens": {"numerals": {"width": "0.8 mm"}},
    }
    for height in ("0.3 mm", "0.8 mm", "1.5 mm"):
        with pytest.raises(RefusedError, match="two widths of the numerals' pen"):
            lay_out(make_job({**tables, "numerals": {"height": height}}))
    lay_out(make_job({**tables, "numerals": {"height": "1.6 mm"}}))


def test_half_ticks_that_would_fill_the_grid_are_refused(make_job: MakeJob) -> None:
    fine = {
        "units": "mm",
        "table": {"length": "200 mm", "width": "150 mm"},
        "grid": {"margin": "20 mm", "end_margin": "20 mm", "half_ticks": True},
        "hems": {"depth": "30 mm", "folds": []},
        "numerals": {"every": 10},
        "pens": {"lines": {"width": "1 mm"}, "heavy": {"width": "1 mm"}},
    }
    fine["grid"]["pitch"] = "2 mm"
    with pytest.raises(RefusedError, match=r"pitch of 3\.0 mm or more"):
        lay_out(make_job(fine))
    fine["grid"]["pitch"] = "3 mm"
    assert any(stroke.layer == "tick" for stroke in lay_out(make_job(fine)).strokes)
