"""The sheets that a marking too large for one is parted into, and how they overlap.

Table frame, millimetres; on a cover marked slack, the cloth as it lies unstretched. It knows where
bare cloth is and what a sheet holds, and draws nothing.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from marking.sections.division import axes
from marking.sections.joins import NEAR_TICK, choose

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box
    from marking.job.keys import PensTable
    from marking.layout.layout import Layout
    from marking.sections.joins import Axis

EDGE = 6.0
"""mm beyond the top that sheets show, for the marks at its corners."""
_HAIR = 1e-6


class Part(Struct, frozen=True):
    """What one sheet carries. Rows count from the near edge, columns from the zero end."""

    row: int
    column: int
    core: Box
    """What no other sheet carries but in its overlap; joins run round it."""
    window: Box
    """All that is drawn."""

    @property
    def name(self) -> str:
        """As sections are named."""
        return f"r{self.row}c{self.column}"


class _PartSpan(NamedTuple):
    core: tuple[float, float]
    window: tuple[float, float]


class Parting(Struct, frozen=True):
    """All sheets of a marking."""

    parts: tuple[Part, ...]
    """Row after row."""
    columns: int
    rows: int
    bare: tuple[Sequence[float], Sequence[float]]
    """x and y midway between lines, rising."""

    def near_bare(self, axis: int, at: float, low: float, high: float) -> float:
        """The place midway between lines that is nearest to `at` of those from `low` to `high`;
        `at` where there is none."""
        places = [place for place in self.bare[axis] if low < place < high]
        return min(places, key=lambda place: abs(place - at), default=at)

    def beside(self, part: Part, across: int, up: int) -> Part | None:
        """The sheet so many columns and rows on; None past the last."""
        column, row = part.column + across, part.row + up
        if not (1 <= column <= self.columns and 1 <= row <= self.rows):
            return None
        return self.parts[(row - 1) * self.columns + column - 1]


def extent_of(layout: Layout, beyond: float = EDGE) -> Box:
    """The box round the real top and so much more on every side."""
    corners = layout.top.corners_table
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    return x0 - beyond, y0 - beyond, x1 + beyond, y1 + beyond


def parted(layout: Layout, pens: PensTable, held: tuple[float, float], overlap: float) -> Parting:
    """The fewest sheets that carry the top, each holding `held` along and across it.

    Joins run in bare cloth, between lines and beside numerals, where there is any; each sheet goes
    on half of `overlap` beyond its joins.
    """
    x0, y0, x1, y1 = extent_of(layout)
    along, across = axes(layout, pens)
    columns = _spans(along, (x0, x1), held[0], overlap)
    rows = _spans(across, (y0, y1), held[1], overlap)
    parts = tuple(
        Part(
            row,
            column,
            (x.core[0], y.core[0], x.core[1], y.core[1]),
            (x.window[0], y.window[0], x.window[1], y.window[1]),
        )
        for row, y in enumerate(rows, 1)
        for column, x in enumerate(columns, 1)
    )
    return Parting(parts, len(columns), len(rows), (along.plain, across.plain))


def _spans(
    axis: Axis, extent: tuple[float, float], held: float, overlap: float
) -> Sequence[_PartSpan]:
    if extent[1] - extent[0] <= held + _HAIR:
        return [_PartSpan(extent, extent)]
    tick = min(NEAR_TICK, axis.pitch / 2)
    half = overlap / 2
    # The first sheet and the last go on beyond one join alone.
    whole = replace(axis, start=extent[0] + half, end=extent[1] - half, ticks_between=True)
    # A section must see a mark behind its first join, which an overlap shows anyway.
    for size in (held - overlap + tick, held - overlap):
        joins = choose(whole, size)
        if joins is None:
            continue
        spans = _with_windows([extent[0], *(join.at for join in joins), extent[1]], overlap)
        if all(high - low <= held + _HAIR for _, (low, high) in spans):
            return spans
    # No bare cloth where a join would have to run: through ink, then, and evenly.
    length = extent[1] - extent[0]
    count = math.ceil((length - overlap) / (held - overlap) - _HAIR)
    step = (length - overlap) / count
    ends = [extent[0] + overlap / 2 + n * step for n in range(1, count)]
    return _with_windows([extent[0], *ends, extent[1]], overlap)


def _with_windows(ends: Sequence[float], overlap: float) -> list[_PartSpan]:
    first, last = ends[0], ends[-1]
    return [
        _PartSpan(
            (low, high),
            (
                low if low == first else low - overlap / 2,
                high if high == last else high + overlap / 2,
            ),
        )
        for low, high in pairwise(ends)
    ]
