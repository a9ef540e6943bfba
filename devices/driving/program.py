"""The program of one run, piece by piece, with the checkpoints at which strokes are confirmed.

A checkpoint stands where the pen is raised over the start of the next stroke: the machine's
answer there tells that the last stroke is on the cloth, and the next one already lies in its
buffer. It owns what is asked in the gaps of a program (`devices.programs.program`), and knows no
dialect: a `Writer` writes, a `Dialect` asks.
"""

from __future__ import annotations

import itertools
import math
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.conversation.checkpoints import Checkpoint, Distinct, near
from devices.conversation.events import Say
from devices.programs.program import Program
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from devices.dialects.answers import Dialect
    from devices.dialects.writer import PenUse
    from devices.plotter.bed import UnitPoint

_LONGEST_UNASKED = 8.0
"""Seconds of joined strokes after which the pen is raised to ask; two may always go together."""
_LEG_SECONDS, _LEG_MM = 0.4, 12.0
"""Between two points of a line, whichever a pen takes longer for: a machine that cannot brake draws
on to the next one whatever is sent to stop it."""
_OPENING_SECONDS, _SETTING_SECONDS = 5.0, 8.0
"""What making ready may take, and a change of pen or speed."""


@dataclass
class Script(Program[Say]):
    """Writes stretches of one run; it remembers what awaits confirmation."""

    dialect: Dialect
    room: int
    """Bytes that may be under way."""
    nudge: int
    """The step, in units, by which a raised pen may stand beside its next start."""
    distinct: Distinct = field(default_factory=Distinct)
    _unasked: int = 0
    """Bytes since the last checkpoint."""
    _known: bool = False
    """Whether the pen was sent to `at`, so that the machine will report it."""
    _drawn: list[str] = field(default_factory=list)
    _drawing: float = 0.0
    """Seconds that the strokes in `_drawn` take."""

    def opening(self) -> Iterator[Say]:
        """Makes the machine ready, parks the pen and asks where it stands."""
        yield from super().opening()
        yield from self.hop_to(self.writer.bed.park)

    def hop_to(self, point: UnitPoint) -> Iterator[Say]:
        """Goes to a point with the pen up, and asks there.

        It asks at the very point, which may be like one just asked at: no stroke hangs on the
        answer, and what asks for strokes later stays apart from this place too.
        """
        yield from self._go(point)
        yield self._ask(self.dialect.place(point, False))

    def outline(self, points: Iterable[UnitPoint]) -> Iterator[Say]:
        """Goes along points with the pen up."""
        for point in points:
            yield from self.hop_to(point)

    def ink(self, strokes: Iterable[PenUse]) -> Iterator[Say]:
        """Inks strokes and raises the pen; every one is confirmed by the end."""
        yield from super().ink(strokes)
        yield from self._settle()

    def closing(self) -> Iterator[Say]:
        """Parks the pen, puts it away and asks."""
        yield from super().closing()
        yield from self._hop_and_ask(self.writer.bed.park)

    def _goes_on(self, stroke: PenUse) -> bool:
        """Not with another pen, nor where an answer is awaited though the pen could stay down.

        Else a long chain would neither be confirmed nor let a person pause before its end.
        """
        if not super()._goes_on(stroke) or stroke.pen != self.held:
            return False
        longer = self._drawing + self.writer.pace.line(stroke.path)
        return len(self._drawn) < 2 or longer <= _LONGEST_UNASKED

    def _settle(self) -> Iterator[Say]:
        if self._drawn:
            yield from self._hop_and_ask(self.at, rests=True)

    def _take(self, pen: str) -> Iterator[Say]:
        yield from self._settle()
        yield from super()._take(pen)

    def _come_to(self, start: UnitPoint, *, anew: bool) -> Iterator[Say]:
        if self._drawn:
            yield from self._hop_and_ask(start, rests=True)
        yield from super()._come_to(start, anew=anew)

    def _line(self, stroke: PenUse) -> Iterator[Say]:
        yield from super()._line(stroke if self.dialect.hold else self._in_legs(stroke))
        self._drawn.append(stroke.id)
        self._drawing += self.writer.pace.line(stroke.path)

    def _in_legs(self, stroke: PenUse) -> PenUse:
        """The same line with points on the way, half a unit beside it at most."""
        pace = self.writer.pace
        most = max(_LEG_SECONDS, _LEG_MM / (pace.draw * self.writer.bed.unit))
        path = [stroke.path[0]]
        for (x0, y0), (x1, y1) in itertools.pairwise(stroke.path):
            count = math.ceil(pace.line(((x0, y0), (x1, y1))) / most)
            path += [
                (round(x0 + (x1 - x0) * n / count), round(y0 + (y1 - y0) * n / count))
                for n in range(1, count)
            ]
            path.append((x1, y1))
        return replace(stroke, path=tuple(path))

    @property
    def _most(self) -> int:
        return self._enough - self._unasked

    @property
    def _enough(self) -> int:
        """Bytes after which to ask: while half a buffer is drawn, the other half is on its way.

        A machine that acknowledges every line need not be asked.
        """
        if self.dialect.acknowledges:
            return sys.maxsize
        return self.room // 2 - len(self.dialect.whereabouts)

    def _gap_in_line(self, rest: Sequence[UnitPoint], pen: str) -> Iterator[Say]:
        """Learns how far the machine has got when a stroke outgrows its buffer."""
        least, _ = self.writer.draw(rest[:1], pen, self.down, self._most)
        if self._unasked + len(least) <= self._enough:
            return
        text = self.dialect.place(self.at, True)
        if self.down and self.distinct.admits(text):
            yield self._ask(text, down=True)
            return
        if self.down and self._unasked + len(least) <= self.room * 3 // 4:
            # The next point may be told apart, while a pen that is lifted here leaves a dot. What
            # is left of the buffer is on its way meanwhile.
            return
        here = self.at
        yield from self._hop_and_ask(here)
        if self.at != here:
            yield from self._go(here)

    def _gap_before(self, data: bytes) -> Iterator[Say]:
        """Asks here and now where `data` and the question after it would not fit any more.

        A machine that is full of what nobody asks about never says that it has room again. The
        answer confirms no stroke, so its place need not be told apart from the last ones.
        """
        if self.dialect.acknowledges or not (self._unasked and self._known):
            return
        if self._unasked + len(data) + len(self.dialect.checkpoint) <= self.room:
            return
        lift, asks = self.dialect.raise_pen, self.dialect.whereabouts
        if self.down and self._unasked + len(lift) + len(asks) <= self.room:
            # It would rest on the cloth till the answer has come.
            self.down = False
            yield self._say(lift, 0.0, end=self.dialect.place(self.at, False))
        text = self.dialect.place(self.at, self.down)
        self.distinct.take(text)
        self._unasked = 0
        yield Say(asks, 0.0, (), Checkpoint(text, (), light=True), text)

    def _hop_and_ask(self, point: UnitPoint, *, rests: bool = False) -> Iterator[Say]:
        """Raises the pen over `point`, or a hair beside it, and asks there."""
        low, high = self.writer.bed.low, self.writer.bed.high
        spots = near(point, low, high, self.nudge)
        admitted = (s for s in spots if self.distinct.admits(self.dialect.place(s, False)))
        spot = next(admitted, None)
        if spot is None:
            raise RefusedError(
                f"no place round {point[0]}, {point[1]} in units can be told apart from the last "
                "ones by what the machine reports; nothing more was sent"
            )
        yield from self._go(spot)
        yield self._ask(self.dialect.place(spot, False), rests=rests)

    def _ask(self, text: str, *, down: bool = False, rests: bool = False) -> Say:
        self.distinct.take(text)
        confirms, self._drawn = tuple(self._drawn), []
        self._unasked, self._drawing = 0, 0.0
        light = down and not confirms
        data = self.dialect.whereabouts if light else self.dialect.checkpoint
        return Say(data, 0.0, (), Checkpoint(text, confirms, light), text, rests)

    def _told(self, data: bytes) -> Say:
        return self._say(data, _SETTING_SECONDS if self._known else _OPENING_SECONDS)

    def _hopped(self, data: bytes, start: UnitPoint) -> Say:
        self._known = True
        seconds = self.writer.pace.move(start, self.at)
        return self._say(data, seconds, end=self.dialect.place(self.at, False))

    def _drew(
        self, data: bytes, start: UnitPoint, points: Sequence[UnitPoint], begins: tuple[str, ...]
    ) -> Say:
        end = self.dialect.place(self.at, True)
        return self._say(data, self.writer.pace.line((start, *points)), begins, end)

    def _say(
        self, data: bytes, seconds: float, begins: tuple[str, ...] = (), end: str | None = None
    ) -> Say:
        self._unasked += len(data)
        return Say(data, seconds, begins, None, end)
