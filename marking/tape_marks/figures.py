"""The four figures that a cover is judged by, from how its ink errs: sideways of each line.

What lies off along a line is not seen and counts nowhere. Lines are followed at both ends and the
middle of each section's part, and of what is ruled between two bands. It knows sections and their
errors, no limits. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.network.allowed_errors import SQUARE_OVER
from marking.ruling.errors import ruled_errors, steps_at_stubs

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.layout.layout import Layer
    from marking.sections.plan import Plan, Section
    from marking.tape_marks.imagined_covers import InkedCovers

_EACH = 3
"""Places followed on each section's part of a line."""
_SAME = 1e-6
_SEED = 20
"""Of the rule laid to stubs, on each cover imagined."""
_BESIDE = 1.5
"""Long lines of one band lie less than this many pitches of the cross lines apart."""


class Figures(Struct, frozen=True):
    """What 95 of 100 covers keep within all over, in mm."""

    total: float
    """At any one height, how far a cross line's distance from the zero line is from what its
    numeral says; anywhere along, the same of a long line from the first. A shift and a turn of the
    whole marking do not count."""
    square: float
    """Between two points of a cross line at most `SQUARE_OVER` apart, how far one lies sideways of
    the upright through the other on the first long line, taken as straight."""
    neighbours: float
    """How far the gap of two lines beside each other is from what it should be, anywhere."""
    step: float
    """Where a line passes from one section into the next, how far its ends lie apart sideways."""


class _FollowedLines(Struct, frozen=True):
    """Where the lines of a division are followed."""

    by_place: Mapping[tuple[int, int], Section]
    """By row and column."""
    rows: Sequence[int]
    columns: Sequence[int]
    cross: Mapping[int, FloatArray]
    """x of the cross lines, by column."""
    heights: Mapping[int, FloatArray]
    """(3,): where they are followed, by row."""
    long: Mapping[int, FloatArray]
    """y of the long lines, by row."""
    along: Mapping[int, FloatArray]
    """(3,): where they are followed, by column."""
    ruled: bool
    """Whether cross lines are ruled by hand between two bands."""

    @property
    def pitch(self) -> float:
        """The least gap between cross lines, mm; nothing where there are no two."""
        gaps = np.diff(np.sort(np.concatenate([*self.cross.values(), [np.inf]])))
        return float(gaps.min()) if gaps.size and np.isfinite(gaps.min()) else 0.0


def figures(plan: Plan, covers: InkedCovers) -> dict[str, FloatArray]:
    """What is worst on each cover, by the names of `Figures`: (covers,) each, mm."""
    lines = _lines(plan)
    count = next(iter(covers.ink.values())).shape[1]
    total = square = near = step = lean = np.zeros(count)
    if lines.long:
        total, near, step, lean = _of_long_lines(lines, covers)
    if lines.cross:
        each = _of_cross_lines(lines, covers, lean)
        total, near = np.maximum(total, each[0]), np.maximum(near, each[1])
        step, square = np.maximum(step, each[2]), each[3]
    return {"total": total, "square": square, "neighbours": near, "step": step}


def _lines(plan: Plan) -> _FollowedLines:
    by_place = {(section.row, section.column): section for section in plan.sections}
    rows = sorted({row for row, _ in by_place})
    columns = sorted({column for _, column in by_place})
    cross: dict[int, FloatArray] = {}
    long: dict[int, FloatArray] = {}
    heights: dict[int, tuple[float, float]] = {}
    along: dict[int, tuple[float, float]] = {}
    for (row, column), section in by_place.items():
        _note(section, ("cross",), 0, column, row, cross, heights)
        _note(section, ("long", "hem"), 1, row, column, long, along)
    return _FollowedLines(
        by_place,
        rows,
        columns,
        cross,
        {row: np.linspace(*span, _EACH) for row, span in heights.items()},
        long,
        {column: np.linspace(*span, _EACH) for column, span in along.items()},
        bool(plan.ruled),
    )


def _note(
    section: Section,
    layers: Sequence[Layer],
    axis: int,
    held_by: int,
    run_by: int,
    held: dict[int, FloatArray],
    runs: dict[int, tuple[float, float]],
) -> None:
    """Note at which `axis` coordinate a section's lines of `layers` stand, how far they run."""
    strokes = [p.stroke.points for p in section.pieces if p.stroke.layer in layers]
    points = [each for each in strokes if np.ptp(each[:, axis]) < _SAME]
    if not points:
        return
    places = np.unique(np.round([each[0, axis] for each in points], 6))
    # Lines that only a part of a row or a column has cannot be followed through it.
    held[held_by] = np.intersect1d(held[held_by], places) if held_by in held else places
    other = np.concatenate([each[:, 1 - axis] for each in points])
    low, high = runs.get(run_by, (np.inf, -np.inf))
    runs[run_by] = (min(low, float(other.min())), max(high, float(other.max())))


