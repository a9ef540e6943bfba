"""The order of a program: it opens, takes pens, draws strokes and closes, in any dialect.

It knows a writer and where the pen is; neither bytes nor a machine. Between its pieces are gaps:
a file leaves them empty (`devices.programs.files`), a run asks the machine in them
(`devices.driving.program`).
"""

from __future__ import annotations

import sys
from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from devices.dialects.writer import PenUse, Writer
    from devices.plotter.bed import UnitPoint

Piece = TypeVar("Piece")
_MOST_POINTS = 200
"""Of one instruction; no machine takes more at once."""


@dataclass
class Program(ABC, Generic[Piece]):
    """Writes stretches of one program; it remembers where the pen is."""

    writer: Writer
    at: UnitPoint = field(default=(0, 0), init=False)
    held: str | None = field(default=None, init=False)
    """The pen that strokes were last drawn with; None before the first, and after the closing."""
    down: bool = field(default=False, init=False)

    def opening(self) -> Iterator[Piece]:
        """Makes the machine ready, its pen up."""
        for data in self.writer.opening():
            yield self._told(data)

    def ink(self, strokes: Iterable[PenUse]) -> Iterator[Piece]:
        """Draws strokes, in their order."""
        for stroke in strokes:
            changed, goes_on = stroke.pen != self.held, self._goes_on(stroke)
            if changed:
                yield from self._take(stroke.pen)
            if not goes_on:
                yield from self._come_to(stroke.path[0], anew=changed)
            yield from self._line(stroke)

    def closing(self) -> Iterator[Piece]:
        """Parks the pen and puts it away."""
        yield from self._go(self.writer.bed.park)
        for data in self.writer.closing():
            yield from self._gap_before(data)
            yield self._told(data)
        self.held = None

    @abstractmethod
    def _told(self, data: bytes) -> Piece:
        """A piece that moves nothing but pens in their holders."""

    @abstractmethod
    def _hopped(self, data: bytes, start: UnitPoint) -> Piece:
        """A piece that takes the raised pen from `start` to where it is now."""

    @abstractmethod
    def _drew(
        self, data: bytes, start: UnitPoint, points: Sequence[UnitPoint], begins: tuple[str, ...]
    ) -> Piece:
        """A piece that draws from `start` through `points`; `begins` strokes have no ink before."""

    def _goes_on(self, stroke: PenUse) -> bool:
        """Whether the pen stays down for a stroke that begins where the last one ended."""
        if not (self.down and stroke.joined and self.at == stroke.path[0]) or self.held is None:
            return False
        return self.writer.pens[stroke.pen].slot == self.writer.pens[self.held].slot

    def _take(self, pen: str) -> Iterator[Piece]:
        for data in self.writer.settings(pen, self.held):
            yield from self._gap_before(data)
            yield self._told(data)
        self.held = pen

    def _come_to(self, start: UnitPoint, *, anew: bool) -> Iterator[Piece]:
        """Brings the raised pen to the start of a stroke; `anew` with one that was just taken."""
        if anew or self.down or self.at != start:
            yield from self._go(start)

    def _go(self, point: UnitPoint) -> Iterator[Piece]:
        data = self.writer.hop(point)
        yield from self._gap_before(data)
        start, self.at, self.down = self.at, point, False
        yield self._hopped(data, start)

    def _line(self, stroke: PenUse) -> Iterator[Piece]:
        begins: tuple[str, ...] = (stroke.id,)
        points = stroke.path[1:] or stroke.path
        done = 0
        while done < len(points):
            rest = points[done : done + _MOST_POINTS]
            yield from self._gap_in_line(rest, stroke.pen)
            data, count = self.writer.draw(rest, stroke.pen, self.down, self._most)
            yield from self._gap_before(data)
            start, self.at, self.down = self.at, rest[count - 1], True
            yield self._drew(data, start, rest[:count], begins)
            begins, done = (), done + count

    @property
    def _most(self) -> int:
        """Bytes that a piece of a line may have here."""
        return sys.maxsize

    def _gap_before(self, data: bytes) -> Iterator[Piece]:
        """What has to come before a piece of these bytes."""
        del data
        return iter(())

    def _gap_in_line(self, rest: Sequence[UnitPoint], pen: str) -> Iterator[Piece]:
        """What has to come before `rest` of a line, or all of it, is drawn."""
        del rest, pen
        return iter(())
