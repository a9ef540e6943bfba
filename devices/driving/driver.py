"""Drives one stretch of program over a port, and keeps what is sent and what is confirmed.

The order is the point: a stroke is on the disk as sent before its first byte leaves, and as
drawn only after the machine has said so. It knows a conversation, a port and a record; no
dialect and no person.
"""

from __future__ import annotations

import contextlib
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

from devices.conversation.events import AskedAgain, Confirmed, Failed, PlaceLost, Presumed
from devices.driving.kept_places import add_whereabouts
from devices.driving.port import DeviceError, FailedInRunError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from devices.conversation.conversation import Conversation
    from devices.conversation.events import Event, Say
    from devices.dialects.answers import Dialect
    from marking.record.record import Record
    from marking.record.rows import StrokeEvent

Wish = Literal["go on", "pause", "stop"]


class Cable(Protocol):
    """The port as a run uses it."""

    def write(self, data: bytes) -> None:
        """Sends."""
        ...

    def read(self) -> bytes:
        """Takes what has come."""
        ...

    def clear_to_send(self, line: str) -> bool:
        """The hardware line."""
        ...

    def forget_unsent(self) -> None:
        """Drops what was written and has not left yet."""
        ...


@dataclass
class Driver:
    """One open conversation on one port."""

    port: Cable
    conversation: Conversation
    dialect: Dialect
    handshake: str
    record: Record
    run: int
    """The number that the record gave; 0 while nothing is to be inked yet."""
    section: str
    wish: Callable[[], Wish]
    """Asked between bytes: what the person wants."""
    drawn: Callable[[tuple[str, ...]], None]
    """Told what has been confirmed."""
    clock: Callable[[], float] = time.monotonic
    say: Callable[[str], None] = lambda _: None
    """Told what the person should know while the machine is waited for."""
    waits: Callable[[float], None] = lambda _: None
    """Told how many seconds a first answer is waited for yet, at most, whenever it is late; 0 once
    all are there."""
    stands: str | None = None
    """Where the machine stood when it was last brought to rest, pen up, if it said so."""
    doubts: bool = False
    """Whether a silence counts as a place lost: a machine that was switched off meanwhile may
    stand anywhere, unless it finds its own zero, or nothing hangs on where it stood."""

    def greet(self) -> None:
        """Opens the conversation.

        Raises DeviceError when the machine is not ready, KeyboardInterrupt where the person wishes
        for an end: nobody would be heard else while a machine is silent, and nothing is begun yet.
        """
        try:
            self._take(self.conversation.open(self.clock()))
            while early := self.port.read():
                self.conversation.overhear(early)
            self._heard_out()
        except KeyboardInterrupt:
            # A run that was killed before may have left its pen on the cloth.
            with contextlib.suppress(DeviceError):
                self.halt()
            raise

    def _heard_out(self) -> None:
        """Waits until all is answered that is asked first."""
        while self.conversation.greeting:
            if self.wish() != "go on":
                raise KeyboardInterrupt
            self._turn()
        self.waits(0.0)

    def send(self, program: Iterable[Say]) -> Wish:
        """Sends a stretch of program and waits until it is done.

        Returns what ended it: `go on` when all of it is done, `pause` when the person paused it
        after the strokes under way, `stop` when it was stopped at once. Raises DeviceError, the
        machine told to drop what it still holds and to raise its pen, as far as it can be told.
        """
        try:
            return self._sent_to_its_end(program)
        except BaseException:
            # Machine, record or person has ended it: what is buffered may be wrong by now, and
            # the machine may be in mid-line.
            with contextlib.suppress(DeviceError):
                self.halt()
            raise

    def _sent_to_its_end(self, program: Iterable[Say]) -> Wish:
        self.conversation.feed(program)
        paused = False
        while not self.conversation.drained:
            wish = self.wish()
            if wish == "stop":
                self.halt()
                return "stop"
            if wish == "pause" and not paused:
                self.conversation.pause()
                paused = True
            self._turn()
        return "pause" if paused else "go on"

    def halt(self) -> None:
        """Stops at once, pen up. What is under way stays unconfirmed."""
        halt = self.conversation.stop(self.clock())
        # At 9600 baud a full buffer is a second on its way, and the pen on the cloth.
        self.port.forget_unsent()
        try:
            while not halt.over:
                if data := halt.due(self.clock()):
                    self.port.write(data)
                self._take(halt.receive(self.port.read(), self.clock()))
        except BaseException:
            # Also when an impatient person interrupts the waiting.
            self.port.write(halt.at_once)
            self._take(halt.given_up())
            raise
        self.stands = halt.stands.text if halt.stands is not None else None

    def _turn(self) -> None:
        conversation = self.conversation
        if self.handshake in ("rtscts", "dtrdsr"):
            conversation.may_send(self.port.clear_to_send(self.handshake))
        due = conversation.due(self.clock())
        if due is not None:
            if due.begins:
                self.record.add_strokes(self.run, self.section, due.begins, "sent")
            self.port.write(due.data)
        self._take(conversation.receive(self.port.read(), self.clock()))
        self._take(conversation.tick(self.clock()))

    def _take(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Confirmed | Presumed):
                kind: StrokeEvent = "drawn" if isinstance(event, Confirmed) else "presumed"
                self.record.add_strokes(self.run, self.section, event.strokes, kind)
                self.drawn(event.strokes)
            elif isinstance(event, PlaceLost) and (event.told or self.doubts):
                add_whereabouts(self.record, self.section, "lost", event.why)
            elif isinstance(event, AskedAgain):
                if self.conversation.greeting:
                    self.say(f"The machine has not answered; asked again ({event.times})")
                    if event.until is not None:
                        self.waits(event.until - self.clock())
            elif isinstance(event, Failed):
                raise FailedInRunError(
                    f"{event.reason}. Look that the pen is up. Everything confirmed is kept; put "
                    "it right and run drive again to go on",
                    what=event.reason,
                )
