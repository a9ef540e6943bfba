"""No choice of seams has fewer sections, or more even ones: every one is tried."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from random_jobs import in_mm, jobs

from marking.errors import RefusedError
from marking.interchange import layout_record, plan_record
from marking.layout import lay_out
from marking.seams import Axis, choose, least_parts
from marking.sections import cut_into_sections
from marking.zones import reach_zone

if TYPE_CHECKING:
    from collections.abc import Sequence

    from conftest import MakeJob

Span = tuple[float, float]
OFF_LINES, OFF_NUMERALS = 1.0, 0.1
"""The program's own rule: least cloth in mm between a seam and a line's ink, or a numeral's."""


def best_by_trying_all(
    extent: Span, seams: Sequence[float], behind: Sequence[float], size: float
) -> tuple[int, float] | None:
    """Fewest parts and their least sum of squared lengths, of every subset of the seams."""
    for count in range(len(seams) + 1):
        squares = []
        for chosen in itertools.combinations(range(len(seams)), count):
            edges = [extent[0], *(seams[k] for k in chosen), extent[1]]
            needed = [extent[0], *(behind[k] for k in chosen)]
            if all(end - need <= size for need, end in zip(needed, edges[1:], strict=True)):
                squares.append(sum((b - a) ** 2 for a, b in itertools.pairwise(edges)))
        if squares:
            return count + 1, min(squares)
    return None


@st.composite
def axes(draw: st.DrawFn) -> tuple[Axis, float]:
    """A dozen lines at uneven places, seams between them, and a bed that may be too small."""
    gaps = draw(st.lists(st.integers(3, 60), min_size=2, max_size=12))
    lines = np.cumsum([10, *gaps]).astype(float)
    seams, behind = [], []
    for left, right in itertools.pairwise(lines.tolist()):
        if draw(st.integers(0, 5)):
            seams.append(left + (right - left) * draw(st.sampled_from([0.25, 0.5, 0.75])))
            behind.append(left)
    start, end = lines[0] - draw(st.integers(0, 9)), lines[-1] + draw(st.integers(0, 9))
    size = draw(st.integers(5, math.ceil(end - start) + 5))
    return Axis(float(start), float(end), tuple(seams), tuple(behind)), float(size)


@settings(max_examples=300)
@given(case=axes())
def test_the_seams_chosen_are_the_fewest_and_most_even(case: tuple[Axis, float]) -> None:
    along, size = case
    best = best_by_trying_all((along.start, along.end), along.seams, along.behind, size)
    picked = choose(along, size)
    if best is None:
        assert picked is None
        return
    assert picked is not None
    edges = [along.start, *(along.seams[k] for k in picked), along.end]
    squares = sum((b - a) ** 2 for a, b in itertools.pairwise(edges))
    assert (len(picked) + 1, squares) == (best[0], best[1])
    assert least_parts(along, size) <= best[0]


def free_seams(lines: Sequence[float], ink: float, pitch: float, boxes: list[Span]) -> list[float]:
    """One seam mid-way between neighbouring lines, or every half pitch in a wide gap.

    Where a numeral stands across it, it moves to the middle of the widest cloth beside.
    """
    found = []
    for left, right in itertools.pairwise(lines):
        wide = right - left > 1.5 * pitch
        steps = math.floor((right - left) / pitch + 0.5) if wide else 1
        for k in range(steps):
            seam = left + (k + 0.5) * pitch if wide else (left + right) / 2
            numerals = [(low - OFF_NUMERALS, high + OFF_NUMERALS) for low, high in boxes]
            lines_ink = [(-math.inf, left + ink + OFF_LINES), (right - ink - OFF_LINES, math.inf)]
            cloth = [
                (low, high)
                for low, high in _between([*numerals, *lines_ink])
                if left <= low < high <= right
            ]
            if any(low <= seam <= high for low, high in cloth):
                found.append(seam)
            elif cloth:
                low, high = max(cloth, key=lambda gap: gap[1] - gap[0])
                found.append((low + high) / 2)
    return found


