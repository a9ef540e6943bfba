"""One run of the bench page: the job's text, who looks at it, and what each is told.

It knows the job and to whom it is shown; what is said over one connection is
`devices.serving.line`'s, who may come in `devices.bench.server`'s.
"""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from starlette.websockets import WebSocketDisconnect

from devices.bench.drawn import drawn_lines
from devices.bench.errands import PROOF_FILE, TRIAL_FILE, Errands
from devices.bench.fields import fields
from devices.bench.job_file import JobFile, changed, stamp
from devices.bench.machine import Machine
from devices.bench.state import record_of, standing, steps, values, written_files
from devices.bench.typed import keep_waiting, waiting, write_measured
from devices.serving.line import SUPERSEDED, PageLine
from devices.serving.taps import Answer, Taps, page_name, tap_number
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.job.folder import RECORD_FILE
from marking.output.layout_json import layout_record

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.websockets import WebSocket

    from devices.bench.fields import Field
    from devices.bench.job_file import Written
    from devices.bench.state import Standing

MEASURED = ("proved.", "squared.")
"""What begins the names of lengths that are typed for a proof, or a trial on scrap."""
_SURVEY = "table.survey."
_LOOK_SECONDS = 0.3
"""How often it is looked whether another program has changed the folder."""


@dataclass
class BenchHouse:
    """One run: a job, its last good marking, and the pages that are open on it."""

    file: JobFile
    key: str
    """Opens the page on this computer."""
    now: Standing = field(init=False)
    good: Standing | None = None
    """The last standing that could be laid out; its picture stays while a field is wrong."""
    drawn: int = 0
    """Counts the layouts, so that a page asks for one once."""
    lines: dict[str, PageLine] = field(default_factory=dict)
    pages: set[PageLine] = field(default_factory=set)
    taps: Taps = field(default_factory=Taps)
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)
    machine: Machine = field(init=False)
    errands: Errands = field(init=False)
    waiting: dict[str, str] = field(init=False)
    """What is typed and not whole yet, by field."""
    _seen: tuple[object, ...] = ()

    def __post_init__(self) -> None:
        self.machine = Machine(self.file.folder, self.show_machine)
        self.errands = Errands(self.file.folder, self.show_errand)
        self.waiting = waiting(self.file.folder)
        self._fields = {one.name: one for of_step in fields().values() for one in of_step}
        self._stand()

    def told(self) -> dict[str, Any]:
        """What every page is shown."""
        good = self.good
        return {
            "type": "job",
            "folder": str(self.file.folder.resolve()),
            "values": values(self.now, self.waiting),
            "measured": self.waiting,
            "files": written_files(self.file.folder),
            "fault": self.now.faults.get("", ""),
            "undo": self.file.can_undo,
            "redo": self.file.can_redo,
            "drawn": self.drawn,
            "warnings": list(good.layout.warnings) if good and good.layout else [],
            "units": good.job.units if good and good.job else "in",
            "title": good.job.title if good and good.job else self.file.folder.name,
            "steps": steps(self.now, record_of(self.file.folder)),
            "pages": len(self.pages),
        }

    def drawing(self) -> str:
        """`layout --json` of the last good marking; an empty object where there was none."""
        good = self.good
        return json.dumps(layout_record(good.layout)) if good and good.layout else "{}"

    def inked(self) -> str:
        """What is certainly drawn on the cover, or was in the rehearsal: polylines, mm, table."""
        good = self.good
        if good is None or good.job is None or good.layout is None:
            return "[]"
        return json.dumps(drawn_lines(self.file.folder, good.job, good.layout, self.machine))

    async def close(self) -> None:
        """Ends what runs for the page."""
        await self.machine.close()
        await self.errands.close()

    def tried(self, name: str, value: Written) -> str:
        """What the job would be with one field changed: faults by field, and its layout.

        Raises BadInputError for what is no field.
        """
        proposed = standing(self.file.folder, self.file.proposed(self._keys(name), value))
        record: dict[str, Any] = {"faults": dict(proposed.faults)}
        if proposed.layout is not None:
            record["warnings"] = list(proposed.layout.warnings)
            record["layout"] = layout_record(proposed.layout)
        return json.dumps(record)

    def act(self, command: Mapping[str, Any]) -> None:
        """Does what a page asks. Raises CanvasruleError where it cannot be done."""
        done = command.get("do")
        if done == "set":
            self._set(str(command.get("name")), _written(command.get("value")))
        elif done == "undo":
            self.file.undo()
        elif done == "redo":
            self.file.redo()
        else:
            raise BadInputError("That is nothing this page says; reload it.")
        self._stand()

    async def _errand(self, kind: str) -> None:
        for asked, heading, path in (
            ("proved", "id", PROOF_FILE),
            ("squared", "run", TRIAL_FILE),
        ):
            if kind == asked:
                typed = {
                    name.partition(".")[2]: text
                    for name, text in self.waiting.items()
                    if name.startswith(f"{asked}.")
                }
                write_measured(self.file.folder / path, heading, typed)
        await self.errands.start(kind, self.drawn)
        await self.show_errand(kind)

    async def _with_machine(self, page: str, command: Mapping[str, Any]) -> None:
        act, most = command.get("act"), _count(command.get("most"))
        if act == "rehearse":
            await self.machine.start(page, ["--simulate", *most], rehearsal=True)
        elif act == "ink":
            port = str(command.get("port") or "")
            moved = ["--moved"] if command.get("moved") is True else []
            await self.machine.start(page, ["--port", port, *most, *moved], rehearsal=False)
        elif act == "take":
            self.machine.take(page)
        else:
            await self.machine.press(page, str(command.get("key")))
        await self.show_machine()

    def _set(self, name: str, value: Written) -> None:
        if name.startswith(MEASURED):
            self._wait(name, value)
            return
        text = self.file.proposed(self._keys(name), value)
        waits = [one for one in self.waiting if one in self._fields and one != name]
        for one in waits:
            text = changed(text, self._fields[one].keys, self.waiting[one])
        proposed = standing(self.file.folder, text)
        if proposed.job is None and proposed.only_missing and name.startswith(_SURVEY):
            self._wait(name, value)
            return
        if proposed.job is None:
            raise BadInputError(*proposed.faults.values())
        if proposed.layout is None and record_of(self.file.folder)["begun"]:
            # What is inked stays the measure: a change that would move a line is not kept.
            raise RefusedError(*proposed.faults.values())
        self.file.write(text)
        for one in (*waits, name):
            self._wait(one, None)

    def _wait(self, name: str, value: Written) -> None:
        kept = {one: text for one, text in self.waiting.items() if one != name}
        if isinstance(value, str):
            kept[name] = value
        if kept != self.waiting:
            keep_waiting(self.file.folder, kept)
            self.waiting = kept

    def _keys(self, name: str) -> tuple[str, ...]:
        found: Field | None = self._fields.get(name)
        if found is None:
            raise BadInputError("That is nothing this page says; reload it.")
        return found.keys

    def _stand(self) -> None:
        self.now = standing(self.file.folder, self.file.text)
        self._seen = self._stamps()
        if self.now.layout is not None:
            self.good, self.drawn = self.now, self.drawn + 1

    def _stamps(self) -> tuple[object, ...]:
        folder = self.file.folder
        record, log = folder / RECORD_FILE, folder / f"{RECORD_FILE}-wal"
        return tuple(map(stamp, (self.file.path, record, log)))

    async def watch(self) -> None:
        """Shows every page what an editor or a verb changed in the folder; never ends."""
        while True:
            await asyncio.sleep(_LOOK_SECONDS)
            async with self.turn:
                if self._stamps() == self._seen:
                    continue
                try:
                    self.file.read()
                    self._stand()
                except CanvasruleError as fault:
                    self._seen = self._stamps()
                    await self.say(" ".join(fault.messages))
                    continue
                await self.show()

    async def show(self) -> None:
        """Sends every page the job as it stands."""
        told = self.told()
        for line in tuple(self.pages):
            await line.tell(told)

    async def show_machine(self) -> None:
        """Sends every page what the machine is at."""
        for line in tuple(self.pages):
            await line.tell({"type": "machine", **self.machine.record()})

    async def show_errand(self, kind: str) -> None:
        """Sends every page how an errand stands, and the files it may have written."""
        told = {"type": "errand", "kind": kind, **self.errands.known[kind].record}
        for line in tuple(self.pages):
            await line.tell(told)
        if self.errands.known[kind].code is not None:
            await self.show()

    async def say(self, text: str) -> None:
        """Tells every page something."""
        for line in tuple(self.pages):
            await line.tell({"type": "refused", "say": text})

    async def greet(self, line: PageLine, name: object) -> None:
        """Takes a page's name, ends its older connection, says which tap was answered last."""
        page = page_name(name)
        if page is None:
            return
        async with self.turn:
            older = self.lines.get(page)
            line.page, self.lines[page] = page, line
            last = self.taps.to(page)
        await line.tell({"type": "greeted", "tap": last.number, "say": last.refused})
        if older is not None and older is not line:
            await older.end(SUPERSEDED)

    async def tapped(self, line: PageLine, number: int, command: Mapping[str, Any]) -> None:
        """Does one tap of a page, once however often it is sent, and shows what came of it."""
        async with self.turn:
            if line.page is None or self.lines.get(line.page) is not line:
                return
            last = self.taps.to(line.page)
            if number > last.number:
                try:
                    if command.get("do") == "machine":
                        await self._with_machine(line.page, command)
                    elif command.get("do") == "errand":
                        await self._errand(str(command.get("kind")))
                    else:
                        await asyncio.to_thread(self.act, command)
                    last = Answer(number)
                except CanvasruleError as fault:
                    last = Answer(number, " ".join(fault.messages))
                self.taps = self.taps.with_answer(line.page, last)
            await line.answer(last)
            await self.show()


