"""One machine at work for the page: `drive` as a process of its own, its keys and what it says.

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
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from devices.session.piped_keys import ASKED_BY
from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from asyncio.subprocess import Process
    from collections.abc import Awaitable, Callable, Sequence
    from pathlib import Path

KEYS = frozenset(
    ("up", "down", "left", "right", "enter", "n", "y", "r", "backspace", "q", "p", "1", "2")
    + ("3",)
)
"""What a page may press."""
PAUSE, STOP = "p", "s"
# Windows would end a process without letting it raise the pen; a break it can hear, in a group of
# its own.
if sys.platform == "win32":
    _END, OWN_GROUP = signal.CTRL_BREAK_EVENT, subprocess.CREATE_NEW_PROCESS_GROUP
else:
    _END, OWN_GROUP = signal.SIGTERM, 0
LEFT = "The page that held the machine was closed: it pauses after the strokes under way."
LOST = "Nothing is heard of the page that held the machine: it stops, the pen raised."
_LINES_KEPT = 200
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
    ended: int | None = None
    asks: str = ""
    """A question that waits for yes or no."""
    lines: deque[str] = field(default_factory=lambda: deque(maxlen=_LINES_KEPT))
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
            "ended": self.ended,
            "asks": self.asks,
            "lines": list(self.lines)[-40:],
        }

    async def start(self, page: str, options: Sequence[str], *, rehearsal: bool) -> None:
        """Begins to drive, held by `page`. Raises RefusedError while something is at work."""
        if self.is_running:
            raise RefusedError("a machine is at work already; stop it, or wait until it is done")
        words = [sys.executable, "-m", "devices.commands", "drive", "--job", str(self.folder)]
        self.holder, self.rehearsal, self.ended, self.asks = page, rehearsal, None, ""
        self.lines.clear()
        self._starts = True
        try:
            self._process = await asyncio.create_subprocess_exec(
                *words,
                *options,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                env={**os.environ, ASKED_BY: "lines", "PYTHONIOENCODING": "utf-8"},
                creationflags=OWN_GROUP,
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
            self.lines.append(LEFT)

    async def lost_by(self, page: str | None) -> None:
        """Stops ink at once where nothing is heard of the page that held it.

        A rehearsal goes on, and so does a question: neither has a pen on cloth.
        """
        if self._is_held_by(page) and not self.rehearsal:
            await self._write(STOP)
            self.lines.append(LOST)

    def _is_held_by(self, page: str | None) -> bool:
        return self.is_running and page is not None and page == self.holder

    def take(self, page: str) -> None:
        """Lets another page hold it from now on."""
        self.holder = page

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
        self._process, self.asks = None, ""
        await self.changed()

    async def _read(self, stream: asyncio.StreamReader, name: Literal["stdout", "stderr"]) -> None:
        while line := await stream.readline():
            text = line.decode("utf-8", "replace").rstrip()
            told = _told(text) if name == "stderr" else {"say": text}
            if "ask" in told:
                self.asks = told["ask"]
            self.lines.append(told.get("say") or told.get("ask") or "")
            await self.changed()

    def _keep(self, work: Any) -> None:
        """Holds on to a task until it is done."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)


def _told(line: str) -> dict[str, str]:
    """What a line says: an object of JSON, or plain text from before the person is spoken to."""
    try:
        told = json.loads(line)
    except ValueError:
        return {"say": line}
    if not isinstance(told, dict):
        return {"say": line}
    return {str(kind): str(text) for kind, text in told.items()}
