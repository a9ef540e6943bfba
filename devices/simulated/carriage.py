"""A carriage with a pen: where it is at any time, how long its moves take, what it inks.

It knows millimetres, seconds and cloth, and no language. Moves follow one another; each starts
and ends at rest with the acceleration given, as simple plotters do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from devices.simulated.cloth import Cloth, Spot

ACCELERATION = 8000.0
"""mm/s2: most of one g, as moving-pen plotters have."""


@dataclass(frozen=True)
class Travel:
    """The rectangle that the pen can physically reach, mm."""

    low: Spot
    high: Spot


@dataclass(frozen=True)
class _Move:
    start: Spot
    end: Spot
    begins: float
    lasts: float
    inks: bool


class Carriage:
    """One pen carriage over one cloth."""

    def __init__(self, cloth: Cloth, at: Spot, lift_seconds: float) -> None:
        self.cloth = cloth
        self.at = at
        self.down = False
        self.pen = 1
        self.free_at = 0.0
        """When the last thing asked of it ends."""
        self._lift = lift_seconds
        self._move: _Move | None = None
        self._settled_at = -1.0

    def lower(self, down: bool, now: float) -> None:
        """Raises or lowers the pen."""
        if down != self.down:
            self.down = down
            self.free_at = max(self.free_at, now) + self._lift

    def go(self, end: Spot, speed: float, now: float, inks: bool) -> None:
        """Starts a move at `speed` mm/s; nothing else may be under way."""
        begins = max(self.free_at, now)
        lasts = _seconds(math.dist(self.at, end), speed)
        self._move = _Move(self.at, end, begins, lasts, inks)
        self._settled_at = begins
        self.free_at = begins + lasts

    def wait(self, seconds: float, now: float) -> None:
        """Does nothing for a while."""
        self.free_at = max(self.free_at, now) + seconds

    def advance(self, now: float) -> None:
        """Brings pen and ink up to `now`."""
        move = self._move
        if move is None:
            return
        done = 1.0 if move.lasts <= 0 else min(max((now - move.begins) / move.lasts, 0.0), 1.0)
        (x0, y0), (x1, y1) = move.start, move.end
        at = move.end if done >= 1 else (x0 + (x1 - x0) * done, y0 + (y1 - y0) * done)
        if move.inks and (at != self.at or (done >= 1 and move.start == move.end)):
            self.cloth.lay(self.pen, self.at, at)
        self.at = at
        if done >= 1:
            self._move = None

    def halt(self, now: float) -> None:
        """Stops where it is."""
        self.advance(now)
        self._move = None
        self.free_at = now


def _seconds(distance: float, speed: float) -> float:
    if distance * ACCELERATION < speed**2:
        return 2 * math.sqrt(distance / ACCELERATION)
    return distance / speed + speed / ACCELERATION


def clipped(start: Spot, end: Spot, low: Spot, high: Spot) -> tuple[Spot, Spot] | None:
    """The part of a line inside a rectangle, or None (Liang and Barsky, 1984)."""
    first, last = 0.0, 1.0
    for axis in (0, 1):
        delta = end[axis] - start[axis]
        for distance, slope in (
            (start[axis] - low[axis], -delta),
            (high[axis] - start[axis], delta),
        ):
            if slope == 0:
                if distance < 0:
                    return None
            elif slope < 0:
                first = max(first, distance / slope)
            else:
                last = min(last, distance / slope)
    if first > last:
        return None

    def at(t: float) -> Spot:
        return (start[0] + (end[0] - start[0]) * t, start[1] + (end[1] - start[1]) * t)

    return (start if first == 0 else at(first)), (end if last == 1 else at(last))
