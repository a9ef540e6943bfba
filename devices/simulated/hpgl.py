"""A pen plotter that speaks HP-GL on a serial line, simulated as its manuals describe it.

HP 7470A Interfacing and Programming Manual (07470-90001): IN, DF, IW, IP, PA, PR, PU, PD, SP,
VS; OA page 7-3, OC 7-4, OE 7-5, OF 7-6, OI 7-7, OS 7-8, OP and OW chapter 2; device control
chapter 10. FS from the 7550A's. Bytes in, bytes out and a time in seconds; no port.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.simulated.carriage import Carriage, clipped

if TYPE_CHECKING:
    from collections.abc import Callable

    from devices.simulated.cloth import Cloth

_ESC = 27
_OVERFLOW_ERROR = 16
_LETTERS = frozenset(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
_NUMBER = frozenset(b"0123456789+-.")
_TERMINATORS = frozenset(b";\n\r")


@dataclass(frozen=True)
class Build:
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


class SimulatedPlotter:
    """The machine: `receive`, `advance`, `reply`."""

    def __init__(self, build: Build, cloth: Cloth) -> None:
        self.build = build
        self.cloth = cloth
        self.carriage = Carriage(cloth, self._mm(build.low), build.lift_seconds)
        self.lost_bytes = 0
        self.out_of_limits = 0
        self.starved = 0.0
        """Seconds without anything to do since the first instruction."""
        self._buffer: deque[int] = deque()
        self._escape: bytearray | None = None
        self._out = bytearray()
        self._io_error = 0
        self._xon: int | None = None
        self._xoff: int | None = None
        self._threshold = 80
        self._hardwire = False
        self._held = False
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
        for byte in data:
            if self._escape is not None:
                self._escape.append(byte)
                self._escape_byte()
            elif byte == _ESC:
                self._escape = bytearray()
            elif len(self._buffer) >= self.build.buffer_bytes:
                self.lost_bytes += 1
                self._io_error = _OVERFLOW_ERROR
            else:
                self._buffer.append(byte)
                self._hold_if_full()
        self.advance(now)

    def reply(self) -> bytes:
        """What it has sent since last asked."""
        data, self._out = bytes(self._out), bytearray()
        return data

    @property
    def clear_to_send(self) -> bool:
        """The DTR line, page 10-26: low while there is less room than a block."""
        if not self._hardwire:
            return True
        return self.build.buffer_bytes - len(self._buffer) >= self._threshold

    @property
    def busy_until(self) -> float:
        """When the move or lift under way ends."""
        return self.carriage.free_at

    @property
    def idle(self) -> bool:
        """Whether nothing waits in the buffer."""
        return not self._buffer

    def advance(self, now: float) -> None:
        """Executes what time allows."""
        carriage = self.carriage
        while True:
            if carriage.free_at > now:
                carriage.advance(now)
                return
            done_at = carriage.free_at
            carriage.advance(now)
            if not self._buffer:
                if self._idle_since is None:
                    self._idle_since = max(done_at, self._clock)
                return
            if self._idle_since is not None:
                # Nothing could begin before the bytes came, which is now.
                self.starved += max(now - self._idle_since, 0.0)
                done_at, self._idle_since = now, None
            self._clock = max(done_at, self._clock)
            self._parse(self._buffer.popleft())
            self._release_if_room()

    def _hold_if_full(self) -> None:
        room = self.build.buffer_bytes - len(self._buffer)
        if self._xoff is not None and not self._held and room < self._threshold:
            self._out.append(self._xoff)
            self._held = True

    def _release_if_room(self) -> None:
        """Page 10-20: Xon at 128 bytes of room, or at one more than Xoff's threshold."""
        enough = min(max(128, self._threshold + 1), self.build.buffer_bytes)
        if self._held and self.build.buffer_bytes - len(self._buffer) >= enough:
            if self._xon is not None:
                self._out.append(self._xon)
            self._held = False

    def _escape_byte(self) -> None:
        sequence = self._escape or b""
        if sequence[:1] != b".":
            self._io_error, self._escape = 11, None
            return
        if len(sequence) < 2:
            return
        letter = chr(sequence[1])
        if letter in "@HIMN":
            if sequence[-1] == ord(":"):
                self._configure(letter, bytes(sequence[2:-1]))
                self._escape = None
            elif len(sequence) > 60:
                self._io_error, self._escape = 14, None
            return
        self._escape = None
        if letter == "B":
            self._answer(str(self.build.buffer_bytes - len(self._buffer)))
        elif letter == "E":
            self._answer(str(self._io_error))
            self._io_error = 0
        elif letter == "O":
            self._answer("8" if not self._buffer else "0")
        elif letter == "K":
            self._buffer.clear()
            self._begin()
            self._release_if_room()
        elif letter == "R":
            self._xon = self._xoff = None
            self._hardwire, self._threshold = False, 80
        elif letter not in "JYZ()L":
            self._io_error = 11

    def _configure(self, letter: str, parameters: bytes) -> None:
        try:
            values = [int(part) if part else None for part in parameters.split(b";")]
        except ValueError:
            self._io_error = 12
            return
        if letter == "@":
            second = values[1] if len(values) > 1 else 0
            self._hardwire = bool((second or 0) & 1)
        elif letter in "HI":
            self._threshold = values[0] if values and values[0] is not None else 80
            enquiry = values[1] if len(values) > 1 else None
            answer = values[2] if len(values) > 2 else None
            self._xon = answer if not enquiry else None
        elif letter == "N":
            self._xoff = values[1] if len(values) > 1 else None

    def _answer(self, text: str) -> None:
        self._out += text.encode() + b"\r"

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
            self._answer(answer())
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
        status = 16 + int(self.carriage.down) + 8 * self._initialised + 32 * bool(self._error)
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
            if numbers and numbers[0] > 0:
                self.carriage.pen = numbers[0]
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
