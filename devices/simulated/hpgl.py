"""A pen plotter that speaks HP-GL on a serial line, simulated as its manuals describe it.

HP 7470A Interfacing and Programming Manual (07470-90001): IN, DF, IW, IP, PA, PR, PU, PD, SP,
VS; OA page 7-3, OC 7-4, OE 7-5, OF 7-6, OI 7-7, OS 7-8, OP and OW chapter 2. FS from the
7550A's. The serial line is `rs232.py`. Bytes in, bytes out and a time in seconds; no port.

It can lose its power, be reset at its panel and say that it holds more than it does. With power
it finds its limits again and so its coordinates; what a program had set (window, speed, pen,
handshake) and what waited in the buffer is gone, and the status says so once (page 7-8: 24 upon
power up, 8 of it `initialized`, cleared by its output). IN does the same (chapter 1).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from devices.simulated.carriage import STOWED, Carriage, Travel, clipped
from devices.simulated.rs232 import Rs232

if TYPE_CHECKING:
    from collections.abc import Callable

    from devices.simulated.cloth import Cloth

_LETTERS = frozenset(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
_NUMBER = frozenset(b"0123456789+-.")
_TERMINATORS = frozenset(b";\n\r")


class Build(Struct, frozen=True):
    """How the simulated plotter is made."""

    buffer_bytes: int = 255
    unit: float = 0.025
    """mm."""
    low: tuple[int, int] = (0, 0)
    high: tuple[int, int] = (10300, 7650)
    """Hard-clip limits, units; the 7470A's with US paper, page 7-3."""
    coordinate_limit: int = 32767
    draw_speed: float = 381.0
    travel_speed: float = 381.0
    """mm/s; the 7470A's 38.1 cm/s."""
    lift_seconds: float = 0.1
    identity: str = "7470A"
    says_it_holds: int | None = None
    """Bytes that ESC.B is answered from, where that is not what the buffer holds."""
    shows_initialized: bool = True
    """Whether bit 3 of the status is ever set."""
    finds_its_zero: bool = True
    """Whether it has limit switches to find at power-up; without, it counts from where it is."""
    pen_falls: bool = False
    """Whether the pen comes down onto the cloth when the power goes."""
    stows_pen: bool = False
    """Whether it puts the pen away at power-up."""
    start_seconds: float = 4.0
    """How long it tests itself at power-up and hears nothing (from memory: some seconds)."""
    coast: float = 0.4
    """mm that a moving carriage runs on when its power goes."""


