"""How a G-code machine is asked and what it answers. Words only: no port, no clock.

The NIST standard (NISTIR 6556) leaves the line open; this is the line-acknowledged protocol of
the open Grbl firmware, version 1.1, which many gantry machines speak: its documentation,
doc/markdown/interface.md, "ok" and "error:N" for each line, `?` a status report at once,
Ctrl-X a soft reset, and a dwell (G4) that is acknowledged only when all motion is done. A report
gives the work position (WPos), which a program's coordinates are, or the machine's (MPos); then
WPos = MPos - WCO, and WCO comes in the first report after a reset and now and then.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.tongue import Question, Reply

if TYPE_CHECKING:
    from devices.bed import Point
    from devices.plotter import Plotter

RESET = b"\x18"

_LOCKED = 9
LINE_ERRORS = {
    1: "a word lacks its letter",
    2: "a number is missing or malformed",
    _LOCKED: "it is locked after an alarm: home it, or unlock it with $X once it stands safely",
    15: "the move would leave its travel",
    20: "it does not know a word of the line",
    22: "the feed rate is missing",
    24: "two words of one line need the same axis",
}
"""error:N, as in doc/csv/error_codes_en_US.csv of Grbl 1.1."""

ALARMS = {
    1: "a limit switch was hit",
    2: "a move would have left its travel",
    3: "it was reset while moving, so its position is lost",
    4: "its probe was not as expected before probing",
    5: "its probe touched nothing",
    6: "homing failed: it was reset meanwhile",
    7: "homing failed: its door was opened meanwhile",
    8: "homing failed: a limit switch stayed closed when it drew back",
    9: "homing failed: it found no limit switch",
}
"""ALARM:N, as in doc/csv/alarm_codes_en_US.csv of Grbl 1.1."""

_PLACE_KEPT = (2, 4, 5)
"""Alarms of that list which do not stop the motors short: of 2 it says "Machine position
retained", probing ends in a feed hold. Of 1 and 3 it says "likely lost"; homing (6 to 9) that
failed leaves no zero; of an alarm that is not in the list nobody knows."""

_REPORT = re.compile(r"<([A-Za-z]+)(?::\d+)?((?:\|[A-Za-z]+:[-0-9.,A-Z]+)*)>")
_NEAR = 0.02
"""A report is rounded to the machine's own steps; this far, in mm, is still the same place."""


@dataclass
class GcodeTongue:
    """The words of one machine; it keeps only the work offset (WCO) last reported, in mm."""

    plotter: Plotter
    checkpoint: bytes = b"G4P0.01\n"
    whereabouts: bytes = b"G4P0.01\n"
    poll: bytes = b"?"
    room: bytes = b""
    halt: bytes = b"!" + RESET
    diagnosis: tuple[Question, ...] = ()
    last_questions: tuple[Question, ...] = ()
    window: bytes = b""
    own_window: str = ""
    ends: bytes = b"\n\r"
    status_follows: bool = False
    acknowledges: bool = True
    _offset: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def raise_pen(self) -> bytes:
        """A reset while moving locks the machine; unlocked, it lifts the pen and no more."""
        word = self.plotter.pen_up
        return b"$X\nG21G90" + (b"G0" if word[0] == "Z" else b"M3") + word.encode() + b"\n"

    @property
    def greeting(self) -> tuple[Question, ...]:
        """Reset (it drops half a line that a cut cable may have left), home or unlock, report."""
        if self.plotter.handshake == "timed":
            return ()
        ready = (
            Question(b"$H\n", "accepted", "ready", 120.0)
            if self.plotter.homes
            else Question(b"$X\n", "accepted", "ready")
        )
        return Question(RESET, "banner", "ready", 5.0), ready, Question(b"?", "place", "ready")

    def heard(self, line: bytes) -> Reply:
        """`ok`, `error:N`, `ALARM:N`, the banner, or a status report."""
        text = line.decode("ascii", "replace")
        if text == "ok":
            return Reply("accepted")
        if found := re.fullmatch(r"error:(\d{1,3})", text):
            number = int(found[1])
            words = LINE_ERRORS.get(number, f"error {number} of its manual")
            return Reply("refused", words, lost=number == _LOCKED)
        if found := re.fullmatch(r"ALARM:(\d{1,3})", text):
            number = int(found[1])
            words = ALARMS.get(number, f"alarm {number} of its manual")
            return Reply("refused", words, lost=number not in _PLACE_KEPT)
        if re.fullmatch(r"Grbl \S+ \['\$' for help\]", text):
            return Reply("banner")
        if found := _REPORT.fullmatch(text):
            return self._report(found[1], found[2])
        if re.fullmatch(r"\[[A-Za-z]+:[^\]]*\]", text):
            return Reply("note")
        return Reply("noise")

    def _report(self, state: str, rest: str) -> Reply:
        fields = dict(part.split(":", 1) for part in rest.split("|")[1:])
        try:
            offset = _numbers(fields["WCO"]) if "WCO" in fields else self._offset
            x, y, z = _numbers(fields["WPos" if "WPos" in fields else "MPos"])
            if "WPos" not in fields:
                x, y, z = x - offset[0], y - offset[1], z - offset[2]
            pen = z if self.plotter.pen_up[0] == "Z" else float(fields["FS"].split(",")[1])
        except (ValueError, KeyError, IndexError):
            return Reply("noise")
        self._offset = offset
        sound = state in ("Idle", "Run", "Jog", "Home")
        text = f"{x:.3f},{y:.3f},{pen:.3f}" if sound else f"its state is {state}"
        # Asleep, its motors are off (interface.md, [MSG:Sleeping]).
        lost = state in ("Alarm", "Sleep")
        return Reply("place", text, sound=sound, settled=state == "Idle", lost=lost)

    def place(self, point: Point, down: bool) -> str:
        """Millimetres, and the pen's height or servo value."""
        unit = self.plotter.unit
        word = self.plotter.pen_down if down else self.plotter.pen_up
        return f"{point[0] * unit:.3f},{point[1] * unit:.3f},{float(word[1:]):.3f}"

    def same_place(self, expected: str, reported: str) -> bool:
        """Within what a report is rounded to."""
        one, two = expected.split(","), reported.split(",")
        return all(abs(float(a) - float(b)) <= _NEAR for a, b in zip(one, two, strict=True))

    def healthy(self, status: int) -> bool:
        """No status numbers are asked."""
        return status == 0

    def faulty(self, status: int) -> bool:
        """No status numbers are asked."""
        return False

    def began_anew(self, status: int) -> bool:
        """Its banner tells."""
        return False

    def holds(self, size: int) -> tuple[Question, ...]:
        """Each line is acknowledged when it leaves the buffer: nothing needs to be tried."""
        return ()

    def shown(self, size: int) -> int:
        """What it is said to hold."""
        return size

    def in_words(self, meaning: str, number: int) -> str | None:
        """No error numbers are asked; refusals come in words."""
        return None if number == 0 else f"it reports {meaning} {number}"


def _numbers(text: str) -> tuple[float, float, float]:
    """X, Y and Z; some machines report further axes after them. Raises ValueError, IndexError."""
    x, y, z = (float(part) for part in text.split(",")[:3])
    return x, y, z
