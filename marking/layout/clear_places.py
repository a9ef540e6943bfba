"""What is inked, as segments and boxes, and whether a box keeps clear of it.

Table frame, millimetres. It knows widths of ink, and neither lines nor numerals.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from marking.arrays import BoolArray, Box, FloatArray

_HAIR = 1e-6
"""mm that arithmetic may take from a clearance."""


class InkAround(Struct, frozen=True):
    """Straight ink, and boxes that ink fills."""

    starts: FloatArray
    """(n, 2)"""
    ends: FloatArray
    """(n, 2)"""
    halves: FloatArray
    """(n,): half the ink's width."""
    boxes: tuple[Box, ...]

    def keeps_off(self, box: Box, clear: float) -> bool:
        """Whether `box` lies at least `clear` from all of it."""
        low, high = np.array(box[:2]) - clear + _HAIR, np.array(box[2:]) + clear - _HAIR
        grown = self.halves[:, None]
        if meets(self.starts, self.ends, low - grown, high + grown).any():
            return False
        return not any(
            other[0] < high[0] and other[2] > low[0] and other[1] < high[1] and other[3] > low[1]
            for other in self.boxes
        )

    def with_boxes(self, boxes: Iterable[Box]) -> InkAround:
        """The same and `boxes` more."""
        return InkAround(self.starts, self.ends, self.halves, (*self.boxes, *boxes))


def ink_of(polylines: Sequence[tuple[FloatArray, float]]) -> InkAround:
    """The ink of polylines (n, 2), each with half its width."""
    starts = [points[:-1] for points, _ in polylines] or [np.empty((0, 2))]
    ends = [points[1:] for points, _ in polylines] or [np.empty((0, 2))]
    halves = [half for points, half in polylines for _ in points[1:]]
    return InkAround(
        np.concatenate(starts), np.concatenate(ends), np.array(halves, dtype=float), ()
    )


def meets(starts: FloatArray, ends: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    """Which segments have a point in their box, its edges counted (Liang and Barsky 1984).

    `low` and `high` are one corner each, (2,), or one for each segment, (n, 2).
    """
    ways = ends - starts
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (low - starts) / ways, (high - starts) / ways
    still = ways == 0
    within = (starts >= low) & (starts <= high)
    enters = np.where(still, np.where(within, 0.0, np.inf), np.minimum(first, second))
    leaves = np.where(still, np.where(within, 1.0, -np.inf), np.maximum(first, second))
    enter = np.maximum(enters.max(axis=1), 0.0)
    leave = np.minimum(leaves.min(axis=1), 1.0)
    meeting: BoolArray = enter <= leave
    return meeting


def between(lines: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """From ink to ink between neighbouring `lines`, each its place and half its ink; rising."""
    for (before, half), (after, other) in pairwise(lines):
        if before + half < after - other:
            yield before + half, after - other


def apart(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """`stretches` of one axis, rising, those that overlap or touch made one."""
    joined: list[tuple[float, float]] = []
    for low, high in sorted(stretches):
        if joined and low <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined
