"""A gantry machine that speaks G-code by acknowledged lines, simulated from public documents.

Words after NISTIR 6556 (RS274/NGC): G0, G1, G4, G17, G20, G21, G90, G91, G94, F, M2, M3, M5, S.
The line after the open Grbl 1.1 firmware (doc/markdown/interface.md; grbl/protocol.c, main.c,
motion_control.c, report.c): `ok` or `error:N` for a line when it leaves the input buffer for the
planner, `?` answered at once, `!` hold, `~` resume, Ctrl-X reset, `$X` unlock, `$H` home, `$$`
settings. A reset in motion loses steps and says so (ALARM:3); at rest it keeps its place. A
machine that loses its power, or whose processor is restarted, takes where it stands for its
machine zero. Bytes in, bytes out and a time in seconds; no port.
"""

from __future__ import annotations

import random
import re
from collections import deque
from typing import TYPE_CHECKING

from msgspec import Struct

from devices.simulated.carriage import Carriage, Travel
from devices.simulated.gantry import Gantry, settings_lines

if TYPE_CHECKING:
    from devices.simulated.cloth import Cloth

_PLANNED_MOST = 15
"""Moves that the planner holds, as interface.md has it."""
_WORD = re.compile(r"([A-Z])([-+]?\d*\.?\d+)")
_BANNER = b"\r\nGrbl 1.1h ['$' for help]\r\n"
_LOCKED = b"[MSG:'$H'|'$X' to unlock]\r\n"
_RAPID = 100.0
_OFFSET_EVERY = {False: 10, True: 30}
"""WCO is in the first report after a reset and in one of so many, at rest and in motion."""
_UP = 10.0
"""mm of Z at which the pen is clear of the cloth."""


class _Step(Struct, frozen=True):
    kind: str
    x: float = 0.0
    y: float = 0.0
    value: float = 0.0
    speed: float = 0.0