def _between(taken: list[Span]) -> list[Span]:
    """The cloth between spans of ink, wherever they lie and however they overlap."""
    free = []
    reached = -math.inf
    for low, high in sorted(taken):
        if low > reached > -math.inf:
            free.append((reached, low))
        reached = max(reached, high)
    return free


def marks_behind(seams: list[float], lines: Sequence[float], pitch: float) -> list[float]:
    """The last line before each seam, or half a pitch where that is more than a pitch away."""
    last = [max((x for x in lines if x < seam), default=-math.inf) for seam in seams]
    return [
        line if seam - line <= pitch else seam - pitch / 2
        for seam, line in zip(seams, last, strict=True)
    ]


def uprights(layout: dict[str, Any], axis: int, layers: Sequence[str]) -> list[float]:
    places = {
        stroke["points"][0][axis]
        for stroke in layout["strokes"]
        if stroke["layer"] in layers
        and stroke["points"][0][axis] == stroke["points"][1][axis]
        and len(stroke["points"]) == 2
    }
    return sorted(places)


@settings(max_examples=150)
@given(tables=jobs(longest=26, widest=30), zone=st.sampled_from(["plotter", "reach"]))
def test_a_whole_plan_has_the_fewest_and_most_even_columns_and_rows(
    make_job: MakeJob, tables: dict[str, Any], zone: str
) -> None:
    tables["grid"]["pitch"] = "50 mm"
    tables["grid"]["bias"] = []
    tables["grid"]["half_ticks"] = False
    tables["hems"]["cross_folds"] = False
    try:
        job = make_job(tables)
        layout = lay_out(job)
        plan = plan_record(
            cut_into_sections(layout, job, reach_zone(job) if zone == "reach" else job.plotter.zone)
        )
    except RefusedError:
        assume(False)
    record = layout_record(layout)
    size, free = usable(tables, zone)
    slack = record["fit"]["slack"]
    half = max(job.pens.lines.width, job.pens.heavy.width) / 2
    cross = uprights(record, 0, ["cross"])
    level = uprights(record, 1, ["long", "hem"])
    for axis, lines, pitch in (
        (0, cross, 50 * slack["along"]),
        (1, level, 50 * slack["across"]),
    ):
        if axis == 1 and zone == "reach":
            continue
        boxes = [(n["box"][0], n["box"][2]) for n in record["numerals"]] if axis == 0 else []
        seams = free_seams(lines, half, pitch, boxes)
        extent = ink_extent(record, job, axis)
        best = best_by_trying_all(
            extent, seams, marks_behind(seams, lines, pitch), size[axis] - 2 * free
        )
        parts = sorted({(s["core"][axis], s["core"][axis + 2]) for s in plan["sections"]})
        assert best is not None
        assert len(parts) == best[0]
        assert math.isclose(sum((b - a) ** 2 for a, b in parts), best[1], rel_tol=1e-9)
        assert plan["bound"][("columns", "rows")[axis]] <= len(parts)


def usable(tables: dict[str, Any], zone: str) -> tuple[Span, float]:
    """What one setup takes along the table's x and y, and what is kept free at each side of it."""
    if zone == "reach":
        return (in_mm(tables["reach"]["span"]), in_mm(tables["reach"]["depth"])), 0.0
    plotter = tables["plotter"]
    units = plotter["coordinate_limit"] * (2 if plotter["origin"] == "centre" else 1)
    said = units * in_mm(plotter["unit"])
    x = said if plotter["x_size"] == "unlimited" else min(said, in_mm(plotter["x_size"]))
    y = min(said, in_mm(plotter["y_size"]))
    return (x, y) if plotter["axes"][0][1] == "x" else (y, x), in_mm(plotter["set_down"])


def ink_extent(record: dict[str, Any], job: Any, axis: int) -> Span:
    """From the first ink to the last along one axis, pen width included."""
    spans = [
        (min(values) - half, max(values) + half)
        for stroke in record["strokes"]
        for half in [job.pens.named(stroke["pen"]).width / 2]
        for values in [[point[axis] for point in stroke["points"]]]
    ]
    return min(low for low, _ in spans), max(high for _, high in spans)
