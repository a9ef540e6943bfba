"""Where the marking may be parted along one axis, and the fewest, most even parts.

One axis at a time, millimetres in the table frame. It knows positions of ink, not strokes.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

GUARD = 1.0
"""Least cloth, in mm, between a seam and the line beside it, room for a tick to cross the line."""
_OFF_BOX = 0.1
"""Millimetres between a seam and a numeral, where nothing is cut."""


@dataclass(frozen=True)
class Axis:
    """The marking along one axis: its extent, and where it may be parted."""

    start: float
    end: float
    """The ink's extent, pen width included."""
    seams: tuple[float, ...]
    """Where a seam may run, rising."""
    behind: tuple[float, ...]
    """For each seam, where the witness marks on the side before it stand."""


def axis(
    start: float,
    end: float,
    lines: FloatArray,
    half_ink: float,
    pitch: float,
    boxes: Sequence[tuple[float, float]],
    marks: FloatArray,
) -> Axis:
    """The axis for `lines` (rising positions of ink across it) and `boxes` no seam may enter.

    Seams run midway between neighbouring lines, or at every half pitch where lines are further
    apart; a seam that a box stands across moves to the widest gap beside it. Witness marks stand
    on the last of `marks` before the seam, or half a pitch before it when that is further.
    """
    seams: list[float] = []
    for left, right in zip(lines[:-1].tolist(), lines[1:].tolist(), strict=True):
        for middle in _middles(left, right, pitch):
            seam = _clear_of(boxes, middle, left + half_ink, right - half_ink)
            if seam is not None:
                seams.append(seam)
    return Axis(start, end, tuple(seams), tuple(_behind(seam, marks, pitch) for seam in seams))


def _middles(left: float, right: float, pitch: float) -> list[float]:
    if right - left <= 1.5 * pitch:
        return [(left + right) / 2]
    return [left + (k + 0.5) * pitch for k in range(int((right - left) / pitch + 0.5))]


def _clear_of(
    boxes: Sequence[tuple[float, float]], wanted: float, low: float, high: float
) -> float | None:
    """`wanted`, or else the middle of the widest gap, between two lines' ink and off every box."""
    low, high = low + GUARD, high - GUARD
    edges = [low]
    for box_low, box_high in _near(boxes, low, high):
        edges += [box_low - _OFF_BOX, box_high + _OFF_BOX]
    edges.append(high)
    free = [
        (max(gap_low, low), min(gap_high, high))
        for gap_low, gap_high in zip(edges[::2], edges[1::2], strict=True)
        if min(gap_high, high) >= max(gap_low, low)
    ]
    if not free:
        return None
    if any(gap_low <= wanted <= gap_high for gap_low, gap_high in free):
        return wanted
    widest = max(free, key=lambda gap: gap[1] - gap[0])
    return (widest[0] + widest[1]) / 2


def _near(
    boxes: Sequence[tuple[float, float]], low: float, high: float
) -> Sequence[tuple[float, float]]:
    """The boxes, sorted and apart, that may reach into `low` to `high`."""
    first = bisect_left(boxes, low, key=lambda box: box[1])
    last = bisect_right(boxes, high, key=lambda box: box[0])
    return boxes[first:last]


def _behind(seam: float, marks: FloatArray, pitch: float) -> float:
    before = float(marks[np.searchsorted(marks, seam) - 1]) if marks[0] < seam else -math.inf
    return before if seam - before <= pitch else seam - pitch / 2


def least_parts(along: Axis, size: float) -> int:
    """A lower bound on the parts: as if seams could run anywhere, with the narrowest strip."""
    extent = along.end - along.start
    if extent <= size:
        return 1
    strip = min((s - b for s, b in zip(along.seams, along.behind, strict=True)), default=0.0)
    return 1 + max(1, math.ceil((extent - size) / (size - strip) - 1e-9))


def choose(along: Axis, size: float) -> tuple[int, ...] | None:
    """Indices of the seams that part the axis into the fewest parts a `size` can hold, evenly.

    Each part must lie with the witness marks behind its first seam within `size`. Of the plans
    with fewest parts it is the one with the least sum of squared lengths, the earliest of equals.
    None when some part cannot be held however it is cut.
    """
    latest = _latest(along, size)
    if latest is None:
        return None
    earliest = _earliest(along, size, len(latest))
    seams, behind = np.array(along.seams), np.array(along.behind)
    # Level by level: for each seam that the i-th cut may use, the least cost to get there.
    options = np.array([-1])
    cost = np.array([0.0])
    choices: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    for first, last in zip(earliest, latest, strict=True):
        here = np.arange(first, last + 1)
        cost, best = _step(along, size, options, cost, seams[here], seams, behind)
        choices.append((here, best))
        options = here
    _, best = _step(along, size, options, cost, np.array([along.end]), seams, behind)
    picked: list[int] = []
    at = int(best[0])
    for here, back in reversed(choices):
        picked.append(int(here[at]))
        at = int(back[at])
    return tuple(reversed(picked))


def _step(
    along: Axis,
    size: float,
    options: NDArray[np.intp],
    cost: FloatArray,
    ends: FloatArray,
    seams: FloatArray,
    behind: FloatArray,
) -> tuple[FloatArray, NDArray[np.intp]]:
    """Least cost to end a part at each of `ends`, and which of `options` it began at."""
    if options[0] < 0:
        starts, needed = np.array([along.start]), np.array([along.start])
    else:
        starts, needed = seams[options], behind[options]
    lengths = ends[None, :] - starts[:, None]
    total = cost[:, None] + lengths**2
    total[(ends[None, :] - needed[:, None] > size) | (lengths <= 0)] = np.inf
    best = total.argmin(axis=0)
    return total[best, np.arange(len(ends))], best


def _latest(along: Axis, size: float) -> list[int] | None:
    """The furthest each cut can lie, cutting greedily from the start; None when stuck."""
    cuts: list[int] = []
    needed = along.start
    while along.end - needed > size:
        furthest = bisect_right(along.seams, needed + size) - 1
        if furthest < 0 or (cuts and furthest <= cuts[-1]):
            return None
        cuts.append(furthest)
        needed = along.behind[furthest]
    return cuts


def _earliest(along: Axis, size: float, cuts: int) -> list[int]:
    """The nearest each of `cuts` cuts can lie and leave the rest feasible."""
    earliest: list[int] = []
    end = along.end
    for _ in range(cuts):
        first = bisect_left(along.behind, end - size)
        earliest.append(first)
        end = along.seams[first]
    return earliest[::-1]
