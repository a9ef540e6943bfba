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

from devices.dialects.answers import Question, Reply

if TYPE_CHECKING:
    from devices.plotter.bed import UnitPoint
    from devices.plotter.profile import Plotter

RESET = b"\x18"
WHO = b"$I\n"
"""Asks for its build (interface.md, "View build info"); behind half a line it is refused, and
nothing of that line done."""

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

_STATES = ("Idle", "Run", "Jog", "Alarm", "Check", "Home", "Sleep")
_HOLDS = ("Hold:0", "Hold:1", "Door:0", "Door:1", "Door:2", "Door:3")
"""The states and sub-states that interface.md lists; anything else is no report."""
_STILL = ("Idle", "Alarm", "Check", "Sleep", "Hold:0", "Door:0", "Door:1")
_COORDINATE = r"-?\d{1,6}\.\d{3,4}"
_REPORT = re.compile(
    rf"<({'|'.join((*_STATES, *_HOLDS))})"
    rf"(\|[WM]Pos:{_COORDINATE}(?:,{_COORDINATE}){{2,5}}(?:\|[A-Za-z]+:[-0-9.,A-Za-z]+)*)>"
)
_BANNER = re.compile(r"Grbl .*|.*\['\$' for help\]")
"""Also with a byte of it garbled: no other answer looks like it."""
_SETTING = re.compile(r"\$(\d{1,3})=(-?\d{1,7}(?:\.\d{1,4})?)( \(.*\))?")
_INCHES = 13
"""The setting by which reports are in inches; settings are in mm all the same."""
_MM_PER_INCH = 25.4
_NEAR = 0.02
"""A report is rounded to the machine's own steps; this far, in mm, is still the same place."""
_NOTHING = 0.0005


@dataclass
class GcodeDialect:
    """The words of one machine.

    It keeps only what the machine said of its own figures: the work offset (WCO) last reported,
    in mm, and whether it reports in inches.
    """

    plotter: Plotter
    checkpoint: bytes = b"G4P0.01\n"
    whereabouts: bytes = b"G4P0.01\n"
    poll: bytes = b"?"
    room: bytes = b""
    hold: bytes = b"!"
    halt: bytes = RESET
    unlock: bytes = b"$X\n"
    diagnosis: tuple[Question, ...] = ()
    last_questions: tuple[Question, ...] = ()
    window: bytes = b""
    own_window: str = ""
    ends: bytes = b"\n\r"
    status_follows: bool = False
    acknowledges: bool = True
    _offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    _unit: float = 1.0

    @property
    def raise_pen(self) -> bytes:
        """To where the program has it when it is raised, and no other move."""
        return b"G21G90\n" + self._raise_to(self.plotter.pen_up)

    @property
    def raise_pen_blind(self) -> bytes:
        """By as much as the pen is ever lowered: its height counts from nowhere known."""
        up, down = self.plotter.pen_up, self.plotter.pen_down
        if up[0] == "S":
            return self.raise_pen
        return f"G21G91\nG0Z{float(up[1:]) - float(down[1:]):.3f}\nG90\n".encode()

    def _raise_to(self, word: str) -> bytes:
        return (b"G0" if word[0] == "Z" else b"M3") + word.encode() + b"\n"

    def raised(self, place: str) -> bool:
        """By its height or its servo's value."""
        return abs(float(place.split(",")[2]) - float(self.plotter.pen_up[1:])) <= _NEAR

    @property
    def greeting(self) -> tuple[Question, ...]:
        """Brake, reset, ask how it stands and what it can do, home or unlock, report.

        The reset drops half a line that a cut cable may have left. Only a machine at rest keeps
        its place through it, so it is braked first: a machine may still be at work on what a
        command that was killed had sent.
        """
        if self.plotter.handshake == "timed":
            return ()
        ready = (
            Question(b"$H\n", "accepted", "home", 120.0, lasts=120.0)
            if self.plotter.homes
            else Question(self.unlock, "accepted", "unlock")
        )
        return (
            Question(self.hold + b"?", "place", "rest", lasts=4.0),
            Question(RESET, "banner", "reset", lasts=7.0),
            Question(b"?", "place", "stands"),
            Question(b"$$\n", "accepted", "settings"),
            ready,
            Question(b"?", "place", "ready"),
        )

    def heard(self, line: bytes) -> Reply:
        """`ok`, `error:N`, `ALARM:N`, a setting, the banner, or a status report."""
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
            return Reply("alarm", words, lost=number not in _PLACE_KEPT)
        if found := _REPORT.fullmatch(text):
            return self._report(found[1], found[2])
        if found := _SETTING.fullmatch(text):
            if int(found[1]) == _INCHES:
                self._unit = _MM_PER_INCH if float(found[2]) else 1.0
            return Reply("setting", found[2], int(found[1]))
        if re.fullmatch(r"\[[A-Za-z]+:[^\]]*\]", text) or re.fullmatch(r">.*:ok", text):
            return Reply("note")
        return Reply("banner") if _BANNER.fullmatch(text) else Reply("noise")

    def _report(self, state: str, rest: str) -> Reply:
        fields = dict(part.split(":", 1) for part in rest.split("|")[1:])
        try:
            offset = self._numbers(fields["WCO"]) if "WCO" in fields else self._offset
            x, y, z = self._numbers(fields["WPos" if "WPos" in fields else "MPos"])
            if "WPos" not in fields:
                x, y, z = x - offset[0], y - offset[1], z - offset[2]
            pen = z if self.plotter.pen_up[0] == "Z" else float(fields["FS"].split(",")[1])
        except (ValueError, KeyError, IndexError):
            return Reply("noise")
        self._offset = offset
        in_machine = [at + zero for at, zero in zip((x, y, z), offset, strict=True)]
        sound = state in ("Idle", "Run", "Jog", "Home")
        return Reply(
            "place",
            f"{x:.3f},{y:.3f},{pen:.3f}",
            sound=sound,
            state="" if sound else f"its state is {state}",
            settled=state == "Idle",
            still=state in _STILL,
            locked=state == "Alarm",
            # Asleep, its motors are off (interface.md, [MSG:Sleeping]).
            lost=state in ("Alarm", "Sleep"),
            zero=",".join(f"{value:.3f}" for value in offset),
            newborn=all(abs(value) < _NOTHING for value in in_machine),
        )

    def _numbers(self, text: str) -> tuple[float, float, float]:
        """X, Y and Z in mm; some machines report further axes. Raises ValueError, IndexError."""
        x, y, z = (float(part) * self._unit for part in text.split(",")[:3])
        return x, y, z

    def place(self, point: UnitPoint, down: bool) -> str:
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
