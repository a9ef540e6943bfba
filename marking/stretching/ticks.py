"""Ticks on the table's four sides, which the printed lines are pulled onto.

A stretch in per cent says how slack to draw, and never where a line ends up: a cloth that gives a
little more or less is a little off at every staple. So the table itself is marked. It knows where
lines belong on the stretched cover. Millimetres, in the table frame of the stretched cover.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.arrays import FloatArray
    from marking.job.keys import GridTable
    from marking.layout.layout import Layout

TableSide = Literal["near edge", "far edge", "zero end", "far end"]
SIDES_IN_TURN: tuple[TableSide, ...] = ("near edge", "far edge", "zero end", "far end")
_CORNERS: dict[TableSide, tuple[int, int]] = {
    "near edge": (0, 1),
    "far edge": (3, 2),
    "zero end": (0, 3),
    "far end": (1, 2),
}
"""The corner that a side is taped from, and the other: the zero end's, or the near edge's."""
_EVERY = 12
"""Pitches between two ticks where no heavier lines say."""
_SAME = 1e-6


class PullTick(Struct, frozen=True):
    """A mark on one of the table's sides, and the line that is pulled onto it."""

    side: TableSide
    line: str | None
    """Id of the line that meets the side there; None where only the line along the side counts."""
    at_table: tuple[float, float]
    """On the top's edge."""
    along_side: float
    """From the corner that the side is taped from: its zero end's, or for an end the near one."""
    inset: float
    """How far in from the tick the line along this side belongs."""


def pull_ticks(layout: Layout, grid: GridTable) -> tuple[PullTick, ...]:
    """The ticks of all four sides, along each from where it is taped from.

    Cross lines: the zero line, each heavy one and the last. Along the ends: as far apart, on a
    long line where there is one.
    """
    slack = np.array(layout.slack)
    corners = layout.top.corners_table / slack
    xs = layout.grid.cross_x / slack[0]
    lines = [(line.id, line.y / slack[1]) for line in layout.grid.long_lines]
    ys = [y for _, y in lines]
    every = grid.heavy_every or _EVERY
    places: dict[int, list[tuple[str | None, float]]] = {
        0: [(f"cross-{n}", float(xs[n])) for n in _numbers(len(xs), every)],
        1: list(_across(lines, every * grid.pitch)),
    }
    first: dict[TableSide, float] = {
        "near edge": min(ys),
        "far edge": max(ys),
        "zero end": float(xs[0]),
        "far end": float(xs[-1]),
    }
    return tuple(
        _tick(side, name, at, first[side], corners)
        for side in SIDES_IN_TURN
        for name, at in places[0 if "edge" in side else 1]
    )


def _numbers(count: int, every: int) -> list[int]:
    """Each `every`-th line and the last, which stands in for one that is close before it."""
    numbers = [n for n in range(0, count, every) if n == 0 or count - 1 - n >= every / 3]
    return sorted({*numbers, count - 1})


def _across(lines: list[tuple[str, float]], step: float) -> Iterator[tuple[str | None, float]]:
    """Places across the table a `step` apart, with the long line that lies there, and the last."""
    (first, low), (last, high) = (pick(lines, key=lambda one: one[1]) for pick in (min, max))
    yield first, low
    for n in range(1, int((high - low) / step) + 1):
        y = low + n * step
        if high - y >= step / 3:
            yield next((name for name, at in lines if abs(at - y) < _SAME), None), y
    if high > low:
        yield last, high


def _tick(
    side: TableSide, line: str | None, at: float, first: float, corners: FloatArray
) -> PullTick:
    """Where the straight line at `at` leaves the top over `side`; `first` runs along the side."""
    start, end = (corners[n] for n in _CORNERS[side])
    way = 0 if "edge" in side else 1
    share = (at - start[way]) / (end[way] - start[way])
    spot = start + share * (end - start)
    return PullTick(
        side,
        line,
        (float(spot[0]), float(spot[1])),
        float(np.linalg.norm(spot - start)),
        abs(float(spot[1 - way]) - first),
    )
