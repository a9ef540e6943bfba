"""Brings a machine to rest, pen up, whatever it was doing: bytes in, bytes out, no port, no clock.

It owns the order of a stop: what brakes, then what drops the rest, then what raises the pen. A
machine that can brake is never told to drop what it holds while it moves, since that loses its
place; it must not know what was being drawn, nor who wants the stop.

Source of what a reset does: the Grbl 1.1 firmware's doc/markdown/commands.md, "If reset while in
motion, Grbl will throw an alarm to indicate position may be lost"; interface.md, "Hold:0 Hold
complete. Hold:1 Hold in-progress. Reset will throw an alarm."
"""

from __future__ import annotations

from enum import Enum, auto
from typing import TYPE_CHECKING

from devices.conversation.events import PlaceLost

if TYPE_CHECKING:
    from devices.conversation.events import Event
    from devices.dialects.answers import Dialect, Reply

_ASKED_EVERY = 0.03
"""Seconds between two looks at how far it has braked."""
_SILENT = 0.5
"""How long it may say nothing at all before it is stopped unseen."""
_BRAKES_LONGEST = 15.0
"""How long it may go on saying that it is not at rest yet."""
_DROPPED_AGAIN = 0.7
_STARTS = 1.5
"""How long it may take to greet after what it held was dropped."""
_RAISES = 3.0
"""How long it may take to raise its pen and say so."""
_LINGERS = 0.2
"""How long the line stays open for the last bytes of a machine that is asked nothing more."""


class _Stage(Enum):
    BRAKING = auto()
    DROPPING = auto()
    RAISING = auto()
    LINGERING = auto()
    OVER = auto()


