"""A serial line in simulated time between a conversation and a simulated machine.

Bytes take ten bits each at the line's speed; nothing here waits for a real clock.
"""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from devices.conversation.events import Confirmed, Event, Failed
from devices.conversation.states import State

if TYPE_CHECKING:
    from devices.conversation.conversation import Conversation


@dataclass
class Line:
    conversation: Conversation
    machine: Any
    baud: int = 9600
    noise: float = 0.0
    seed: int = 1
    now: float = 0.0
    sent: bytearray = field(default_factory=bytearray)
    most_waiting: int = 0
    events: list[Event] = field(default_factory=list)
    _out: deque[tuple[float, int]] = field(default_factory=deque)
    _in: deque[tuple[float, int]] = field(default_factory=deque)
    _out_free: float = 0.0
    _in_free: float = 0.0

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)

    def open(self) -> None:
        self.events += self.conversation.open(self.now)
        self.run_until(lambda: self.conversation.state is not State.GREETING)

    def run(self, program: Any, until: float = 1e9) -> None:
        self.conversation.feed(program)
        self.run_until(lambda: self.conversation.drained or self.now > until)

    def run_until(self, done: Any) -> None:
        while not done() and not self.conversation.over:
            self.step()

    def step(self) -> None:
        self._send()
        times = [self.now + 0.5]
        times += [queue[0][0] for queue in (self._out, self._in) if queue]
        if self.machine.busy_until > self.now:
            times.append(self.machine.busy_until)
        self.now = max(min(times), self.now)
        while self._out and self._out[0][0] <= self.now:
            at, byte = self._out.popleft()
            self.machine.receive(bytes([byte]), at)
        self.machine.advance(self.now)
        self._answer()
        heard = bytearray()
        while self._in and self._in[0][0] <= self.now:
            heard.append(self._in.popleft()[1])
        if heard:
            self.events += self.conversation.receive(bytes(heard), self.now)
        self.events += self.conversation.tick(self.now)

    def _send(self) -> None:
        due = self.conversation.due(self.now)
        if due is None:
            return
        self.sent += due.data
        for byte in due.data:
            self._out_free = max(self._out_free, self.now) + 10 / self.baud
            self._out.append((self._out_free, byte))

    def _answer(self) -> None:
        for byte in self.machine.reply():
            for garbled in self._noisy(byte):
                self._in_free = max(self._in_free, self.now) + 10 / self.baud
                self._in.append((self._in_free, garbled))

    def _noisy(self, byte: int) -> list[int]:
        if self._random.random() >= self.noise:
            return [byte]
        kind = self._random.randrange(3)
        return [[], [byte, byte], [self._random.randrange(256)]][kind]

    @property
    def confirmed(self) -> list[str]:
        return [s for e in self.events if isinstance(e, Confirmed) for s in e.strokes]

    @property
    def failure(self) -> str | None:
        return next((e.reason for e in self.events if isinstance(e, Failed)), None)
