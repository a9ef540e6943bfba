"""What a dialect's writer writes: hops, lines and pen settings, as pieces of program.

It holds the shape of a writer, the strokes it is given and how long they take; no dialect's words,
and not in what order pieces come (`devices.programs.program`).
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Protocol

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from devices.plotter.bed import Bed, UnitPoint
    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen
    from marking.sections.plan import Section


class PenUse(Struct, frozen=True):
    """One stroke as the machine draws it: device units, every pass included."""

    id: str
    pen: str
    path: tuple[UnitPoint, ...]
    joined: bool
    """Whether it begins where the one before it ended, so that the pen stays down."""


class Writer(Protocol):
    """One dialect's words, for one plotter, bed and set of pens. Every piece is whole."""

    @property
    def bed(self) -> Bed:
        """Where it may draw."""
        ...

    @property
    def pens(self) -> Mapping[str, Pen]:
        """By the names that strokes call them."""
        ...

    @property
    def pace(self) -> PenPace:
        """How fast it draws."""
        ...

    def check(self, used: Mapping[str, Pen]) -> None:
        """Raises RefusedError when a pen, by the name people know it by, asks what is not there."""
        ...

    def opening(self) -> Iterator[bytes]:
        """Makes the machine ready, its pen up."""
        ...

    def settings(self, pen: str, held: str | None) -> Iterator[bytes]:
        """What changes when `pen` is taken after `held`.

        The pen is up wherever that is one in another holder.
        """
        ...

    def hop(self, point: UnitPoint) -> bytes:
        """Raises the pen and goes to `point`."""
        ...

    def draw(
        self, points: Sequence[UnitPoint], pen: str, lowered: bool, most: int
    ) -> tuple[bytes, int]:
        """A piece of program through the first of `points`, and through how many of them.

        It has at most `most` bytes, unless one point alone takes more.
        """
        ...

    def closing(self) -> Iterator[bytes]:
        """Puts the pen away, which is up and parked."""
        ...


class PenPace(Struct, frozen=True):
    """How long moves take, estimated. Units, units a second and seconds."""

    draw: float
    travel: float
    lift: float
    acceleration: float | None = None
    """Units/s2, where the machine tells it: then every line is taken from rest to rest."""

    def line(self, points: Sequence[UnitPoint]) -> float:
        """Seconds along `points` with the pen down."""
        return sum(
            seconds(math.dist(a, b), self.draw, self.acceleration)
            for a, b in itertools.pairwise(points)
        )

    def move(self, start: UnitPoint, end: UnitPoint) -> float:
        """Seconds to raise the pen, go, and lower it."""
        return seconds(math.dist(start, end), self.travel, self.acceleration) + 2 * self.lift


def seconds(distance: float, speed: float, acceleration: float | None) -> float:
    """How long a move from rest to rest takes."""
    if acceleration is None:
        return distance / speed
    if distance * acceleration < speed**2:
        return 2 * math.sqrt(distance / acceleration)
    return distance / speed + speed / acceleration


def pace_of(
    plotter: Plotter, pens: Mapping[str, Pen], acceleration: float | None = None
) -> PenPace:
    """The pace of `plotter` with the slowest of its pens; `acceleration` in mm/s2."""
    slowest = min(drawing_speed(pen, plotter) for pen in pens.values())
    unit = plotter.unit
    faster = None if acceleration is None else acceleration / unit
    return PenPace(slowest / unit, plotter.travel_speed / unit, plotter.lift_seconds, faster)


def drawing_speed(pen: Pen, plotter: Plotter) -> float:
    """How fast `plotter` draws with `pen`, in mm/s."""
    return min(plotter.draw_speed, pen.speed or plotter.draw_speed)


def path_of(points: Sequence[UnitPoint], passes: int) -> tuple[UnitPoint, ...]:
    """The points the pen goes through: there, back, and there again, as often as asked.

    Neighbours that round to one place are one point of it; a dot is a path of one.
    """
    once = [points[0], *(p for before, p in itertools.pairwise(points) if p != before)]
    path = list(once)
    for done in range(1, passes):
        path += once[-2::-1] if done % 2 else once[1:]
    return tuple(path)


def inkings(section: Section, pens: Mapping[str, Pen], bed: Bed) -> list[PenUse]:
    """The strokes of a section in device units, in inking order.

    Raises RefusedError when one of them would leave the bed.
    """
    strokes = [piece.stroke for piece in section.pieces]
    drawn = bed.units_of([stroke.path for stroke in strokes], section.id)
    result: list[PenUse] = []
    for leg, stroke, points in zip(section.route.legs, strokes, drawn, strict=True):
        path = path_of(points, 1 if stroke.beside else pens[stroke.pen].passes)
        joined = leg.joined and bool(result) and result[-1].path[-1] == path[0]
        result.append(PenUse(stroke.id, stroke.pen, path, joined))
    return result
