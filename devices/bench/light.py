"""The projector's pages opened for the bench: `beam` as a process of its own, and its addresses.

It knows a command line and what it prints, no light.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from devices.bench.machine import OWN_GROUP
from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from asyncio.subprocess import Process
    from collections.abc import Awaitable, Callable
    from pathlib import Path

_PATIENCE_SECONDS = 10.0
if sys.platform == "win32":
    _CONTROL_C = signal.CTRL_BREAK_EVENT
else:
    _CONTROL_C = signal.SIGINT


@dataclass
class Light:
    """What runs, and where its stage and its remote are opened."""

    folder: Path
    changed: Callable[[], Awaitable[None]]
    said: list[str] = field(default_factory=list)
    """What it said: its cautions, and why it ended."""
    pages: dict[str, str] = field(default_factory=dict)
    """`stage`, `remote` and the remote's `code`, once it is open."""
    _process: Process | None = None
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)

    @property
    def is_running(self) -> bool:
        """Whether it is at work."""
        return self._process is not None

    def record(self) -> dict[str, Any]:
        """As the pages are shown it."""
        return {"running": self.is_running, "said": self.said, **self.pages}

    async def do(self, act: object) -> None:
        """Opens or ends it, as a page asks. Raises BadInputError, RefusedError."""
        if act == "open":
            await self._open()
        elif act == "end":
            await self.close()
        else:
            raise BadInputError("That is nothing this page says; reload it.")

    async def _open(self) -> None:
        if self.is_running:
            raise RefusedError("the stage is open already; end it first")
        self.said, self.pages = [], {}
        self._process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "devices.commands", "beam", "--job", str(self.folder)),
            *("--port", "0", "--no-open", "--json"),
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
            env={**os.environ, "PYTHONIOENCODING": "utf-8"},
            creationflags=OWN_GROUP,
        )
        task = asyncio.get_running_loop().create_task(self._followed(self._process))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def close(self) -> None:
        """Ends it as Ctrl C does; what was traced is kept."""
        process = self._process
        if process is None:
            return
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(_CONTROL_C)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_PATIENCE_SECONDS):
                await process.wait()

    async def _followed(self, process: Process) -> None:
        async with asyncio.TaskGroup() as both:
            both.create_task(self._where(process))
            both.create_task(self._listened(process))
        await process.wait()
        self._process, self.pages = None, {}
        await self.changed()

    async def _where(self, process: Process) -> None:
        assert process.stdout is not None
        while line := await process.stdout.readline():
            with contextlib.suppress(ValueError):
                told = json.loads(line)
                self.pages = {name: str(told[name]) for name in ("stage", "remote", "code")}
                await self.changed()

    async def _listened(self, process: Process) -> None:
        assert process.stderr is not None
        while line := await process.stderr.readline():
            said = line.decode("utf-8", "replace").strip()
            for start in ("canvasrule: ", "note: "):
                said = said.removeprefix(start)
            # It is ended by a button here.
            if said and not said.startswith("Ctrl C"):
                self.said.append(said)
                await self.changed()