class SimulatedPlotter:
    """The machine: `receive`, `advance`, `reply`."""

    def __init__(self, build: Build, cloth: Cloth) -> None:
        self.build = build
        self.cloth = cloth
        low, high = self._mm(build.low), self._mm(build.high)
        self.carriage = Carriage(cloth, low, build.lift_seconds, Travel(low, high))
        self.powered = True
        self._hears_from = 0.0
        self.out_of_limits = 0
        self.starved = 0.0
        """Seconds without anything to do since the first instruction."""
        self._line = Rs232(build.buffer_bytes, build.says_it_holds)
        self._idle_since: float | None = None
        self._clock = 0.0
        self._mnemonic = bytearray()
        self._numbers: list[int] = []
        self._digits = bytearray()
        self._spoilt = False
        self._initialise(power_up=True)

    # -- the serial line -----------------------------------------------------------------------

    def receive(self, data: bytes, now: float) -> None:
        """Bytes arriving; escape sequences act at once, all else waits in the buffer."""
        self.advance(now)
        for byte in data if self.powered and now >= self._hears_from else b"":
            if self._line.take(byte):
                self._begin()
        self.advance(now)

    def reply(self) -> bytes:
        """What it has sent since last asked."""
        return self._line.reply()

    @property
    def lost_bytes(self) -> int:
        """Bytes that came while the buffer was full."""
        return self._line.lost_bytes

    @property
    def clear_to_send(self) -> bool:
        """The DTR line."""
        return self._line.clear_to_send

    @property
    def busy_until(self) -> float:
        """When the move or lift under way ends."""
        return self.carriage.free_at

    @property
    def idle(self) -> bool:
        """Whether nothing waits in the buffer."""
        return not self._line.waiting

    def advance(self, now: float) -> None:
        """Executes what time allows."""
        carriage = self.carriage
        while self.powered:
            if carriage.free_at > now:
                carriage.advance(now)
                return
            done_at = carriage.free_at
            carriage.advance(now)
            if not self._line.waiting:
                if self._idle_since is None:
                    self._idle_since = max(done_at, self._clock)
                return
            if self._idle_since is not None:
                # Nothing could begin before the bytes came, which is now.
                self.starved += max(now - self._idle_since, 0.0)
                done_at, self._idle_since = now, None
            self._clock = max(done_at, self._clock)
            self._parse(self._line.next())

    # -- what happens to it ----------------------------------------------------------------------

    def lose_power(self, now: float) -> None:
        """The power goes: the carriage runs on a little, and all that was sent is gone."""
        self.advance(now)
        self.powered = False
        self.carriage.halt(now, self.build.coast)
        self.carriage.press(self.build.pen_falls, now)
        self._drop()

    def restore_power(self, now: float) -> None:
        """The power is back: the pen goes up, and the carriage finds its zero if it can."""
        carriage, low = self.carriage, self._mm(self.build.low)
        self.powered = True
        self._hears_from = now + self.build.start_seconds
        self._clock = now
        carriage.press(False, now)
        if self.build.stows_pen:
            carriage.pen = STOWED
        if self.build.finds_its_zero:
            carriage.believe(carriage.real)
            carriage.go(low, self.build.travel_speed, now, False)
        else:
            carriage.believe(low)
        self._line.power_up()
        carriage.wait(self.build.start_seconds, now)
        self._initialise(power_up=True)
        self._commanded = self.build.low

    def reset(self, now: float, stows_pen: bool = False) -> None:
        """Its panel's reset: as IN, and what waits in the buffer is dropped."""
        if not self.powered:
            return
        self.advance(now)
        self.carriage.halt(now)
        self._clock = now
        self._drop()
        self._initialise()
        if stows_pen:
            self.carriage.pen = STOWED

    def _drop(self) -> None:
        self._line.drop()
        self._begin()

    # -- HP-GL ---------------------------------------------------------------------------------

    def _initialise(self, power_up: bool = False) -> None:
        self._absolute = True
        self._error = 0
        self._initialised = True
        self._window = (*self.build.low, *self.build.high)
        self._commanded = self._units(self.carriage.at)
        self._velocity: float | None = None
        self._scaling_points = (*self.build.low, *self.build.high)
        if not power_up:
            self.carriage.lower(False, self._clock)
        self._begin()

    def _begin(self) -> None:
        self._mnemonic = bytearray()
        self._numbers, self._digits, self._spoilt = [], bytearray(), False

    def _parse(self, byte: int) -> None:
        if byte in _LETTERS:
            if len(self._mnemonic) >= 2:
                self._finish()
            self._mnemonic.append(byte & 0xDF)
            if len(self._mnemonic) == 2:
                self._immediate()
        elif byte in _NUMBER and len(self._mnemonic) == 2:
            self._digits.append(byte)
        elif byte in b", ":
            self._number_done()
        elif byte in _TERMINATORS:
            if self._mnemonic:
                self._finish()
        else:
            self._error = 3 if len(self._mnemonic) == 2 else 1
            self._spoilt = True

    def _immediate(self) -> None:
        """Output instructions act with or without a terminator (page 7-3)."""
        answer = self._outputs().get(self._mnemonic.decode())
        if answer is not None:
            self._line.answer(answer())
            self._begin()
        elif self._mnemonic.decode() not in _KNOWN:
            self._error, self._spoilt = 1, True

    def _outputs(self) -> dict[str, Callable[[], str]]:
        return {
            "OA": self._actual,
            "OC": lambda: ",".join(map(str, (*self._commanded, int(self.carriage.down)))),
            "OE": self._error_read,
            "OF": lambda: "40,40",
            "OI": lambda: self.build.identity,
            "OP": lambda: ",".join(map(str, self._scaling_points)),
            "OW": lambda: ",".join(map(str, self._window)),
            "OH": lambda: ",".join(map(str, (*self.build.low, *self.build.high))),
            "OS": self._status,
        }

    def _actual(self) -> str:
        x, y = self._units(self.carriage.at)
        return f"{x},{y},{int(self.carriage.down)}"

    def _error_read(self) -> str:
        number, self._error = self._error, 0
        return str(number)

    def _status(self) -> str:
        shown = self._initialised and self.build.shows_initialized
        status = 16 + int(self.carriage.down) + 8 * shown + 32 * bool(self._error)
        self._initialised = False
        return str(status)

    def _number_done(self) -> None:
        if not self._digits:
            return
        try:
            value = round(float(self._digits))
        except ValueError:
            self._error, self._spoilt = 3, True
            value = 0
        self._digits = bytearray()
        self._numbers.append(value)
        if bytes(self._mnemonic) in (b"PA", b"PR", b"PU", b"PD") and len(self._numbers) % 2 == 0:
            self._vector(*self._numbers[-2:])

    def _vector(self, x: int, y: int) -> None:
        """A pair is plotted as soon as it is complete (page 3 of PU, PD)."""
        if len(self._numbers) == 2:
            self._pen_of_mnemonic()
        if not self._absolute:
            x, y = self._commanded[0] + x, self._commanded[1] + y
        if self._spoilt or max(abs(x), abs(y)) > self.build.coordinate_limit:
            self._error = self._error or 6
            return
        start, end = self._mm(self._commanded), self._mm((x, y))
        self._commanded = (x, y)
        low, high = self._mm(self._window[:2]), self._mm(self._window[2:])
        inside = clipped(start, end, low, high)
        if inside is None or inside != (start, end):
            self.out_of_limits += 1
        carriage = self.carriage
        if inside is None:
            return
        draws = carriage.down
        if inside[0] != carriage.at:
            carriage.go(inside[0], self.build.travel_speed, self._clock, False)
            carriage.advance(carriage.free_at)
            self._clock = carriage.free_at
        speed = (self._velocity or self.build.draw_speed) if draws else self.build.travel_speed
        carriage.go(inside[1], speed, self._clock, draws)

    def _pen_of_mnemonic(self) -> None:
        if bytes(self._mnemonic) in (b"PU", b"PD"):
            self.carriage.lower(self._mnemonic == b"PD", self._clock)
            self._clock = max(self._clock, self.carriage.free_at)

    def _finish(self) -> None:
        self._number_done()
        name, numbers, spoilt = self._mnemonic.decode(), self._numbers, self._spoilt
        if len(name) < 2:
            self._error = 1
        elif not spoilt:
            self._execute(name, numbers)
        self._begin()

    def _execute(self, name: str, numbers: list[int]) -> None:
        if name in ("PA", "PR"):
            self._absolute = name == "PA"
        if name in ("PU", "PD") and not numbers:
            self._pen_of_mnemonic()
        if name in ("PA", "PR", "PU", "PD"):
            if len(numbers) % 2:
                self._error = 2
        elif name in ("IN", "DF"):
            self._initialise()
        elif name == "IW":
            self._input_window(numbers)
        elif name == "IP":
            if len(numbers) == 4:
                self._scaling_points = (numbers[0], numbers[1], numbers[2], numbers[3])
        elif name == "SP":
            self.carriage.lower(False, self._clock)
            self.carriage.pen = max(numbers[0], STOWED) if numbers else STOWED
        elif name == "VS":
            self._velocity = (
                min(numbers[0] * 10.0, self.build.draw_speed) if numbers else None
            ) or None

    def _input_window(self, numbers: list[int]) -> None:
        low, high = self.build.low, self.build.high
        if not numbers:
            self._window = (*low, *high)
        elif len(numbers) != 4:
            self._error = 2
        else:
            self._window = (
                max(numbers[0], low[0]),
                max(numbers[1], low[1]),
                min(numbers[2], high[0]),
                min(numbers[3], high[1]),
            )

    def _mm(self, point: tuple[int, ...]) -> tuple[float, float]:
        return point[0] * self.build.unit, point[1] * self.build.unit

    def _units(self, spot: tuple[float, float]) -> tuple[int, int]:
        return round(spot[0] / self.build.unit), round(spot[1] / self.build.unit)


_KNOWN = frozenset(["IN", "DF", "IW", "IP", "PA", "PR", "PU", "PD", "SP", "VS", "FS"])
