"""One machine at work for the page: `drive`, or `trial` on scrap, as a process of its own, its keys
and what it says.

A page that holds the machine presses its keys. A page that is closed pauses it, one that falls
silent stops it, and a bench that ends leaves it without input, at which it raises the pen. It
knows a command line and no stroke.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from devices.bench.languages.said_here import said_here
from devices.session.person import PAUSE, STOP
from devices.session.piped_keys import ASKED_BY, LONGEST, TYPED
from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from asyncio.subprocess import Process
    from collections.abc import Awaitable, Callable, Sequence
    from pathlib import Path

KEYS = frozenset(
    ("up", "down", "left", "right", "enter", "n", "y", "r", "backspace", "q", "p", *"123")
)
"""What a page may press."""
# Windows would end a process without letting it raise the pen; a break it can hear, in a group of
# its own.
if sys.platform == "win32":
    _END, OWN_GROUP = signal.CTRL_BREAK_EVENT, subprocess.CREATE_NEW_PROCESS_GROUP
else:
    _END, OWN_GROUP = signal.SIGTERM, 0
LEFT = "The page that held the machine was closed: it pauses after the strokes under way."
LOST = "Nothing is heard of the page that held the machine: it stops, the pen raised."
LEFT_ASKED = "The page that held the machine was closed; nothing is inked, and it waits."
LOST_ASKED = "Nothing is heard of the page that held the machine; nothing is inked, and it waits."
TAKEN = "Another page holds the machine now."
CARDS = {
    "set_down": "set-down",
    "mark": "marks",
    "verdict": "verdict",
    "pen": "pen",
    "progress": "inking",
}
"""The card of the page that shows what is told under each name; how it ended, once it has."""
_INKING = "inking"
_LINES_KEPT = 40
_LONGEST_LINE = 1 << 22
"""Bytes: a cover of many sections, or strokes of many points."""
_PATIENCE_SECONDS = 3.0
"""By when a stop has to be heard before the process is ended from outside."""


@dataclass
class Machine:
    """What runs, who holds it, and what it said last."""

    folder: Path
    changed: Callable[[], Awaitable[None]]
    """Called whenever there is something new to show."""
    holder: str | None = None
    """The page that may press its keys."""
    rehearsal: bool = False
    port: str = ""
    """Where the machine is that is driven; empty in a rehearsal."""
    scrap: bool = False
    """Whether it is the square on scrap that it draws, and nothing of the cover."""
    ended: int | None = None
    asks: str = ""
    """A question that waits for yes or no."""
    types: str = ""
    """A question that waits for something typed."""
    card: str = ""
    """What is at hand, by the page's name of it."""
    told: dict[str, Any] = field(default_factory=dict)
    """The figures told last under each name, as `devices.session.person` shows them."""
    faults: list[str] = field(default_factory=list)
    """Why it ended."""
    drawn: list[Any] = field(default_factory=list)
    """Polylines drawn and not yet shown, table frame, mm."""
    lines: deque[str] = field(default_factory=lambda: deque(maxlen=_LINES_KEPT))
    _since: dict[str, float] = field(default_factory=dict)
    """When each was told: what goes by the clock is counted down from there."""
    _process: Process | None = None
    _starts: bool = False
    """Whether a process is being made: nothing else may begin meanwhile, and its page may go."""
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)

    @property
    def is_running(self) -> bool:
        """Whether anything is at work."""
        return self._process is not None or self._starts

    def record(self) -> dict[str, Any]:
        """As the pages are shown it."""
        return {
            "running": self.is_running,
            "holder": self.holder,
            "rehearsal": self.rehearsal,
            "port": self.port,
            "scrap": self.scrap,
            "ended": self.ended,
            "asks": self.asks,
            "types": self.types,
            "card": self.card,
            "told": self.told,
            "ages_s": {kind: time.monotonic() - at for kind, at in self._since.items()},
            "faults": self.faults,
            "lines": list(self.lines),
        }

    async def start(
        self, page: str, options: Sequence[str], port: str = "", *, scrap: bool = False
    ) -> None:
        """Begins to drive, held by `page`: the machine at a port, or else to rehearse.

        Raises RefusedError while something is at work.
        """
        if self.is_running:
            raise RefusedError("a machine is at work already; stop it, or wait until it is done")
        verb = "trial" if scrap else "drive"
        words = [sys.executable, "-m", "devices.commands", verb, "--job", str(self.folder)]
        at = (f"--port={port}",) if port else ("--simulate",)
        self.holder, self.rehearsal, self.port, self.ended = page, not port, port, None
        self.scrap = scrap
        self.asks = self.types = self.card = ""
        for kept in (self.lines, self.told, self.faults, self.drawn, self._since):
            kept.clear()
        self._starts = True
        try:
            self._process = await asyncio.create_subprocess_exec(
                *words,
                *at,
                *options,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                env={**os.environ, ASKED_BY: "lines", "PYTHONIOENCODING": "utf-8"},
                creationflags=OWN_GROUP,
                limit=_LONGEST_LINE,
            )
        finally:
            self._starts = False
        self._keep(self._followed(self._process))

    async def press(self, page: str, key: str) -> None:
        """Presses a key for a page. Raises RefusedError for a page that does not hold it."""
        if key not in KEYS:
            raise BadInputError("That is nothing this page says; reload it.")
        if page != self.holder:
            raise RefusedError("another page holds the machine; only stopping is left to this one")
        if self.asks and key in ("enter", "y", "n"):
            self.asks = ""
        await self._write(key)

    async def type(self, page: str, text: str) -> None:
        """Answers what is to be typed, for the page that holds it. Raises CanvasruleError."""
        if page != self.holder:
            raise RefusedError("another page holds the machine; only stopping is left to this one")
        if len(text) + len(TYPED) >= LONGEST or not text.isprintable():
            raise BadInputError(f"{text[:20]!r}: too long for a length; write it as 0.2 or 1/64 in")
        if self.types:
            self.types = ""
            await self._write(f"{TYPED}{text}")

    async def stop(self) -> None:
        """Stops what runs, the pen raised; whoever asks."""
        # A question and a mark take no stop: one is answered with no, the other given up.
        for key in (STOP, "n", "q"):
            await self._write(key)
        self._keep(self._ended_if_deaf())

    async def left_by(self, page: str | None) -> None:
        """Pauses it where the page that held it was closed."""
        if self._is_held_by(page):
            await self._write(PAUSE)
            self.lines.append(LEFT if self._inks else LEFT_ASKED)

    async def lost_by(self, page: str | None) -> None:
        """Stops ink at once where nothing is heard of the page that held it.

        A rehearsal goes on. A question waits, and so does a mark: neither has a pen on cloth, and
        neither takes the stop, which is sent all the same lest ink begins this very moment. It is
        not where something is to be typed, which it would end: nothing begins before that is.
        """
        if self._is_held_by(page) and not self.rehearsal:
            if not self.types:
                await self._write(STOP)
            self.lines.append(LOST if self._inks else LOST_ASKED)

    @property
    def _inks(self) -> bool:
        return self.card == _INKING and not (self.asks or self.types)

    def _is_held_by(self, page: str | None) -> bool:
        return self.is_running and page is not None and page == self.holder

    def take(self, page: str) -> None:
        """Lets another page hold it from now on."""
        if page != self.holder:
            self.holder = page
            self.lines.append(TAKEN)

    def taken_drawn(self) -> list[Any]:
        """What was drawn since last asked."""
        fresh, self.drawn = self.drawn, []
        return fresh

    async def close(self) -> None:
        """Ends what runs, the pen raised."""
        if self._process is not None and self._process.stdin is not None:
            self._process.stdin.close()
            with contextlib.suppress(TimeoutError, ProcessLookupError):
                async with asyncio.timeout(5):
                    await self._process.wait()

    async def _write(self, key: str) -> None:
        process = self._process
        if process is None or process.stdin is None:
            return
        with contextlib.suppress(ConnectionError, RuntimeError):
            process.stdin.write(f"{key}\n".encode())
            await process.stdin.drain()

    async def _ended_if_deaf(self) -> None:
        process = self._process
        await asyncio.sleep(_PATIENCE_SECONDS)
        if process is not None and process is self._process:
            with contextlib.suppress(ProcessLookupError):
                process.send_signal(_END)

    async def _followed(self, process: Process) -> None:
        """Takes in what the process says until it ends."""
        assert process.stderr is not None
        assert process.stdout is not None
        async with asyncio.TaskGroup() as both:
            both.create_task(self._read(process.stderr, "stderr"))
            both.create_task(self._read(process.stdout, "stdout"))
        self.ended = await process.wait()
        self._process, self.asks, self.types, self.card = None, "", "", "ended"
        await self.changed()

    async def _read(self, stream: asyncio.StreamReader, name: Literal["stdout", "stderr"]) -> None:
        while line := await stream.readline():
            text = line.decode("utf-8", "replace").rstrip()
            for kind, what in (_told(text) if name == "stderr" else {"say": text}).items():
                self._take(kind, what)
            await self.changed()

    def _take(self, kind: str, what: Any) -> None:
        """Takes in one thing told."""
        if isinstance(what, dict):
            self._figures(kind, what)
            return
        words = said_here(str(what))
        if not words:
            return
        self.lines.append(words)
        if kind == "ask":
            self.asks = words
        elif kind == "type":
            self.types = words
        elif kind == "fault":
            self.faults.append(words)

    def _figures(self, kind: str, record: dict[str, Any]) -> None:
        if kind == "set_down":
            # Another section, or the same one anew.
            self.told.clear()
        if kind == "progress":
            self.drawn += record.pop("lines", [])
        if kind == "reading":
            self.told.setdefault("readings", []).append(record)
            return
        if kind == "mark":
            # One that is gone back to is no longer read.
            del self.told.setdefault("readings", [])[record["number"] - 1 :]
        if "words" in record:
            record["words"] = [said_here(one) for one in record["words"]]
        self.told[kind] = record
        self._since[kind] = time.monotonic()
        self.card = CARDS.get(kind, self.card)

    def _keep(self, work: Any) -> None:
        """Holds on to a task until it is done."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


def _told(line: str) -> dict[str, Any]:
    """What a line says: an object of JSON, or plain text from before the person is spoken to."""
    try:
        told = json.loads(line)
    except ValueError:
        return {"say": line}
    if not isinstance(told, dict):
        return {"say": line}
    return told
