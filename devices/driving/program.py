"""The program of one run, piece by piece, with the checkpoints at which strokes are confirmed.

A checkpoint stands where the pen is raised over the start of the next stroke: the machine's
answer there tells that the last stroke is on the cloth, and the next one already lies in its
buffer. It knows no dialect: a `Hand` writes, a `Tongue` asks.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from devices.conversation.checkpoints import Checkpoint, Distinct, near
from devices.conversation.events import Say
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Generator, Iterable, Iterator

    from devices.dialects.answers import Tongue
    from devices.dialects.writer import Hand, Inking
    from devices.plotter.bed import Point

_MOST_POINTS = 200
"""Of one instruction; no machine takes more at once."""
_LONGEST_UNASKED = 8.0
"""Seconds of joined strokes after which the pen is raised to ask; two may always go together."""


@dataclass
class Script:
    """Writes stretches of one run; it remembers where the pen is and what awaits confirmation."""

    hand: Hand
    tongue: Tongue
    room: int
    """Bytes that may be under way."""
    nudge: int
    """The step, in units, by which a raised pen may stand beside its next start."""
    at: Point = (0, 0)
    held: str | None = None
    distinct: Distinct = field(default_factory=Distinct)
    _unasked: int = 0
    """Bytes since the last checkpoint."""
    _down: bool = False
    _known: bool = False
    """Whether the pen was sent to `at`, so that the machine will report it."""
    _drawn: list[str] = field(default_factory=list)
    _drawing: float = 0.0
    """Seconds that the strokes in `_drawn` take."""

    def opening(self) -> Iterator[Say]:
        """Makes the machine ready and asks where it stands."""
        for data in self.hand.opening():
            yield self._say(data, 5.0)
        yield from self.hop_to(self.hand.bed.park)

    def hop_to(self, point: Point) -> Iterator[Say]:
        """Goes to a point with the pen up, and asks there.

        It asks at the very point, which may be like one just asked at: no stroke hangs on the
        answer, and what asks for strokes later stays apart from this place too.
        """
        yield from self._room_to_ask(self.hand.hop(point))
        yield self._hop(point)
        yield self._ask(self.tongue.place(point, False))

    def outline(self, points: Iterable[Point]) -> Iterator[Say]:
        """Goes along points with the pen up."""
        for point in points:
            yield from self.hop_to(point)

    def ink(self, strokes: Iterable[Inking]) -> Iterator[Say]:
        """Inks strokes and raises the pen; every one is confirmed by the end."""
        lowered = False
        for stroke in strokes:
            start = stroke.path[0]
            changed = stroke.pen != self.held
            joined = lowered and stroke.joined and self.at == start
            if changed or not joined or self._awaits_an_answer(stroke):
                yield from self._change(stroke) if changed else ()
                if self._drawn:
                    yield from self._hop_and_ask(start, rests=True)
                if self.at != start or changed:
                    yield from self._room_to_ask(self.hand.hop(start))
                    yield self._hop(start)
                lowered = False
            yield from self._line(stroke, lowered)
            lowered = True
            self._drawn.append(stroke.id)
            self._drawing += self.hand.pace.line(stroke.path)
        yield from self._settle()

    def closing(self) -> Iterator[Say]:
        """Parks the pen."""
        yield from self._room_to_ask(self.hand.hop(self.hand.bed.park))
        yield self._hop(self.hand.bed.park)
        for data in self.hand.closing():
            yield from self._room_to_ask(data)
            yield self._say(data, 8.0)
        self.held = None
        yield from self._hop_and_ask(self.hand.bed.park)

    def _awaits_an_answer(self, joined: Inking) -> bool:
        """Whether to ask before one more stroke, though the pen could stay down for it.

        Else a long chain would neither be confirmed nor let a person pause before its end.
        """
        longer = self._drawing + self.hand.pace.line(joined.path)
        return len(self._drawn) > 1 and longer > _LONGEST_UNASKED

    def _settle(self) -> Iterator[Say]:
        if self._drawn:
            yield from self._hop_and_ask(self.at, rests=True)

    def _change(self, stroke: Inking) -> Iterator[Say]:
        yield from self._settle()
        for data in self.hand.settings(stroke.pen, self.held):
            yield from self._room_to_ask(data)
            yield self._say(data, 8.0)
        self.held = stroke.pen

    def _line(self, stroke: Inking, lowered: bool) -> Iterator[Say]:
        begins: tuple[str, ...] = (stroke.id,)
        path = stroke.path if len(stroke.path) > 1 else stroke.path * 2
        done = 1
        while done < len(path):
            rest = path[done : done + _MOST_POINTS]
            data, count = self.hand.draw(rest, lowered, self._enough - self._unasked)
            if self._unasked + len(data) > self._enough:
                lowered = yield from self._ask_on_the_way(lowered)
                data, count = self.hand.draw(rest, lowered, self._enough - self._unasked)
            yield from self._room_to_ask(data)
            seconds = self.hand.pace.line(path[done - 1 : done + count])
            self.at = path[done + count - 1]
            yield self._say(data, seconds, begins, self.tongue.place(self.at, True))
            self._down = True
            lowered, begins, done = True, (), done + count

    @property
    def _enough(self) -> int:
        """Bytes after which to ask: while half a buffer is drawn, the other half is on its way.

        A machine that acknowledges every line need not be asked.
        """
        if self.tongue.acknowledges:
            return sys.maxsize
        return self.room // 2 - len(self.tongue.whereabouts)

    def _ask_on_the_way(self, lowered: bool) -> Generator[Say, None, bool]:
        """Learns how far the machine has got when a stroke outgrows its buffer.

        Returns whether the pen is still down.
        """
        text = self.tongue.place(self.at, True)
        if lowered and self.distinct.admits(text):
            yield self._ask(text, down=True)
            return True
        here = self.at
        yield from self._hop_and_ask(here)
        if self.at != here:
            yield self._hop(here)
        return False

    def _room_to_ask(self, data: bytes) -> Iterator[Say]:
        """Asks here and now where `data` and the question after it would not fit any more.

        A machine that is full of what nobody asks about never says that it has room again. The
        answer confirms no stroke, so its place need not be told apart from the last ones.
        """
        if self.tongue.acknowledges or not (self._unasked and self._known):
            return
        if self._unasked + len(data) + len(self.tongue.checkpoint) <= self.room:
            return
        lift, asks = self.tongue.raise_pen, self.tongue.whereabouts
        if self._down and self._unasked + len(lift) + len(asks) <= self.room:
            # It would rest on the cloth till the answer has come.
            self._down = False
            yield self._say(lift, 0.0, end=self.tongue.place(self.at, False))
        text = self.tongue.place(self.at, self._down)
        self.distinct.take(text)
        self._unasked = 0
        yield Say(asks, 0.0, (), Checkpoint(text, (), light=True), text)

    def _hop_and_ask(self, point: Point, *, rests: bool = False) -> Iterator[Say]:
        """Raises the pen over `point`, or a hair beside it, and asks there."""
        low, high = self.hand.bed.low, self.hand.bed.high
        spots = near(point, low, high, self.nudge)
        admitted = (s for s in spots if self.distinct.admits(self.tongue.place(s, False)))
        spot = next(admitted, None)
        if spot is None:
            raise RefusedError(
                f"no place round {point[0]}, {point[1]} in units can be told apart from the last "
                "ones by what the machine reports; nothing more was sent"
            )
        yield from self._room_to_ask(self.hand.hop(spot))
        yield self._hop(spot)
        yield self._ask(self.tongue.place(spot, False), rests=rests)

    def _hop(self, point: Point) -> Say:
        seconds = self.hand.pace.move(self.at, point)
        self.at, self._down, self._known = point, False, True
        return self._say(self.hand.hop(point), seconds, end=self.tongue.place(point, False))

    def _ask(self, text: str, *, down: bool = False, rests: bool = False) -> Say:
        self.distinct.take(text)
        confirms, self._drawn = tuple(self._drawn), []
        self._unasked, self._drawing = 0, 0.0
        light = down and not confirms
        data = self.tongue.whereabouts if light else self.tongue.checkpoint
        return Say(data, 0.0, (), Checkpoint(text, confirms, light), text, rests)

    def _say(
        self, data: bytes, seconds: float, begins: tuple[str, ...] = (), end: str | None = None
    ) -> Say:
        self._unasked += len(data)
        return Say(data, seconds, begins, None, end)
