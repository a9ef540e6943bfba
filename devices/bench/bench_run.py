"""One run of the bench page: which job is open, who looks at it, and what each is told.

It knows pages and to whom what is shown; what is said over one connection is
`devices.serving.line`'s, who may come in `devices.bench.server`'s.
"""

from __future__ import annotations

import asyncio
import contextlib
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from devices.bench.fields.field import fields
from devices.bench.fields.known_as import known_as
from devices.bench.jobs import folder_named, free_folder, job_names, jobs_in, renamed
from devices.bench.lost_after import quiet_after
from devices.bench.open_job import OpenJob
from devices.new_job.like import make_like
from devices.serving.held import held
from devices.serving.line import Newest, PageLine
from devices.serving.taps import Answer, Taps, tap_number
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.job.folder import JOB_FILE

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from starlette.websockets import WebSocket

USUAL_PLOTTER = "flatbed-a3"
_LOOK_SECONDS = 0.3
"""How often it is looked whether another program has changed the folder."""


@dataclass
class BenchRun:
    """One run: the folder that jobs lie in, the one that is open, and the pages on it."""

    root: Path
    key: str
    """Opens the page on this computer."""
    job: OpenJob | None = None
    lines: Newest = field(default_factory=Newest)
    pages: set[PageLine] = field(default_factory=set)
    taps: Taps = field(default_factory=Taps)
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)
    quiet_after: float = field(default_factory=quiet_after)

    def open(self, folder: Path) -> None:
        """Opens the job in a folder. Raises BadInputError where there is none."""
        self.job = OpenJob(folder, self.show_machine, self.show_errand, self.show_light)

    async def asked_for(self, name: str | None) -> None:
        """Opens a job that a second start names, where nothing is at work on another."""
        if not name:
            return
        with contextlib.suppress(CanvasruleError):
            folder = folder_named(self.root, name)
            async with self.turn:
                here = self.job
                if self._at_work or (here is not None and here.folder.name == name):
                    return
                await self._open_instead(folder)
                await self.show()

    @property
    def _at_work(self) -> bool:
        """Whether a machine or the projector is, so that no other job may be opened."""
        return self.job is not None and (self.job.machine.is_running or self.job.light.is_running)

    async def _open_instead(self, folder: Path) -> None:
        """Opens another job. Raises BadInputError, and leaves what is open as it is."""
        before = self.job
        self.open(folder)
        if before is not None:
            await before.close()
        # None of the last job's.
        await self.show_machine()
        await self.show_light()

    async def close(self) -> None:
        """Ends what runs for the page."""
        if self.job is not None:
            await self.job.close()

    async def stop(self) -> None:
        """Stops the machine at once, the pen raised, whichever page asks."""
        if self.job is not None:
            await self.job.machine.stop()

    async def watch(self) -> None:
        """Shows every page what an editor or a verb changed in the folder; never ends."""
        jobs = job_names(self.root)
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            async with self.turn:
                try:
                    before, jobs = jobs, job_names(self.root)
                    # In a thread of its own: pages are heard, and a stop, while it is laid out.
                    here = self.job
                    changed = here is not None and await asyncio.to_thread(here.changed_elsewhere)
                    if changed or jobs != before:
                        await self.show()
                except CanvasruleError as fault:
                    await self._tell({"type": "refused", "say": "\n".join(fault.messages)})
                except OSError as fault:
                    # The folder is other programs' too: the next look finds it as it is by then.
                    await self._tell({"type": "refused", "say": f"{self.root}: {fault.strerror}"})

    async def show(self) -> None:
        """Sends every page the jobs, and the open one as it stands."""
        name = self.job.folder.name if self.job else None
        await self._tell(
            {
                "type": "jobs",
                "root": str(self.root.resolve()),
                "jobs": jobs_in(self.root),
                "open": name,
                "tables": known_as("tables"),
                "plotters": known_as("plotters"),
                "usual": USUAL_PLOTTER,
                "pages": len(self.pages),
            }
        )
        if self.job is not None:
            await self._tell(await asyncio.to_thread(self.job.told))

    async def show_machine(self) -> None:
        """Sends every page what the machine is at."""
        if self.job is not None:
            machine = self.job.machine
            drawn = machine.taken_drawn()
            await self._tell({"type": "machine", **machine.record()})
            if drawn:
                await self._tell({"type": "drawn", "lines": drawn})

    async def show_light(self) -> None:
        """Sends every page where the projector's pages are opened."""
        if self.job is not None:
            await self._tell({"type": "light", **self.job.light.record()})

    async def show_errand(self, kind: str) -> None:
        """Sends every page how an errand stands, and the files it may have written."""
        if self.job is None or kind not in self.job.errands.known:
            return
        await self._tell({"type": "errand", "kind": kind, **self.job.errands.known[kind].record})
        if self.job.errands.known[kind].code is not None:
            await self.show()

    async def _tell(self, message: Mapping[str, Any]) -> None:
        for line in tuple(self.pages):
            await line.tell(message)

    async def greet(self, line: PageLine, name: object) -> None:
        """Takes a page's name, and says which of its taps was answered last."""
        await self.lines.greet(line, name, self.turn, lambda page: self.taps.to(page))

    async def tapped(self, line: PageLine, number: int, command: Mapping[str, Any]) -> None:
        """Does one tap of a page, once however often it is sent, and shows what came of it."""
        async with self.turn:
            if line.page is None or not self.lines.has(line):
                return
            last = self.taps.to(line.page)
            if number > last.number:
                try:
                    await self._done(line.page, command)
                    last = Answer(number)
                except CanvasruleError as fault:
                    last = Answer(number, "\n".join(fault.messages))
                except OSError as fault:
                    where = f"{fault.filename}: " if fault.filename else ""
                    last = Answer(number, f"{where}{fault.strerror or fault}; nothing was changed")
                self.taps = self.taps.with_answer(line.page, last)
            await line.answer(last)
            if command.get("act") != "key":
                # Keys of the machine change nothing of the job but by ink, which is looked for.
                await self.show()

    async def _done(self, page: str, command: Mapping[str, Any]) -> None:
        done = command.get("do")
        if done == "job":
            await self._with_jobs(command)
        elif self.job is None:
            raise BadInputError("no job is open; open one, or make one")
        elif done == "machine":
            await self.job.with_machine(page, command)
            await self.show_machine()
        elif done == "light":
            await self.job.light.do(command.get("act"))
            await self.show_light()
        elif done == "errand":
            kind = str(command.get("kind"))
            await self.job.errand(kind, command)
            await self.show_errand(kind)
        else:
            await asyncio.to_thread(self.job.act, command)

    async def _with_jobs(self, command: Mapping[str, Any]) -> None:
        act, name = command.get("act"), str(command.get("name") or "")
        if self._at_work:
            raise RefusedError(
                "a machine or the projector is at work on this job; stop it, or wait for its end"
            )
        if act == "open":
            folder = folder_named(self.root, name)
        elif act == "new":
            folder = free_folder(self.root, name)
            await _started(folder, command)
        elif act == "copy" and self.job is not None:
            folder = free_folder(self.root, name)
            await asyncio.to_thread(make_like, folder, self.job.folder, title=folder.name)
        elif act == "rename" and self.job is not None:
            folder = free_folder(self.root, name)
            if self.job.errands.at_work:
                raise RefusedError(
                    f"{self.job.folder}: something is still being worked out there, which would "
                    "go on under the old name; wait until it is done, then rename it"
                )
            renamed(self.job.folder, folder)
        else:
            raise BadInputError("That is nothing this page says; reload it.")
        await self._open_instead(folder)


