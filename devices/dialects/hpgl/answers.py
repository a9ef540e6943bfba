"""How an HP-GL plotter is asked and what it answers. Words only: no state, no port.

Source: HP 7470A Graphics Plotter Interfacing and Programming Manual (07470-90001, October
1984): IN page 1-11, IW and OW 2-9, OA 7-3, OE 7-5, OS 7-8; device control (ESC sequences) chapter
10, from page 10-23. OS tells once, with 8, that the plotter was switched on or initialised since
it was last asked; then the window is the whole bed again, and the speed the greatest.
ESC.E's numbers stand in the Roland DPX-2700A manual, page 45, and alike in other makers'.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from msgspec import Struct

from devices.dialects.answers import XOFF, XON, Question, Reply

if TYPE_CHECKING:
    from devices.dialects.hpgl.buffer_trial import BufferTrial
    from devices.plotter.bed import UnitPoint
    from devices.plotter.profile import Handshake

ESC = b"\x1b."
INITIALISED, READY, ERROR = 8, 16, 32
"""Bits of the status byte, page 7-8."""

INSTRUCTION_ERRORS = {
    1: "it did not recognise an instruction",
    2: "an instruction had the wrong number of parameters",
    3: "a parameter was out of range, or a character had no place there",
    5: "a character set is unknown to it",
    6: "a position overflowed: a coordinate larger than it can count",
    7: "its own buffer for the instruction overflowed",
    8: "it was told to draw while the pinch wheels were raised: load the cloth and lower them",
}
"""OE, page 7-5; 7 from later plotters."""

OVERFLOW = 16
IO_ERRORS = {
    10: "a question came while it was answering another",
    11: "it did not know the byte after an escape",
    12: "a device-control sequence was garbled",
    13: "a device-control parameter was out of range",
    14: "a device-control sequence had too many parameters",
    15: "bytes arrived garbled (framing, parity or overrun): check the baud rate and the cable",
    OVERFLOW: "its input buffer overflowed and bytes were lost: set plotter.buffer_bytes lower, "
    "to what its manual says, and plotter.handshake to its own",
    17: "the baud rates do not match",
    18: "it reports a fault of its serial line",
}
"""ESC.E."""

_MOST_STATUS = 63
_WINDOW_LASTS = 5.0
"""Seconds of silence after which a plotter counts as one that has no OW."""
_PLACE = re.compile(rb"(-?\d{1,8}),(-?\d{1,8}),([01])")
_WINDOW = re.compile(rb"-?\d{1,8}(,-?\d{1,8}){3}")
_NUMBER = re.compile(rb"\d{1,6}")

_GREETING = {
    "xonxoff": ESC + b"I81;;%d:" % XON + ESC + b"N;%d:" % XOFF,
    "rtscts": ESC + b"@;1:",
    "dtrdsr": ESC + b"@;1:",
}
"""Page 10-20 and 10-29: Xoff threshold, Xon and Xoff characters; 10-26: hardwire handshake."""


WHO = ESC + b"(" + ESC + b"J" + ESC + b"K" + b"OI;"
"""Asks for its name, page 7-7, behind what a cut cable may have left; nothing moves."""


class HpglDialect(Struct, frozen=True):
    """The words of one plotter."""

    handshake: Handshake
    starts: bool = False
    """Whether it knows IN, and is initialised in the greeting."""
    own_window: str = ""
    """What OW answers after the opening; empty for a plotter without IW."""
    trial: BufferTrial | None = None
    """How to find out what its buffer holds."""
    checkpoint: bytes = b"OA;OS;"
    whereabouts: bytes = b"OA;"
    poll: bytes = b""
    hold: bytes = b""
    halt: bytes = ESC + b"K"
    """Page 10-24: drops the instruction half read and all that is buffered; the next is taken at
    once, so that a pen can be raised right behind it."""
    unlock: bytes = b""
    raise_pen: bytes = b"PU;"
    raise_pen_blind: bytes = b"PU;"
    ends: bytes = b"\r"
    status_follows: bool = True
    acknowledges: bool = False

    @property
    def room(self) -> bytes:
        """ESC.B, page 10-26, where the profile says that it is to be asked."""
        return ESC + b"B" if self.handshake == "space" else b""

    @property
    def greeting(self) -> tuple[Question, ...]:
        """Throws away half an instruction that a cut cable may have left, then reads errors.

        IN stands here and not in the opening, so that its own 8 in OS is read before the program:
        from then on an 8 is a restart that nobody asked for.
        """
        start = ESC + b"(" + ESC + b"J" + ESC + b"K" + _GREETING.get(self.handshake, b"")
        if self.handshake == "timed":
            return ()
        return (
            Question(start + ESC + b"B", "number", "room"),
            Question(ESC + b"E", "number", "ready"),
            # An instruction cut short by the last conversation leaves an error of no concern now;
            # the second reading counts.
            # It may still draw a long line. Asked in turn, it answers after that; ESC.B at once.
            Question(
                b"PU;OE;",
                "number",
                "ready",
                most=max(INSTRUCTION_ERRORS),
                ping=ESC + b"B",
                busy=60.0,
            ),
            # No error number is as great: of two answers to OE the second is not taken for it.
            Question(
                b"OS;",
                "number",
                "since",
                least=max(INSTRUCTION_ERRORS) + 1,
                most=_MOST_STATUS,
            ),
            *self._beginning,
            Question(ESC + b"E", "number", "io error"),
            Question(b"OE;", "number", "error"),
            Question(b"OS;", "number", "status"),
        )

    @property
    def _beginning(self) -> tuple[Question, ...]:
        if not self.starts:
            return ()
        started = Question(b"IN;OS;", "number", "started", most=_MOST_STATUS)
        if not self.own_window:
            return (started,)
        # A plotter without OW keeps an error of it, which is of no concern either.
        return (
            started,
            *self._window_asked,
            Question(b"OE;", "number", "ready", most=max(INSTRUCTION_ERRORS)),
        )

    @property
    def window(self) -> bytes:
        """OW, page 2-9: only switching on and IN undo the window that was set."""
        return b"OW;" if self.starts and self.own_window else b""

    @property
    def _window_asked(self) -> tuple[Question, ...]:
        if not self.window:
            return ()
        return (Question(self.window, "window", "window", lasts=_WINDOW_LASTS, spared=True),)

    def holds(self, size: int) -> tuple[Question, ...]:
        """Fills the buffer with raised moves and asks whether it overflowed (ESC.E, page 10-27).

        What has not been moved by then is dropped, and what a lost byte spoilt is forgotten.
        """
        if self.trial is None:
            return ()
        fill = self.trial.program(size) + ESC + b"E"
        line = self.trial.line_seconds(len(fill))
        return (
            Question(
                fill, "number", "holds", 3.0 + line, most=max(IO_ERRORS), lasts=0.0, spared=True
            ),
            # Put again late: of two answers the second could pass for that to the next trial.
            Question(self.halt + b"PU;OE;", "number", "ready", 10.0, most=max(INSTRUCTION_ERRORS)),
        )

    def shown(self, size: int) -> int:
        """What such a trial shows."""
        return self.trial.shows(size) if self.trial is not None else size

    @property
    def diagnosis(self) -> tuple[Question, ...]:
        """What is buffered is dropped, the pen raised, then the two error numbers asked.

        Last comes the window: an instruction cut short may be the work of a restart.

        HP-GL has no acknowledgement: what lay in the buffer when an instruction was spoilt has
        been drawn by then; dropping the rest at once is all that can be done.
        """
        return (
            Question(
                self.halt + self.raise_pen + b"OE;",
                "number",
                "error",
                10.0,
                most=max(INSTRUCTION_ERRORS),
            ),
            Question(ESC + b"E", "number", "io error"),
            *self._window_asked,
        )

    @property
    def last_questions(self) -> tuple[Question, ...]:
        """The same, and first whether it has begun anew."""
        if self.handshake == "timed":
            return ()
        status = Question(
            self.halt + self.raise_pen + b"OS;",
            "number",
            "status",
            5.0,
            most=_MOST_STATUS,
            lasts=10.0,
            spared=True,
        )
        return status, *self.diagnosis

    def heard(self, line: bytes) -> Reply:
        """`X,Y,P` is a place, four numbers a window, a bare one a status, an error or a space."""
        line = line.strip(b"\n ")
        if found := _PLACE.fullmatch(line):
            x, y, down = (int(part) for part in found.groups())
            if line == f"{x},{y},{down}".encode():
                return Reply("place", line.decode())
        if _WINDOW.fullmatch(line):
            return Reply("window", line.decode())
        if _NUMBER.fullmatch(line) and str(int(line)).encode() == line:
            return Reply("number", number=int(line))
        return Reply("noise")

    def place(self, point: UnitPoint, down: bool) -> str:
        """As OA writes it: integers, no plus sign."""
        return f"{point[0]},{point[1]},{int(down)}"

    def raised(self, place: str) -> bool:
        """Its last figure, page 7-3."""
        return place.endswith(",0")

    def same_place(self, expected: str, reported: str) -> bool:
        """To the unit."""
        return expected == reported

    def healthy(self, status: int) -> bool:
        """Ready, and no error; bit 6 is always 0 in OS."""
        return bool(status & READY) and not status & ERROR and status <= _MOST_STATUS

    def faulty(self, status: int) -> bool:
        """An error, and otherwise what a status looks like."""
        return bool(status & READY) and bool(status & ERROR) and status <= _MOST_STATUS

    def began_anew(self, status: int) -> bool:
        """Bit 3, page 7-8: set by switching on, a reset at its panel or IN, cleared by reading."""
        return bool(status & INITIALISED) and bool(status & READY) and status <= _MOST_STATUS

    def in_words(self, meaning: str, number: int) -> str | None:
        """An error number explained; None when it means no error."""
        if meaning == "status":
            return None if self.healthy(number) else f"it is not ready (status {number})"
        known = INSTRUCTION_ERRORS if meaning == "error" else IO_ERRORS
        if number == 0 or (meaning == "holds" and number == OVERFLOW):
            return None
        return known.get(number, f"it reports {meaning} {number}, which its manual has to explain")
