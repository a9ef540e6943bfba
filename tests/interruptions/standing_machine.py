"""A simulated machine at a port, standing askew on its table, with what may happen to it.

It knows bytes, time and the table; nothing of jobs. The machine runs in a thread of its own, up
to `pace` times faster than a real one; an event may be set to happen at a byte or a second.
"""

from __future__ import annotations

import contextlib
import random
import select
import socket
import threading
import time
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from devices.simulated.table import Stand, TableCloth

_TURN = 0.002
_LONGEST_STEP = 0.5
"""Seconds of machine time between two looks at it: a busy computer slows the machine down."""


@dataclass
class _Due:
    """What is to happen once so many bytes have come, or seconds of machine time have passed."""

    does: Callable[[], None]
    bytes: int | None = None
    seconds: float | None = None


class StandingMachine:
    """A machine, its port and its clock."""

    def __init__(self, machine: Any, cloth: TableCloth, pace: float, seed: int) -> None:
        self.machine, self.cloth = machine, cloth
        self.pace = pace
        self.now = 0.0
        self.garbles = 0.0
        """The share of bytes of its answers that arrive as another."""
        self.bytes = 0
        """How many have come since the port was opened last."""
        self.opened_at = 0.0
        self.late = 0.0
        """The longest, in s, that this computer left the machine waiting for its turn of late."""
        self.line: deque[tuple[float, str, bytes]] = deque(maxlen=30)
        """What went over the line last, and when: `>` to the machine, `<` from it."""
        self._random = random.Random(seed)
        self._due: _Due | None = None
        self._plugged = True
        self._caller: socket.socket | None = None
        self._lock = threading.RLock()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._over = False
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Takes it away."""
        self._over = True
        self._thread.join()
        self._hang_up()
        self._server.close()

    def then(self, does: Callable[[], None], *, byte: int | None, second: float | None) -> None:
        """Lets something happen at a byte or a second of the next connection."""
        with self._lock:
            self._due = _Due(does, byte, second)

    @property
    def happened(self) -> bool:
        """Whether nothing is left to happen."""
        return self._due is None

    def never_mind(self) -> None:
        """Nothing is to happen any more."""
        with self._lock:
            self._due = None

    def do(self, name: str, *words: Any) -> None:
        """Something happens to the machine now."""
        with self._lock:
            self.machine.advance(self.now)
            getattr(self.machine, name)(self.now, *words)

    def bump(self, stand: Stand) -> None:
        """It is pushed, or set down again."""
        with self._lock:
            self.machine.advance(self.now)
            carriage = self.machine.carriage
            self.cloth.bump(stand, carriage.pen if carriage.down else None, carriage.real, self.now)

    def unplug(self) -> None:
        """The cable comes out."""
        with self._lock:
            self._plugged = False
            self._hang_up()

    def plug_in(self) -> None:
        """The cable is back."""
        self._plugged = True

    def shows(self, spot: tuple[float, float]) -> tuple[float, float]:
        """What the machine says of its place, mm, when its pen is over that spot of the table."""
        with self._lock:
            x, y = self.cloth.stand.machine_of(spot)
            slip = self.machine.carriage.slip
            return x - slip[0], y - slip[1]

    def settle(self, seconds: float) -> None:
        """Waits until it stands still, at most so many seconds of its time."""
        until = self.now + seconds
        while self.now < until and (self._moves() or self.now < until - seconds + 0.3):
            time.sleep(_TURN)

    def _moves(self) -> bool:
        with self._lock:
            waits = bool(getattr(self.machine, "idle", True) is False)
            return bool(self.machine.busy_until > self.now or waits) and self.machine.powered

    # -- the thread --------------------------------------------------------------------------------

    def _serve(self) -> None:
        looked_at = time.monotonic()
        while not self._over:
            watched = [self._server] if self._caller is None else [self._server, self._caller]
            ready = select.select(watched, [], [], _TURN)[0]
            with self._lock:
                before, looked_at = looked_at, time.monotonic()
                self.late = max(self.late, looked_at - before - _TURN)
                self.now += min((looked_at - before) * self.pace, _LONGEST_STEP)
                if self._server in ready:
                    self._answer_call()
                elif self._caller is not None and self._caller in ready:
                    self._take(self._caller)
                self.machine.advance(self.now)
                self._happen()
                self._reply()

    def _answer_call(self) -> None:
        caller = self._server.accept()[0]
        if not self._plugged or self._caller is not None:
            caller.close()
            return
        caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._caller, self.bytes, self.opened_at = caller, 0, self.now
        if hasattr(self.machine, "opened"):
            self.machine.opened(self.now)

    def _take(self, caller: socket.socket) -> None:
        try:
            data = caller.recv(4096)
        except OSError:
            data = b""
        if not data:
            self._hang_up()
            return
        self.line.append((self.now, ">", data))
        due = self._due
        if due is not None and due.bytes is not None and self.bytes + len(data) >= due.bytes:
            first = max(due.bytes - self.bytes, 0)
            self.machine.receive(data[:first], self.now)
            self._due = None
            due.does()
            data = data[first:] if self._caller is not None else b""
        self.bytes += len(data)
        self.machine.receive(data, self.now)

    def _happen(self) -> None:
        due = self._due
        if due is None or due.seconds is None or self._caller is None:
            return
        if self.now - self.opened_at >= due.seconds:
            self._due = None
            due.does()

    def _reply(self) -> None:
        data = bytearray(self.machine.reply())
        if self.garbles:
            for index in range(len(data)):
                if self._random.random() < self.garbles:
                    data[index] ^= 1 << self._random.randrange(7)
        if data and self._caller is not None:
            self.line.append((self.now, "<", bytes(data)))
            with contextlib.suppress(OSError):
                self._caller.sendall(data)

    def _hang_up(self) -> None:
        if self._caller is not None:
            self._caller.close()
            self._caller = None