async def _started(folder: Path, command: Mapping[str, Any]) -> None:
    """Makes a job as the terminal does. Raises BadInputError with its words."""
    words = [sys.executable, "-m", "devices.commands", "start", str(folder)]
    for option in ("table", "length", "width", "plotter", "units"):
        if value := command.get(option):
            words += [f"--{option}={value}"]
    folder.parent.mkdir(parents=True, exist_ok=True)
    process = await asyncio.create_subprocess_exec(
        *words,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.DEVNULL,
        stderr=asyncio.subprocess.PIPE,
    )
    _, err = await process.communicate()
    if process.returncode or not (folder / JOB_FILE).is_file():
        raise BadInputError(err.decode("utf-8", "replace").replace("canvasrule: ", "").strip())


async def hold_page(this_run: BenchRun, socket: WebSocket) -> None:
    """Keeps one page shown until it goes."""
    line = PageLine(socket, this_run.quiet_after)

    async def heard(message: dict[str, Any] | None) -> tuple[int, Mapping[str, Any]] | None:
        if message is None:
            if line.quiet:
                await _gone(this_run, line)
        elif "hello" in message:
            await this_run.greet(line, message["hello"])
        elif "stop" in message:
            # A stop waits for nothing.
            await this_run.stop()
        elif (number := tap_number(message.get("tap"))) is not None and line.page is not None:
            return number, message
        return None

    async def act(number: int, command: Mapping[str, Any]) -> None:
        await this_run.tapped(line, number, command)

    this_run.pages.add(line)
    try:
        await line.tell({"type": "fields", "fields": [one.record for one in fields().values()]})
        async with this_run.turn:
            await this_run.show()
            await _told_what_runs(this_run, line)
        await held(line, heard, act)
    finally:
        this_run.pages.discard(line)
        if this_run.lines.drop(line):
            await _gone(this_run, line)
        with contextlib.suppress(CanvasruleError):
            async with this_run.turn:
                await this_run.show()


async def _told_what_runs(this_run: BenchRun, line: PageLine) -> None:
    if this_run.job is None:
        return
    await line.tell({"type": "machine", **this_run.job.machine.record()})
    await line.tell({"type": "light", **this_run.job.light.record()})
    for kind, one in this_run.job.errands.known.items():
        await line.tell({"type": "errand", "kind": kind, **one.record})


async def _gone(this_run: BenchRun, line: PageLine) -> None:
    if this_run.job is None:
        return
    machine = this_run.job.machine
    await (machine.left_by if line.left else machine.lost_by)(line.page)
    await this_run.show_machine()