class SimulatedGantry:
    """The machine: `receive`, `advance`, `reply`, and what happens to it."""

    def __init__(self, gantry: Gantry, cloth: Cloth, seed: int = 1) -> None:
        self.gantry = gantry
        self.carriage = Carriage(
            cloth, gantry.low, gantry.lift_seconds, Travel(gantry.low, gantry.high)
        )
        self.powered = True
        self.lost_bytes = 0
        self.starved = 0.0
        self._random = random.Random(seed)
        self._buffer: deque[int] = deque()
        self._planned: deque[_Step] = deque()
        self._out = bytearray()
        self._z, self._z_slip, self._spindle = _UP, 0.0, 0.0
        self._clock = 0.0
        self._state = "Alarm" if gantry.homing else "Idle"
        self._stuck = False
        """After a limit it does nothing and answers nothing until it is reset."""
        self._door_ajar = False
        self._wakes_at: float | None = None
        self._dwelling = False
        self._pausing = False
        self._until_offset = 0
        self._forget()

    @property
    def busy_until(self) -> float:
        """When what is under way ends."""
        return max(self.carriage.free_at, self._wakes_at or 0.0)

    def receive(self, data: bytes, now: float) -> None:
        """Bytes arriving; the real-time ones act at once."""
        self.advance(now)
        for byte in data if self.powered else b"":
            if self._wakes_at is not None:
                self.lost_bytes += 1
            elif byte == _RESET:
                self._soft_reset(now)
            elif self._stuck:
                self.lost_bytes += 1
            elif byte == ord("?"):
                self._report(now)
            elif byte == ord("!"):
                self._hold("Hold", now)
            elif byte == _DOOR:
                self.open_door(now)
            elif byte == ord("~"):
                self._resume(now)
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
        if not self.powered:
            return
        if self._wakes_at is not None and now >= self._wakes_at:
            self._wake()
        self._take_lines()
        while self._state == "Idle":
            if self.carriage.free_at > now:
                break
            self._clock = max(self._clock, self.carriage.free_at)
            self.carriage.advance(now)
            if not self._planned:
                self._waiting_dwell_done()
                self._take_lines()
                if not self._planned:
                    self._clock = now
                    return
            self._begin(self._planned.popleft())
            self._take_lines()
        self.carriage.advance(now)

    def _begin(self, step: _Step) -> None:
        carriage, clock = self.carriage, self._clock
        self._pausing = step.kind == "dwell"
        if step.kind == "go":
            carriage.go((step.x, step.y), step.speed, clock, carriage.down)
        elif step.kind == "dwell":
            carriage.wait(step.value, clock)
        elif step.kind == "home":
            carriage.believe(carriage.real)
            carriage.go(self.gantry.low, _RAPID, clock, False)
        else:
            if step.kind == "Z":
                self._z = step.value
            else:
                self._spindle = step.value
            if step.kind == self.gantry.inks_at[0]:
                carriage.lower(self._touches, clock)

    @property
    def _touches(self) -> bool:
        touching = float(self.gantry.inks_at[1:])
        if self.gantry.inks_at[0] == "Z":
            return self._z + self._z_slip <= touching
        return self._spindle == touching

    # -- lines ---------------------------------------------------------------------------------

    def _take_lines(self) -> None:
        if self._state in ("Hold", "Door") or self._stuck or self._wakes_at is not None:
            return
        while len(self._planned) < _PLANNED_MOST and not self._dwelling and not self._stuck:
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
        if text.startswith("$"):
            self._system(text)
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
        elif not self._dwelling and not self._stuck:
            self._out += b"ok\r\n"

    def _system(self, text: str) -> None:
        """`$` lines (system.c): all but `$X` and `$H` want a machine that is Idle or in Alarm."""
        if text == "$X":
            if self._state == "Alarm":
                self._state = "Idle"
                self._out += b"[MSG:Caution: Unlocked]\r\n"
            self._out += b"ok\r\n"
        elif text == "$H":
            self._home()
        elif text not in ("$$", "$I", "$G"):
            self._out += b"error:3\r\n"
        elif self._busy(self._clock):
            self._out += b"error:8\r\n"
        else:
            self._out += "".join(f"{line}\r\n" for line in self._told(text)).encode() + b"ok\r\n"

    def _told(self, text: str) -> list[str]:
        if text == "$$":
            return settings_lines(self.gantry)
        if text == "$I":
            return ["[VER:1.1h.20190825:]", f"[OPT:V,{_PLANNED_MOST},{self.gantry.buffer_bytes}]"]
        units, distance = (21 if self._scale == 1 else 20), (90 if self._absolute else 91)
        modes = f"G{self._motion} G54 G17 G{units} G{distance} G94 M5 M9 T0"
        return [f"[GC:{modes} F{self._feed * 60:.0f} S{self._spindle:.0f}]"]

    def _home(self) -> None:
        """It runs onto its switches and knows its place again."""
        if self.gantry.homing is False:
            self._out += b"error:5\r\n"
            return
        self._state = "Idle"
        self._z_slip = 0.0
        self._planned.append(_Step("Z", value=_UP))
        self._planned.append(_Step("home"))
        self._head = self.gantry.low
        self._dwelling = True

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
            inside = low[0] <= to_x <= high[0] and low[1] <= to_y <= high[1]
            if self.gantry.soft_limits and not inside:
                self._alarm(2)
                return 0
            speed = self.gantry.travel_speed if self._motion == 0 else self._feed
            self._planned.append(
                _Step("go", to_x, to_y, speed=min(speed, self.gantry.travel_speed))
            )
            self._head = (to_x, to_y)
        return 0

    # -- real-time -----------------------------------------------------------------------------

    def _moving(self, now: float) -> bool:
        return self.carriage.free_at > now and not self._pausing

    def _busy(self, now: float) -> bool:
        """A dwell is no motion: the firmware reports Idle while it waits (gcode.c, G4)."""
        return self._moving(now) or any(step.kind != "dwell" for step in self._planned)

    def _state_reported(self, now: float) -> str:
        if self._state == "Hold":
            return f"Hold:{int(self._moving(now))}"
        if self._state == "Door":
            return "Door:2" if self._moving(now) else f"Door:{int(self._door_ajar)}"
        return "Run" if self._state == "Idle" and self._busy(now) else self._state

    def _report(self, now: float) -> None:
        state = self._state_reported(now)
        zero = self.gantry.work_offset
        work = (*self.carriage.at, self._z)
        at = work if self.gantry.reports_work else [a + b for a, b in zip(work, zero, strict=True)]
        offset = ""
        if self._until_offset == 0:
            offset = f"|WCO:{zero[0]:.3f},{zero[1]:.3f},{zero[2]:.3f}"
            self._until_offset = _OFFSET_EVERY[state == "Run"]
        self._until_offset -= 1
        self._out += (
            f"<{state}|{'W' if self.gantry.reports_work else 'M'}Pos:"
            f"{at[0]:.3f},{at[1]:.3f},{at[2]:.3f}"
            f"|FS:{self._feed * 60:.0f},{self._spindle:.0f}{offset}>\r\n"
        ).encode()

    def _hold(self, state: str, now: float) -> None:
        """Brakes along its line; a machine in alarm takes no hold."""
        if self._state == "Alarm" or (self._state == "Door" and state == "Hold"):
            return
        if self._state == "Idle":
            self.carriage.brake(now, self.gantry.acceleration)
        self._state = state

    def _resume(self, now: float) -> None:
        """Goes on once the hold is complete and the door shut."""
        if self._state in ("Hold", "Door") and not self._door_ajar and not self._moving(now):
            self._state = "Idle"
            self.carriage.advance(now)
            self.carriage.resume(now)

    def _soft_reset(self, now: float) -> None:
        """Ctrl-X: mc_reset, then the banner once it has started anew."""
        lost = self._moving(now)
        self._stop_dead(now)
        alarmed = lost and not self._stuck
        if alarmed:
            self._state = "Alarm"
            self._out += b"ALARM:3\r\n"
        elif self._state != "Alarm":
            self._state = "Idle"
        self._stuck = False
        wait = self.gantry.alarm_seconds if alarmed else self.gantry.reset_seconds
        self._wakes_at = now + wait

    def _stop_dead(self, now: float) -> None:
        """The motors stop at once: one that turned loses steps, and a servo's pen goes to S0."""
        moving = self._moving(now)
        coast = self._random.uniform(0.2, self.gantry.most_lost) if moving else 0.0
        self.carriage.halt(now, coast)
        self._clock = now
        self._buffer.clear()
        self._planned.clear()
        self._dwelling = self._pausing = False
        self._spindle = 0.0
        if self.gantry.inks_at[0] == "S":
            self.carriage.press(self._touches, now)

    def _wake(self) -> None:
        self._wakes_at = None
        self._forget()
        self._out += _BANNER
        if self._state == "Alarm":
            self._out += _LOCKED
        if self._door_ajar:
            self._state = "Door"

    def _forget(self) -> None:
        self._motion, self._scale, self._absolute, self._feed = 0, 1.0, True, 0.0
        self._head = self.carriage.at
        self._until_offset = 0

    # -- what happens to it ----------------------------------------------------------------------

    def _alarm(self, number: int) -> None:
        """A limit: it stops, says so, and does and answers nothing until it is reset."""
        self._planned.clear()
        self._buffer.clear()
        self._state, self._stuck = "Alarm", True
        self._out += f"ALARM:{number}\r\n[MSG:Reset to continue]\r\n".encode()

    def hit_limit(self, now: float) -> None:
        """A limit switch closes, as when something is caught in the carriage: it stops dead."""
        if self.powered and self._wakes_at is None and not self._stuck:
            self.advance(now)
            self._stop_dead(now)
            self._alarm(1)

    def open_door(self, now: float) -> None:
        """The door's switch opens: it brakes, stops the spindle and waits."""
        if self.powered and self._wakes_at is None and not self._stuck:
            self.advance(now)
            self._door_ajar = True
            self._hold("Door", now)
            self._out += b"[MSG:Check Door]\r\n"

    def close_door(self) -> None:
        """The door is shut: `~` goes on."""
        self._door_ajar = False

    def opened(self, now: float) -> None:
        """Its port is opened: a board whose DTR line is wired to its reset starts anew."""
        if self.gantry.resets_when_opened and self.powered:
            self.advance(now)
            self._stop_dead(now)
            self._start(now)

    def lose_power(self, now: float) -> None:
        """The power goes: the carriage runs on, the pen may sink, all that was sent is gone."""
        if not self.powered:
            return
        self.advance(now)
        self._stop_dead(now)
        self._out = bytearray()
        self.powered = False
        if self.gantry.z_sinks and self.gantry.inks_at[0] == "Z":
            self._z_slip = float(self.gantry.inks_at[1:]) - self._z
            self.carriage.press(True, now)

    def restore_power(self, now: float) -> None:
        """The power is back: where it stands is its machine zero now (main.c, sys_position)."""
        if not self.powered:
            self.powered = True
            self._start(now)

    def _start(self, now: float) -> None:
        zero = self.gantry.work_offset
        self.carriage.believe((-zero[0], -zero[1]))
        height = self._z + self._z_slip
        self._z = -zero[2]
        self._z_slip = height - self._z
        self._stuck = self._door_ajar = False
        self._state = "Alarm" if self.gantry.homing else "Idle"
        self._wakes_at = now + self.gantry.boot_seconds


_RESET, _DOOR = 0x18, 0x84
_KNOWN = frozenset(
    {("G", float(n)) for n in (0, 1, 4, 17, 20, 21, 90, 91, 94)}
    | {("M", float(n)) for n in (2, 3, 5, 30)}
)
