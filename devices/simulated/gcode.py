"""A gantry machine that speaks G-code by acknowledged lines, simulated from public documents.

Words after NISTIR 6556 (RS274/NGC): G0, G1, G4, G17, G20, G21, G90, G91, G94, F, M2, M3, M5, S.
The line after the Grbl 1.1 documentation (doc/markdown/interface.md): `ok` or `error:N` for a
line when it leaves the input buffer for the planner, `?` answered at once, `!` hold, `~` resume,
Ctrl-X reset, `$X` unlock, `$H` home. Bytes in, bytes out and a time in seconds; no port.
"""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.simulated.carriage import Carriage

if TYPE_CHECKING:
    from devices.simulated.cloth import Cloth

_PLANNED_MOST = 15
"""Moves that the planner holds, as interface.md has it."""
_WORD = re.compile(r"([A-Z])([-+]?\d*\.?\d+)")
_BANNER = b"Grbl 1.1f ['$' for help]\r\n"
_RAPID = 100.0
_OFFSET_EVERY = {False: 10, True: 30}
"""WCO is in the first report after a reset and in one of so many, at rest and in motion."""


@dataclass(frozen=True)
class Gantry:
    """How the simulated machine is made. mm and seconds."""

    buffer_bytes: int = 128
    low: tuple[float, float] = (0.0, 0.0)
    high: tuple[float, float] = (800.0, 800.0)
    travel_speed: float = 120.0
    lift_seconds: float = 0.25
    inks_at: str = "Z0"
    """The pen touches the cloth at this height or below; or at this spindle value."""
    work_offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Where the program's zero lies in machine coordinates (WCO); the cloth is in the program's."""
    reports_work: bool = False
    """Whether a report gives WPos ($10=0) and not MPos."""


@dataclass(frozen=True)
class _Step:
    kind: str
    x: float = 0.0
    y: float = 0.0
    value: float = 0.0
    speed: float = 0.0


class SimulatedGantry:
    """The machine: `receive`, `advance`, `reply`."""

    def __init__(self, gantry: Gantry, cloth: Cloth) -> None:
        self.gantry = gantry
        self.carriage = Carriage(cloth, gantry.low, gantry.lift_seconds)
        self.lost_bytes = 0
        self.starved = 0.0
        self._buffer: deque[int] = deque()
        self._planned: deque[_Step] = deque()
        self._out = bytearray()
        self._z, self._spindle = 10.0, 0.0
        self._clock = 0.0
        self._state = "Idle"
        self._dwelling = False
        self._until_offset = 0
        self._reset()

    @property
    def busy_until(self) -> float:
        """When the move under way ends."""
        return self.carriage.free_at

    def receive(self, data: bytes, now: float) -> None:
        """Bytes arriving; the real-time ones act at once."""
        self.advance(now)
        for byte in data:
            if byte == ord("?"):
                self._report(now)
            elif byte == ord("!"):
                self.carriage.halt(now)
                self._state = "Hold"
            elif byte == ord("~"):
                self._state = "Idle"
            elif byte == 0x18:
                self._soft_reset(now)
            elif len(self._buffer) >= self.gantry.buffer_bytes:
                self.lost_bytes += 1
            else:
                self._buffer.append(byte)
        self.advance(now)

    def reply(self) -> bytes:
        """What it has sent since last asked."""
        data, self._out = bytes(self._out), bytearray()
        return data

    def advance(self, now: float) -> None:
        """Takes lines while the planner has room, and moves while time allows."""
        self._take_lines(now)
        while self._state not in ("Hold", "Alarm"):
            if self.carriage.free_at > now:
                self.carriage.advance(now)
                return
            self._clock = max(self._clock, self.carriage.free_at)
            self.carriage.advance(now)
            if not self._planned:
                self._waiting_dwell_done()
                self._take_lines(now)
                if not self._planned:
                    self._clock = now
                    return
            self._begin(self._planned.popleft())
            self._take_lines(now)

    def _begin(self, step: _Step) -> None:
        carriage, clock = self.carriage, self._clock
        if step.kind == "go":
            carriage.go((step.x, step.y), step.speed, clock, carriage.down)
        elif step.kind == "dwell":
            carriage.wait(step.value, clock)
        else:
            if step.kind == "Z":
                self._z = step.value
            else:
                self._spindle = step.value
            if step.kind == self.gantry.inks_at[0]:
                touching = float(self.gantry.inks_at[1:])
                down = step.value <= touching if step.kind == "Z" else step.value == touching
                carriage.lower(down, clock)

    # -- lines ---------------------------------------------------------------------------------

    def _take_lines(self, now: float) -> None:
        while len(self._planned) < _PLANNED_MOST and not self._dwelling:
            if 10 not in self._buffer:
                return
            line = bytearray()
            while (byte := self._buffer.popleft()) != 10:
                line.append(byte)
            self._line(line.decode("ascii", "replace").strip().upper())

    def _waiting_dwell_done(self) -> None:
        if self._dwelling:
            self._dwelling = False
            self._out += b"ok\r\n"

    def _line(self, text: str) -> None:
        if text == "$X":
            self._state = "Idle"
            self._out += b"[MSG:Caution: Unlocked]\r\nok\r\n"
            return
        if text == "$H":
            self._state = "Idle"
            self._planned.append(_Step("Z", value=10.0))
            self._planned.append(_Step("go", *self.gantry.low, speed=_RAPID))
            self._head = self.gantry.low
            self._dwelling = True
            return
        if self._state == "Alarm":
            self._out += b"error:9\r\n"
            return
        words = _WORD.findall(text.replace(" ", ""))
        if "".join(letter + number for letter, number in words) != text.replace(" ", ""):
            self._out += b"error:2\r\n"
            return
        fault = self._execute([(letter, float(number)) for letter, number in words])
        if fault:
            self._out += f"error:{fault}\r\n".encode()
        elif not self._dwelling:
            self._out += b"ok\r\n"

    def _execute(self, words: list[tuple[str, float]]) -> int:
        """RS274/NGC order of execution, as far as it concerns these words; returns an error."""
        values = {letter: value for letter, value in words if letter not in "GM"}
        codes = [(letter, value) for letter, value in words if letter in "GM"]
        for letter, value in codes:
            if (letter, value) not in _KNOWN:
                return 20
            if letter == "G" and value in (0, 1):
                self._motion = int(value)
            elif letter == "G" and value in (20, 21):
                self._scale = 25.4 if value == 20 else 1.0
            elif letter == "G" and value in (90, 91):
                self._absolute = value == 90
        if "F" in values:
            self._feed = values["F"] * self._scale / 60
        if ("M", 5.0) in codes:
            self._planned.append(_Step("S", value=0.0))
        elif ("M", 3.0) in codes or "S" in values:
            self._planned.append(_Step("S", value=values.get("S", self._spindle)))
        if ("G", 4.0) in codes:
            self._planned.append(_Step("dwell", value=values.get("P", 0.0)))
            self._dwelling = True
            return 0
        return self._move(values)

    def _move(self, values: dict[str, float]) -> int:
        if not values.keys() & {"X", "Y", "Z"}:
            return 0
        if self._motion == 1 and not self._feed:
            return 22
        if "Z" in values:
            self._planned.append(_Step("Z", value=values["Z"] * self._scale))
        if values.keys() & {"X", "Y"}:
            x, y = self._head
            to_x, to_y = (
                values[axis] * self._scale + (0 if self._absolute else now)
                if axis in values
                else now
                for axis, now in (("X", x), ("Y", y))
            )
            low, high = self.gantry.low, self.gantry.high
            if not (low[0] <= to_x <= high[0] and low[1] <= to_y <= high[1]):
                self._state = "Alarm"
                self._out += b"ALARM:2\r\n"
                return 15
            speed = self.gantry.travel_speed if self._motion == 0 else self._feed
            self._planned.append(_Step("go", to_x, to_y, speed=speed))
            self._head = (to_x, to_y)
        return 0

    # -- real-time -----------------------------------------------------------------------------

    def _report(self, now: float) -> None:
        busy = self.carriage.free_at > now or bool(self._planned) or self._dwelling
        state = "Run" if self._state == "Idle" and busy else self._state
        zero = self.gantry.work_offset
        work = (*self.carriage.at, self._z)
        at = work if self.gantry.reports_work else [a + b for a, b in zip(work, zero, strict=True)]
        offset = ""
        if self._until_offset == 0:
            offset = f"|WCO:{zero[0]:.3f},{zero[1]:.3f},{zero[2]:.3f}"
            self._until_offset = _OFFSET_EVERY[busy]
        self._until_offset -= 1
        self._out += (
            f"<{state}|{'W' if self.gantry.reports_work else 'M'}Pos:"
            f"{at[0]:.3f},{at[1]:.3f},{at[2]:.3f}"
            f"|FS:{self._feed * 60:.0f},{self._spindle:.0f}{offset}>\r\n"
        ).encode()

    def _soft_reset(self, now: float) -> None:
        moving = self.carriage.free_at > now
        self.carriage.halt(now)
        self._buffer.clear()
        self._planned.clear()
        self._reset()
        self._state = "Alarm" if moving else "Idle"
        self._out += _BANNER

    def _reset(self) -> None:
        self._motion, self._scale, self._absolute, self._feed = 0, 1.0, True, 0.0
        self._dwelling = False
        self._head = self.carriage.at
        self._until_offset = 0


_KNOWN = frozenset(
    {("G", float(n)) for n in (0, 1, 4, 17, 20, 21, 90, 91, 94)}
    | {("M", float(n)) for n in (2, 3, 5, 30)}
)
