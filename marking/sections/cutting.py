"""Cuts strokes at the joins so that each point of ink belongs to exactly one cell.

It knows a lattice of joins and polylines; table frame, millimetres.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from marking.arrays import FloatArray

Cell = tuple[int, int]
"""Column and row, from 0, of the lattice that the joins make."""
_Point = tuple[float, float]

_SAME = 1e-9


def cut(
    points: FloatArray, x_joins: Sequence[float], y_joins: Sequence[float]
) -> Iterator[tuple[Cell, FloatArray]]:
    """The pieces of a polyline in drawing order, each with the cell it lies in.

    Neighbouring pieces share their cut point to the last bit, and it lies on the join exactly, or
    at a corner of the polyline that lies there but for rounding. No piece is a dot.
    """
    for pieces in cut_each([points], x_joins, y_joins):
        yield from pieces


def cut_each(
    lines: Sequence[FloatArray], x_joins: Sequence[float], y_joins: Sequence[float]
) -> Iterator[Iterable[tuple[Cell, FloatArray]]]:
    """The pieces of each of many polylines, as `cut` has them."""
    if not lines:
        return
    points = np.concatenate(lines)
    starts = np.cumsum([0, *map(len, lines[:-1])])
    bounds = []
    for ends in (np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)):
        columns, rows = (
            np.searchsorted(joins, ends[:, axis], side="right").tolist()
            for axis, joins in enumerate((x_joins, y_joins))
        )
        bounds.append(list(zip(columns, rows, strict=True)))
    for line, low, high in zip(lines, *bounds, strict=True):
        yield [(low, line)] if low == high else _parted(line, x_joins, y_joins)


def _parted(
    points: FloatArray, x_joins: Sequence[float], y_joins: Sequence[float]
) -> Iterator[tuple[Cell, FloatArray]]:
    corners: list[_Point] = [(x, y) for x, y in points.tolist()]
    piece = corners[:1]
    current: Cell | None = None
    for start, end in itertools.pairwise(corners):
        stops = [start, *_crossings(start, end, x_joins, y_joins), end]
        for before, after in itertools.pairwise(stops):
            middle = (before[0] + after[0]) / 2, (before[1] + after[1]) / 2
            here = bisect_right(x_joins, middle[0]), bisect_right(y_joins, middle[1])
            if current is not None and here != current:
                yield current, np.array(piece)
                piece = [before]
            current = here
            piece.append(after)
    assert current is not None
    yield current, np.array(piece)


def _crossings(
    start: _Point, end: _Point, x_joins: Sequence[float], y_joins: Sequence[float]
) -> list[_Point]:
    """Where a segment crosses joins, in order along it, without its own ends."""
    run = end[0] - start[0], end[1] - start[1]
    found: list[tuple[float, _Point]] = []
    for axis, joins in enumerate((x_joins, y_joins)):
        if run[axis] == 0:
            continue
        low, high = sorted((start[axis], end[axis]))
        # A segment that ends on a join, but for rounding, leaves no dot beyond it.
        for join in joins[bisect_right(joins, low + _SAME) : bisect_left(joins, high - _SAME)]:
            share = (join - start[axis]) / run[axis]
            x, y = start[0] + share * run[0], start[1] + share * run[1]
            found.append((share, (x, join) if axis else (join, y)))
    stops: list[_Point] = []
    for _, (x, y) in sorted(found, key=lambda crossing: crossing[0]):
        # Through a corner of the lattice, rounding would part the two crossings by a dot of ink.
        if not stops or max(abs(x - stops[-1][0]), abs(y - stops[-1][1])) > _SAME:
            stops.append((x, y))
    return stops
