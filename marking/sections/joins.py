"""Where the marking may be parted along one axis, and the fewest, most even parts.

One axis at a time, millimetres in the table frame. It knows positions of ink, not strokes.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.layout.bare_cloth import between_lines, off_boxes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import IndexArray


NEAR_TICK = 3.0
"""How near to a join or a long line a tick may stand, in mm, where that saves a section."""
_HAIR = 1e-9
"""mm that arithmetic may add."""


class BareCloth(Struct, frozen=True):
    """Bare cloth in which a join may run, from `low` to `high`, after the line at `line`."""

    low: float
    high: float
    line: float


class Join(Struct, frozen=True):
    """Where two parts meet, and where the part after it sees marks of the one before."""

    at: float
    behind: float


class Axis(Struct, frozen=True):
    """The marking along one axis: its extent, and where it may be parted."""

    start: float
    end: float
    """The ink's extent, pen width included."""
    cloth: tuple[BareCloth, ...]
    """Rising and apart."""
    plain: tuple[float, ...]
    """Within `cloth`, where a join is best placed when it may choose: midway, rising."""
    pitch: float
    ticks_between: bool
    """Whether marks may stand between lines, as ticks, or on the lines alone."""

    def part(self, start: float, end: float) -> Axis:
        """The axis between two of its joins."""
        cut = self.between(start, end)
        return replace(
            cut,
            start=start,
            end=end,
            cloth=tuple(c for c in cut.cloth if c.high > start and c.low < end),
            plain=tuple(at for at in cut.plain if start < at < end),
        )

    def between(self, low: float, high: float) -> Axis:
        """The same extent, parted from `low` to `high` alone."""
        return replace(
            self,
            cloth=tuple(
                replace(c, low=max(c.low, low), high=min(c.high, high))
                for c in self.cloth
                if max(c.low, low) <= min(c.high, high)
            ),
            plain=tuple(at for at in self.plain if low <= at <= high),
        )

    def join(self, at: float, *, near: bool) -> Join:
        """The join at `at`, with its marks at their best place or, if `near`, at their nearest.

        Best is the last line before it, or half a pitch before it when that is further off than
        a pitch; the nearest tick keeps `NEAR_TICK` from line and join.
        """
        line = self.cloth[bisect_right(self.cloth, at, key=lambda c: c.low) - 1].line
        if not self.ticks_between:
            return Join(at, line)
        if near:
            off = min(self.pitch / 2, NEAR_TICK)
            return Join(at, at - off if at - line >= 2 * off else line)
        return Join(at, line if at - line <= self.pitch else at - self.pitch / 2)


def axis(
    extent: tuple[float, float],
    lines: Sequence[tuple[float, float]],
    pitch: float,
    marked: Sequence[float],
    boxes: Sequence[tuple[float, float]] = (),
    *,
    ticks_between: bool,
) -> Axis:
    """The axis for `lines`, each its place across it and half its ink, and `boxes` to keep off.

    `marked` are those places of lines on which marks may stand; where ticks stand between lines,
    no join runs right after any other. All rise. A join is best placed
    midway between neighbouring lines, or at every half pitch where lines are further apart; where
    a box stands there, in the middle of the widest cloth beside it.
    """
    cloth: list[BareCloth] = []
    plain: list[float] = []
    for (left, _), (right, _), bare in between_lines(lines):
        after = bisect_right(marked, left)
        if not after or (ticks_between and marked[after - 1] < left):
            # After a line that marks cannot stand on, a tick might come onto it.
            continue
        free = [BareCloth(low, high, marked[after - 1]) for low, high in off_boxes(boxes, *bare)]
        cloth += free
        plain += _plain(free, left, right, pitch)
    return Axis(*extent, tuple(cloth), tuple(plain), pitch, ticks_between)


def _plain(free: Sequence[BareCloth], left: float, right: float, pitch: float) -> list[float]:
    """Midway between two lines or at every half pitch; else the middle of the widest cloth."""
    wanted = [(left + right) / 2]
    if right - left > 1.5 * pitch:
        wanted = [left + (k + 0.5) * pitch for k in range(int((right - left) / pitch + 0.5))]
    inside = [at for at in wanted if any(c.low <= at <= c.high for c in free)]
    if inside or not free:
        return inside
    widest = max(free, key=lambda c: c.high - c.low)
    return [(widest.low + widest.high) / 2]


def least_parts(along: Axis, size: float) -> int:
    """A lower bound on the parts: as if joins could run anywhere, with the narrowest strip."""
    extent = along.end - along.start
    if extent <= size:
        return 1
    strips = (c.low - along.join(c.low, near=True).behind for c in along.cloth)
    strip = min(strips, default=0.0)
    if along.ticks_between:
        strip = min(strip, along.pitch / 2, NEAR_TICK)
    return 1 + max(1, math.ceil((extent - size) / (size - strip) - 1e-9)) if size > strip else 2