class Halt:
    """One stop, from the order to the raised pen."""

    def __init__(
        self,
        dialect: Dialect,
        now: float,
        *,
        restarted: bool = False,
        alarmed: bool = False,
        greeting: bool = False,
        resetting: bool = False,
    ) -> None:
        """`greeting` is whether it has yet to answer what it is asked first: its silence tells of
        no loss then. `resetting` is whether it was reset, at rest, and has not said so yet.
        """
        self.stands: Reply | None = None
        """Where it stands in the end, pen up, if it said so."""
        self._dialect = dialect
        self._restarted = restarted
        self._locked = alarmed
        self._told_lost = False
        self._greeting = greeting
        self._line = bytearray()
        self._out = bytearray()
        self._stage = _Stage.OVER
        self._since = self._heard_at = self._asked_at = now
        if alarmed:
            # It has stopped by itself, and does nothing before it is reset.
            self._drop(now)
        elif resetting:
            # Its banner would pass for that of a restart, were it reset once more.
            self._enter(_Stage.DROPPING, now)
        elif dialect.hold:
            self._out += dialect.hold + dialect.poll
            self._enter(_Stage.BRAKING, now)
        else:
            self._out += dialect.halt + dialect.raise_pen
            self._enter(_Stage.LINGERING, now)

    @property
    def over(self) -> bool:
        """Whether nothing is left to send or to wait for."""
        return self._stage is _Stage.OVER and not self._out

    @property
    def at_once(self) -> bytes:
        """What is left to send when nobody can wait for the machine any longer."""
        left = bytes(self._out)
        if self._stage is _Stage.BRAKING:
            return left + self._dialect.halt + self._dialect.unlock + self._raise()
        if self._stage is _Stage.DROPPING:
            return left + self._dialect.unlock + self._raise()
        return left

    def given_up(self) -> list[Event]:
        """What follows from sending `at_once`."""
        if self._stage is _Stage.BRAKING:
            return self._lost("it was stopped before it had braked")
        return []

    def due(self, now: float) -> bytes:
        """What to send now."""
        self._stale(now)
        again = self._again
        if again and now - self._asked_at >= (
            _ASKED_EVERY if self._stage is not _Stage.DROPPING else _DROPPED_AGAIN
        ):
            self._asked_at = now
            self._out += again
        data, self._out = bytes(self._out), bytearray()
        return data

    @property
    def _again(self) -> bytes:
        """What is said over and over in this stage, since any byte may be lost."""
        if self._stage is _Stage.BRAKING:
            return self._dialect.hold + self._dialect.poll
        if self._stage is _Stage.DROPPING:
            return self._dialect.halt
        return self._dialect.poll if self._stage is _Stage.RAISING else b""

    def receive(self, data: bytes, now: float) -> list[Event]:
        """Takes what the machine sent."""
        events: list[Event] = []
        for byte in data:
            if byte not in self._dialect.ends:
                self._line.append(byte)
                continue
            line, self._line = bytes(self._line).strip(), bytearray()
            if line and self._dialect.hold:
                events += self._heard(self._dialect.heard(line), now)
        return events + self._overdue(now)

    def _heard(self, reply: Reply, now: float) -> list[Event]:
        if reply.kind == "noise":
            return []
        self._heard_at = now
        if reply.kind == "alarm":
            self._locked = True
            if self._stage is _Stage.BRAKING:
                self._drop(now)
            return self._lost(reply.text) if reply.lost else []
        if reply.kind == "banner":
            return self._greeted(now)
        if reply.kind == "refused" and reply.lost and self._stage is _Stage.RAISING:
            # Locked after all: what it said of that was not heard.
            self._out += self._dialect.unlock + self._raise()
            return self._lost(reply.text)
        if reply.kind == "place":
            return self._at(reply, now)
        return []

    def _greeted(self, now: float) -> list[Event]:
        if self._stage is _Stage.DROPPING:
            self._enter(_Stage.RAISING, now)
            self._out += (self._dialect.unlock if self._locked else b"") + self._raise()
            return []
        self._restarted = True
        return self._lost("the machine has restarted by itself (power, or its reset button)")

    def _at(self, reply: Reply, now: float) -> list[Event]:
        if self._stage is _Stage.BRAKING and reply.still:
            self._locked = reply.locked
            self._drop(now)
        elif self._stage is _Stage.RAISING and reply.locked:
            self._locked = True
        elif self._stage is _Stage.RAISING and self._is_up(reply):
            self.stands = None if self._restarted else reply
            self._enter(_Stage.OVER, now)
        return []

    def _is_up(self, reply: Reply) -> bool:
        return reply.settled and (self._restarted or self._dialect.raised(reply.text))

    def _stale(self, now: float) -> None:
        waited = now - self._since
        if (self._stage is _Stage.LINGERING and waited > _LINGERS) or (
            self._stage is _Stage.RAISING and waited > _RAISES
        ):
            self._enter(_Stage.OVER, now)

    def _overdue(self, now: float) -> list[Event]:
        waited = now - self._since
        if self._stage is _Stage.BRAKING and (
            now - self._heard_at > _SILENT or waited > _BRAKES_LONGEST
        ):
            self._drop(now)
            return self._silent("it was stopped without saying whether it had braked")
        if self._stage is _Stage.DROPPING and waited > _STARTS:
            self._enter(_Stage.RAISING, now)
            self._out += self._dialect.unlock + self._raise()
            return self._silent("it did not say how it was after it was stopped")
        return []

    def _drop(self, now: float) -> None:
        self._out += self._dialect.halt
        self._enter(_Stage.DROPPING, now)

    def _raise(self) -> bytes:
        return self._dialect.raise_pen_blind if self._restarted else self._dialect.raise_pen

    def _silent(self, why: str) -> list[Event]:
        return self._lost(why, told=not self._greeting)

    def _lost(self, why: str, *, told: bool = True) -> list[Event]:
        if self._told_lost:
            return []
        self._told_lost = told
        return [PlaceLost(why, told)]

    def _enter(self, stage: _Stage, now: float) -> None:
        self._stage, self._since, self._asked_at = stage, now, now
