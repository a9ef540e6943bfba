"""How an HP-GL plotter is asked and what it answers. Words only: no state, no port.

Source: HP 7470A Graphics Plotter Interfacing and Programming Manual (07470-90001, October
1984): OA page 7-3, OE 7-5, OS 7-8; device control (ESC sequences) chapter 10, from page 10-23.
ESC.E's numbers stand in the Roland DPX-2700A manual, page 45, and alike in other makers'.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.tongue import Question, Reply

if TYPE_CHECKING:
    from devices.bed import Point
    from devices.plotter import Handshake

ESC = b"\x1b."
XON, XOFF = 17, 19
PEN_DOWN, READY, ERROR = 1, 16, 32
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

IO_ERRORS = {
    10: "a question came while it was answering another",
    11: "it did not know the byte after an escape",
    12: "a device-control sequence was garbled",
    13: "a device-control parameter was out of range",
    14: "a device-control sequence had too many parameters",
    15: "bytes arrived garbled (framing, parity or overrun): check the baud rate and the cable",
    16: "its input buffer overflowed and bytes were lost: plotter.buffer_bytes is too large "
    "for this machine, or its handshake is another",
    17: "the baud rates do not match",
    18: "it reports a fault of its serial line",
}
"""ESC.E."""

_PLACE = re.compile(rb"(-?\d{1,8}),(-?\d{1,8}),([01])")
_NUMBER = re.compile(rb"\d{1,6}")

_GREETING = {
    "xonxoff": ESC + b"I81;;17:" + ESC + b"N;19:",
    "rtscts": ESC + b"@;1:",
    "dtrdsr": ESC + b"@;1:",
}
"""Page 10-20 and 10-29: Xoff threshold, Xon and Xoff characters; 10-26: hardwire handshake."""


@dataclass(frozen=True)
class HpglTongue:
    """The words of one plotter."""

    handshake: Handshake
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
        """Throws away half an instruction that a cut cable may have left, then reads errors."""
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
            Question(b"OS;", "number", "ready", least=max(INSTRUCTION_ERRORS) + 1),
            Question(ESC + b"E", "number", "io error"),
            Question(b"OE;", "number", "error"),
            Question(b"OS;", "number", "status"),
        )

    @property
    def diagnosis(self) -> tuple[Question, ...]:
        """What is buffered is dropped, the pen raised, then the two error numbers asked.

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
        )

    def heard(self, line: bytes) -> Reply:
        """`X,Y,P` is a place, a bare number a status, an error or a buffer space."""
        line = line.strip(b"\n ")
        if found := _PLACE.fullmatch(line):
            x, y, down = (int(part) for part in found.groups())
            if line == f"{x},{y},{down}".encode():
                return Reply("place", line.decode())
        if _NUMBER.fullmatch(line) and str(int(line)).encode() == line:
            return Reply("number", number=int(line))
        return Reply("noise")

    def place(self, point: Point, down: bool) -> str:
        """As OA writes it: integers, no plus sign."""
        return f"{point[0]},{point[1]},{int(down)}"

    def raised(self, place: str) -> bool:
        """Its last figure, page 7-3."""
        return place.endswith(",0")

    def same_place(self, expected: str, reported: str) -> bool:
        """To the unit."""
        return expected == reported

    def healthy(self, status: int) -> bool:
        """Ready, and no error."""
        return bool(status & READY) and not status & ERROR and status < 128

    def in_words(self, meaning: str, number: int) -> str | None:
        """An error number explained; None when it means no error."""
        if meaning == "status":
            return None if self.healthy(number) else f"it is not ready (status {number})"
        known = IO_ERRORS if meaning == "io error" else INSTRUCTION_ERRORS
        if number == 0:
            return None
        return known.get(number, f"it reports {meaning} {number}, which its manual has to explain")
