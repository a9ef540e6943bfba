"""Simulated machines as the very port that `drive` opens, in their own time, with faults.

Nothing waits for a real clock. The cloth stands still: the gantry's own coordinates count from
where it was switched on, or where a person has set its zero since.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from devices.commands import main
from devices.inking import sections
from devices.simulated.cloth import Cloth
from devices.simulated.gcode import Gantry, SimulatedGantry

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import pytest

    from devices.simulated.cloth import Spot

LOOK = 0.01
"""Seconds of the machine's time between two looks at it."""
BANNER = b"Grbl 1.1f ['$' for help]\r\n"


class OwnTimePort:
    """Any simulated machine as a port in its own time, looked at every hundredth of a second."""

    def __init__(self, machine: Any) -> None:
        self.machine, self.now = machine, 0.0

    def clock(self) -> float:
        return self.now

    def write(self, data: bytes) -> None:
        self.machine.receive(data, self.now)

    def read(self) -> bytes:
        self.now += 0.01
        self.machine.advance(self.now)
        return bytes(self.machine.reply())

    def clear_to_send(self, line: str) -> bool:
        return True

    def forget_unsent(self) -> None:
        pass


@dataclass
class GantryPort:
    """The machine and its line; `before_write` and `before_read` may do something to either."""

    gantry: Gantry = field(default_factory=Gantry)
    cloth: Cloth = field(default_factory=Cloth)
    now: float = 0.0
    written: list[tuple[float, bytes]] = field(default_factory=list)
    before_write: Callable[[bytes], None] = lambda data: None
    before_read: Callable[[], None] = lambda: None
    answered: Callable[[bytes], bytes] = lambda data: data
    look: float = LOOK
    machine: Any = None

    def __post_init__(self) -> None:
        self.machine = SimulatedGantry(self.gantry, self.cloth)

    def clock(self) -> float:
        return self.now

    def write(self, data: bytes) -> None:
        self.before_write(data)
        self.written.append((self.now, data))
        self.machine.receive(data, self.now)

    def read(self) -> bytes:
        self.now += self.look
        self.before_read()
        self.machine.advance(self.now)
        return self.answered(self.machine.reply())

    def clear_to_send(self, line: str) -> bool:
        return True

    def forget_unsent(self) -> None:
        pass

    def close(self) -> None:
        pass

    def power_cycle(self, zero: Spot) -> None:
        """Power goes and comes back; once it is up, its zero is set at `zero` of the cloth."""
        self.machine.lose_power(self.now)
        self.machine.restore_power(self.now)
        self.machine.carriage.slip = zero
        self.now += self.gantry.boot_seconds


@contextmanager
def driven_at(port: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., int]]:
    """Drives a job on `port`; what it gives takes the words of the command."""

    @contextmanager
    def ports(*_: Any) -> Iterator[Any]:
        yield port, port.clock

    with monkeypatch.context() as patched:
        patched.setattr(sections, "ports", ports)
        yield lambda *words: main(["drive", *map(str, words)])
