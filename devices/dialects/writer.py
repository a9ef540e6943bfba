"""What a run needs to write in a dialect: hops, lines and pen settings, as pieces of program.

It holds the shape of a dialect's writer, and how long moves take; no dialect's words.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from devices.dialects.own_limits import seconds

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.plotter.bed import Bed, Point
    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen, PensTable
    from marking.sections.plan import Section


@dataclass(frozen=True)
class Inking:
    """One stroke as the machine draws it: device units, every pass included."""

    id: str
    pen: str
    path: tuple[Point, ...]
    joined: bool
    """Whether it begins where the one before it ended, so that the pen stays down."""


class Hand(Protocol):
    """One dialect's writer, for one plotter, bed and set of pens."""

    @property
    def bed(self) -> Bed:
        """Where it may draw."""
        ...

    @property
    def pace(self) -> Pace:
        """How fast it does."""
        ...

    def opening(self) -> Iterator[bytes]:
        """Makes the machine ready, its pen up."""
        ...

    def settings(self, pen: str, held: str | None) -> Iterator[bytes]:
        """What changes when `pen` is taken after `held`; the pen is up."""
        ...

    def hop(self, point: Point) -> bytes:
        """Raises the pen and goes to `point`."""
        ...

    def draw(self, points: Sequence[Point], lowered: bool, most: int) -> tuple[bytes, int]:
        """A piece of program through the first of `points`, and through how many of them.

        It has at most `most` bytes, unless one point alone takes more.
        """
        ...

    def closing(self) -> Iterator[bytes]:
        """Parks the pen."""
        ...


@dataclass(frozen=True)
class Pace:
    """How long moves take, estimated. Units, units a second and seconds."""

    draw: float
    travel: float
    lift: float
    acceleration: float | None = None
    """Units/s2, where the machine tells it: then every line is taken from rest to rest."""

    def line(self, points: Sequence[Point]) -> float:
        """Seconds along `points` with the pen down."""
        return sum(
            seconds(math.dist(a, b), self.draw, self.acceleration)
            for a, b in itertools.pairwise(points)
        )

    def move(self, start: Point, end: Point) -> float:
        """Seconds to raise the pen, go, and lower it."""
        return seconds(math.dist(start, end), self.travel, self.acceleration) + 2 * self.lift


def pace_of(plotter: Plotter, pens: PensTable, acceleration: float | None = None) -> Pace:
    """The pace of `plotter` with the slowest of its pens; `acceleration` in mm/s2."""
    speeds = [pens.named(name).speed for name in ("lines", "heavy", "numerals", "removable")]
    slowest = min([plotter.draw_speed, *(speed for speed in speeds if speed is not None)])
    unit = plotter.unit
    faster = None if acceleration is None else acceleration / unit
    return Pace(slowest / unit, plotter.travel_speed / unit, plotter.lift_seconds, faster)


def passes(points: Sequence[Point], count: int) -> list[Point]:
    """The points the pen goes through: there, back, and there again, as often as asked."""
    path = list(points)
    for done in range(1, count):
        path += points[-2::-1] if done % 2 else points[1:]
    return path


def inkings(section: Section, pens: PensTable, bed: Bed) -> list[Inking]:
    """The strokes of a section in device units, in inking order.

    Raises RefusedError when one of them would leave the bed.
    """
    strokes = [piece.stroke for piece in section.pieces]
    drawn = bed.units_of([stroke.points for stroke in strokes], section.id)
    result: list[Inking] = []
    for leg, stroke, points in zip(section.route.legs, strokes, drawn, strict=True):
        pen: Pen = pens.named(stroke.pen)
        path = passes(points, pen.passes)
        joined = leg.joined and bool(result) and result[-1].path[-1] == path[0]
        result.append(Inking(stroke.id, stroke.pen, tuple(path), joined))
    return result