def _of_long_lines(lines: _FollowedLines, covers: InkedCovers) -> tuple[FloatArray, ...]:
    """Total, neighbours and step of the long lines, and how the first one leans: mm per mm."""
    rows = [row for row in lines.rows if row in lines.long]
    ys = np.concatenate([lines.long[row] for row in rows])
    gaps = np.diff(ys)
    beside = gaps < _BESIDE * lines.pitch
    count = next(iter(covers.ink.values())).shape[1]
    total = near = step = np.zeros(count)
    first: list[FloatArray] = []
    before, before_x = None, np.zeros(0)
    for column in (c for c in lines.columns if c in lines.along):
        xs = lines.along[column]
        here = np.concatenate(
            [_off(lines, covers, row, column, lines.long[row], xs, 1) for row in rows]
        )
        total = np.maximum(total, _most(here - here[:1]))
        near = np.maximum(near, _most(np.diff(here, axis=0)[beside]))
        if before is not None and abs(xs[0] - before_x[-1]) < _SAME:
            step = np.maximum(step, _most(here[:, 0] - before[:, -1]))
        before, before_x = here, xs
        first.append(here[0])
    at = np.concatenate([lines.along[c] for c in lines.columns if c in lines.along])
    centred = at - at.mean()
    lean: FloatArray = centred @ np.concatenate(first) / (centred**2).sum()
    return total, near, step, lean


def _of_cross_lines(
    lines: _FollowedLines, covers: InkedCovers, lean: FloatArray
) -> tuple[FloatArray, ...]:
    """Total, neighbours, step and square of the cross lines; `lean` is the first long line's."""
    rows = [row for row in lines.rows if row in lines.heights]
    heights = np.concatenate([lines.heights[row] for row in rows])
    joins = [
        i for i in range(_EACH, len(heights), _EACH) if abs(heights[i] - heights[i - 1]) < _SAME
    ]
    total = near = step = square = np.zeros_like(lean)
    zero = before = None
    bare = _bare(heights) if lines.ruled else None
    rng = np.random.default_rng(_SEED)
    inked = heights
    for column in (c for c in lines.columns if c in lines.cross and len(lines.cross[c])):
        xs = lines.cross[column]
        here = np.concatenate(
            [_off(lines, covers, row, column, xs, lines.heights[row], 0) for row in rows], axis=1
        )
        if bare is not None:
            here, heights, apart = _with_ruled(here, inked, bare, rng)
            step = np.maximum(step, apart)
        zero = here[0] if zero is None else zero
        # The greatest and the least first: it is the same, and most of the work saved.
        for end in (here.max(axis=0), here.min(axis=0)):
            total = np.maximum(total, _most(end - zero))
        near = np.maximum(near, _most(np.diff(here, axis=0)))
        if before is not None:
            near = np.maximum(near, _most((here[0] - before)[None]))
        before = here[-1]
        for i in joins:
            step = np.maximum(step, _most(here[:, i] - here[:, i - 1]))
        square = np.maximum(square, _unsquare(here + heights[:, None] * lean, heights))
    return total, near, step, square


def _bare(heights: FloatArray) -> int | None:
    """Before which of the heights that the device inks to cloth is bare; None where none is."""
    starts = range(_EACH, len(heights), _EACH)
    return next((i for i in starts if heights[i] > heights[i - 1] + _SAME), None)


def _with_ruled(
    here: FloatArray, heights: FloatArray, bare: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Errors and heights with those of what is ruled, and the largest step at a stub, (covers,)."""
    near, far = here[:, bare - 1], here[:, bare]
    shares = np.linspace(0, 1, _EACH)
    ruled = ruled_errors(near, far, shares, rng)
    apart = np.maximum(*steps_at_stubs(near, far, ruled)).max(axis=0)
    at = heights[bare - 1] + shares * (heights[bare] - heights[bare - 1])
    whole = np.concatenate([here[:, :bare], ruled.transpose(0, 2, 1), here[:, bare:]], axis=1)
    return whole, np.concatenate([heights[:bare], at, heights[bare:]]), apart


def _off(
    lines: _FollowedLines,
    covers: InkedCovers,
    row: int,
    column: int,
    held: FloatArray,
    runs: FloatArray,
    axis: int,
) -> FloatArray:
    """(lines, 3, covers): how far one section's lines lie off sideways where they are followed."""
    section = lines.by_place[row, column].id
    grid = np.stack(np.meshgrid(held, runs, indexing="ij"), axis=-1).reshape(-1, 2)
    points = grid if axis == 0 else grid[:, ::-1]
    by_point = covers.effect(section, points)[:, axis]
    return (by_point @ covers.ink[section]).reshape(len(held), len(runs), -1)


def _unsquare(x: FloatArray, heights: FloatArray) -> FloatArray:
    """(covers,): the widest range of `x` (lines, heights, covers) within `SQUARE_OVER`."""
    starts = np.argsort(heights, kind="stable")
    ends = np.searchsorted(heights[starts], heights[starts] + SQUARE_OVER + _SAME, side="right")
    # A stretch that ends where one before it does lies within that one.
    _, widest = np.unique(ends, return_index=True)
    worst = np.zeros(x.shape[2])
    for line in x:
        for start in widest:
            part = line[starts[start : ends[start]]]
            worst = np.maximum(worst, part.max(axis=0) - part.min(axis=0))
    return worst


def _most(values: FloatArray) -> FloatArray:
    """(covers,): the largest size in `values` (..., covers); 0 of nothing."""
    flat = values.reshape(-1, values.shape[-1])
    most: FloatArray = np.maximum(flat.max(axis=0, initial=0.0), -flat.min(axis=0, initial=0.0))
    return most