def choose(along: Axis, size: float) -> tuple[Join, ...] | None:
    """The joins that part the axis into the fewest parts a `size` can hold, evenly.

    Each part must lie with the marks behind its first join within `size`. Where the plain places
    for joins and marks need no more parts than any do, it is they, with the least sum of squared
    lengths. None when some part cannot be held however it is cut.
    """
    latest = _latest(along, size)
    if latest is None:
        return None
    earliest = _earliest(along, size, len(latest))
    ranges = list(zip(earliest, latest, strict=True))
    ends = (at for c in along.cloth for at in (c.low, c.high))
    anywhere = sorted({*along.plain, *ends, *latest, *earliest})
    for places, near in ((along.plain, False), (along.plain, True), (anywhere, True)):
        picked = _even([along.join(at, near=near) for at in places], along, size, ranges)
        if picked is not None:
            break
    assert picked is not None
    return tuple(
        best if end - best.behind <= size else join
        for join, end in zip(picked, [*(j.at for j in picked[1:]), along.end], strict=False)
        for best in [along.join(join.at, near=False)]
    )


def fewest(along: Axis, size: float) -> int | None:
    """How many parts `choose` makes; None when some part cannot be held."""
    latest = _latest(along, size)
    return None if latest is None else len(latest) + 1


def widest_whole(along: Axis) -> tuple[float, float]:
    """The widest stretch that one part must hold whole, however the axis is parted.

    From the marks before the last place for a join to the next place, or to an end.
    """
    if not along.cloth:
        return along.start, along.end
    lows = [along.start, *(along.join(c.high, near=True).behind for c in along.cloth)]
    highs = [*(c.low for c in along.cloth), along.end]
    return max(zip(lows, highs, strict=True), key=lambda stretch: stretch[1] - stretch[0])


def furthest(along: Axis, size: float) -> list[float]:
    """The furthest each join can lie, from the start on, until the rest is held or none can.

    The further a join, the further its marks, so that going furthest needs the fewest parts.
    """
    joins: list[float] = []
    needed = at = along.start
    while along.end - needed > size + _HAIR:
        n = bisect_right(along.cloth, needed + size, key=lambda c: c.low) - 1
        if n < 0 or min(along.cloth[n].high, needed + size) <= at:
            break
        at = min(along.cloth[n].high, needed + size)
        joins.append(at)
        needed = along.join(at, near=True).behind
    return joins


def _latest(along: Axis, size: float) -> list[float] | None:
    """The furthest each join can lie; None when some part cannot be held."""
    joins = furthest(along, size)
    needed = along.join(joins[-1], near=True).behind if joins else along.start
    return joins if along.end - needed <= size + _HAIR else None


def _earliest(along: Axis, size: float, count: int) -> list[float]:
    """The nearest each of `count` joins can lie and leave the rest to be held."""
    joins: list[float] = []
    end = along.end
    for _ in range(count):
        # No mark stands further back than half a pitch or the line before, so start there.
        first = bisect_left(along.cloth, end - size, key=lambda c: c.high)
        end = next(
            at for c in along.cloth[first:] if (at := _first_seeing(along, c, end - size)) <= c.high
        )
        joins.append(end)
    return joins[::-1]


def _first_seeing(along: Axis, cloth: BareCloth, wanted: float) -> float:
    """The nearest a join can lie in `cloth` so that its marks stand at `wanted` or after it."""
    if cloth.line >= wanted - _HAIR:
        return cloth.low
    if not along.ticks_between:
        return math.inf
    off = min(along.pitch / 2, NEAR_TICK)
    return max(cloth.low, cloth.line + 2 * off, wanted + off)


def _even(
    joins: Sequence[Join], along: Axis, size: float, ranges: Sequence[tuple[float, float]]
) -> list[Join] | None:
    """Of the ways to make a join in each of `ranges`, the one with the most even parts.

    The least sum of squared lengths, the earliest of equals; None when there is no way.
    """
    at = [join.at for join in joins]
    options = [
        joins[bisect_left(at, low - _HAIR) : bisect_right(at, high + _HAIR)] for low, high in ranges
    ]
    starts = [Join(along.start, along.start)]
    cost = np.zeros(1)
    origins: list[IndexArray] = []
    for ends in [*options, [Join(along.end, along.end)]]:
        if not ends:
            return None
        reached = np.array([join.at for join in ends])[None, :]
        lengths = reached - np.array([[join.at] for join in starts])
        total = cost[:, None] + lengths**2
        needed = np.array([[join.behind] for join in starts])
        total[(reached - needed > size + _HAIR) | (lengths <= 0)] = np.inf
        origins.append(total.argmin(axis=0))
        cost, starts = total.min(axis=0), list(ends)
    if not math.isfinite(cost[0]):
        return None
    picked: list[Join] = []
    here = int(origins[-1][0])
    for held, origin in zip(reversed(options), reversed(origins[:-1]), strict=True):
        picked.append(held[here])
        here = int(origin[here])
    return picked[::-1]