def _count(value: object) -> list[str]:
    return ["--most", str(value)] if isinstance(value, int) and 0 < value < 10_000 else []


def _written(value: object) -> Written:
    """A value from a page. Raises BadInputError for what job.toml cannot hold."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return value
    if isinstance(value, list) and all(type(one) is int for one in value):
        return value
    raise BadInputError("That is nothing this page says; reload it.")


async def hold_page(house: BenchHouse, socket: WebSocket) -> None:
    """Keeps one page shown until it goes."""
    line = PageLine(socket)
    house.pages.add(line)
    try:
        await line.tell({"type": "fields", "fields": _told_fields()})
        async with house.turn:
            await house.show()
        await line.tell({"type": "machine", **house.machine.record()})
        for kind, one in house.errands.known.items():
            await line.tell({"type": "errand", "kind": kind, **one.record})
        while True:
            message = await line.heard()
            if message is None:
                if line.quiet:
                    await house.machine.left_by(line.page)
                continue
            if "hello" in message:
                await house.greet(line, message["hello"])
            elif (number := tap_number(message.get("tap"))) is not None and line.page is not None:
                await house.tapped(line, number, message)
    except WebSocketDisconnect:
        pass
    finally:
        house.pages.discard(line)
        if house.lines.get(line.page or "") is line:
            await house.machine.left_by(line.page)
        if line.page is not None and house.lines.get(line.page) is line:
            del house.lines[line.page]
        async with house.turn:
            await house.show()


def _told_fields() -> dict[str, Any]:
    return {step: [one.record for one in of_step] for step, of_step in fields().items()}
