"""A carriage with a pen: where it is at any time, how long its moves take, what it inks.

It knows millimetres, seconds and cloth, and no language. Moves follow one another; each starts
and ends at rest with the acceleration given, as simple plotters do. What the controller believes
(`at`) and where the carriage really is (`real`) are two things: motors that lose steps, a belt
that slips at the end of its travel or a controller that forgets set them apart.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from devices.simulated.cloth import Cloth, Spot

ACCELERATION = 8000.0
"""mm/s2: most of one g, as moving-pen plotters have."""
STOWED = 0
"""The pen of a carriage that holds none."""


class Travel(Struct, frozen=True):
    """The rectangle that the pen can physically reach, mm."""

    low: Spot
    high: Spot

    def nearest(self, spot: Spot) -> Spot:
        """Where a carriage that is sent to `spot` comes to stand."""
        return (
            min(max(spot[0], self.low[0]), self.high[0]),
            min(max(spot[1], self.low[1]), self.high[1]),
        )


class _Move(Struct, frozen=True):
    start: Spot
    end: Spot
    begins: float
    lasts: float
    inks: bool
    speed: float


class Carriage:
    """One pen carriage over one cloth."""

    def __init__(
        self, cloth: Cloth, at: Spot, lift_seconds: float, travel: Travel | None = None
    ) -> None:
        self.cloth = cloth
        self.at = at
        """Where the controller believes that the pen is, mm."""
        self.slip: Spot = (0.0, 0.0)
        """How far the pen really is from there, mm."""
        self.down = False
        self.pen = 1
        self.free_at = 0.0
        """When the last thing asked of it ends."""
        self._lift = lift_seconds
        self._travel = travel
        self._move: _Move | None = None
        self._cut_short: _Move | None = None
        self.resting_since: float | None = None
        """Since when the pen stands still on the cloth."""

    @property
    def real(self) -> Spot:
        """Where the pen is."""
        return (self.at[0] + self.slip[0], self.at[1] + self.slip[1])

    def moving(self, now: float) -> bool:
        """Whether the motors turn."""
        return self._move is not None and self.free_at > now

    def lower(self, down: bool, now: float) -> None:
        """Raises or lowers the pen: it leaves the cloth as it begins, and meets it at the end."""
        if down != self.down:
            begins = max(self.free_at, now)
            self.free_at = begins + self._lift
            self.press(down, self.free_at if down else begins)

    def press(self, down: bool, now: float) -> None:
        """The pen comes onto the cloth or off it at once, as by a spring."""
        if down == self.down:
            return
        if down:
            self.resting_since = now
        else:
            self._rested(now)
        self.down = down

    def _rested(self, until: float) -> None:
        if self.resting_since is not None and self.pen != STOWED:
            self.cloth.rest(self.pen, self.real, self.resting_since, until)
        self.resting_since = None

    def go(self, end: Spot, speed: float, now: float, inks: bool) -> None:
        """Starts a move at `speed` mm/s; nothing else may be under way."""
        begins = max(self.free_at, now)
        lasts = _seconds(math.dist(self.at, end), speed)
        if lasts > 0:
            self._rested(begins)
        self._move = _Move(self.at, end, begins, lasts, inks, speed)
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
        came_from, moved = self.real, at != self.at
        self.at = at
        self._stall()
        if move.inks and self.pen != STOWED and (moved or (done >= 1 and move.start == move.end)):
            self.cloth.lay(self.pen, came_from, self.real, min(now, move.begins + move.lasts))
        if done >= 1:
            self._move = None
            if self.down and self.resting_since is None:
                self.resting_since = move.begins + move.lasts

    def _stall(self) -> None:
        """At the end of its travel the motors go on and the carriage does not."""
        if self._travel is not None:
            stands = self._travel.nearest(self.real)
            self.slip = (stands[0] - self.at[0], stands[1] - self.at[1])

    def halt(self, now: float, coast: float = 0.0) -> None:
        """Stops where it is; a moving carriage whose motors are cut runs on by `coast` mm."""
        self.advance(now)
        move, self._move, self._cut_short = self._move, None, None
        self.free_at = now
        if move is None:
            return
        if coast and move.start != move.end:
            length, came_from = math.dist(move.start, move.end), self.real
            self.slip = (
                self.slip[0] + coast * (move.end[0] - move.start[0]) / length,
                self.slip[1] + coast * (move.end[1] - move.start[1]) / length,
            )
            self._stall()
            if move.inks and self.pen != STOWED:
                self.cloth.lay(self.pen, came_from, self.real, now)
        if self.down and self.resting_since is None:
            self.resting_since = now

    def brake(self, now: float, deceleration: float) -> None:
        """Comes to rest along its line; `resume` goes on from there."""
        self.advance(now)
        move = self._move
        if move is None:
            return
        left = math.dist(self.at, move.end)
        way = min(move.speed**2 / (2 * deceleration), left)
        share = 1.0 if left <= 0 else way / left
        end = (
            self.at[0] + (move.end[0] - self.at[0]) * share,
            self.at[1] + (move.end[1] - self.at[1]) * share,
        )
        seconds = math.sqrt(2 * way / deceleration)
        self._move = _Move(self.at, end, now, seconds, move.inks, move.speed)
        self._cut_short = move if share < 1 else None
        self.free_at = now + seconds

    def resume(self, now: float) -> None:
        """Goes on with a move that was braked."""
        move, self._cut_short = self._cut_short, None
        if move is not None:
            self.go(move.end, move.speed, now, move.inks)

    def believe(self, at: Spot) -> None:
        """The controller takes the pen to be at `at`; the carriage does not move."""
        real = self.real
        self.at = at
        self.slip = (real[0] - at[0], real[1] - at[1])


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
