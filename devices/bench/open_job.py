"""One job that is open on the bench: its text, its last good marking, what runs on it.

It knows fields, verbs and the machine, and no page; who is shown it is `devices.bench.house`'s.
"""

from __future__ import annotations

import json
import re
import time
from typing import TYPE_CHECKING, Any

from devices.bench.drawn import drawn_lines
from devices.bench.errands import ASK_PORTS, PROOF_FILE, TRIAL_FILE, Errands
from devices.bench.fields import fields
from devices.bench.job_file import JobFile, stamp
from devices.bench.light import Light
from devices.bench.machine import Machine
from devices.bench.state import standing, values, written_files
from devices.bench.steps import Kept, kept_of, steps
from devices.bench.typed import keep_waiting, waiting, write_measured
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.job.folder import RECORD_FILE
from marking.job.written import with_changes
from marking.output.layout_json import layout_record

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping, Sequence
    from pathlib import Path

    from devices.bench.fields import Field
    from devices.bench.state import Standing
    from marking.job.written import Written

MEASURED: Mapping[str, tuple[str, str]] = {
    "proved": ("id", PROOF_FILE),
    "squared": ("run", TRIAL_FILE),
}
"""Errands that read lengths which were typed: the column of their names, and the file."""
TICKED: Mapping[str, str] = {"ruled": "--done", "unruled": "--undo"}
"""Errands that name lines ruled by hand, and the option that takes them."""
_LINES = re.compile(r"[0-9a-z][0-9a-z, -]{0,300}")
_WORK_LOOKED_AT = 4.0
"""Seconds between two looks at what a machine at work has kept."""
_LONGEST_PORT = _LONGEST_REASON = 200
_SWITCHES = ("moved", "verniers", "pointer")
_REASONS = {"anyway": "--ink-anyway", "untried": "--ink-untried"}
_SURVEY = "table.survey."
_NOTHING = "That is nothing this page says; reload it."


class OpenJob:
    """A job's folder as the page works on it. Raises BadInputError where there is no job."""

    def __init__(
        self,
        folder: Path,
        machine_changed: Callable[[], Awaitable[None]],
        errand_changed: Callable[[str], Awaitable[None]],
        light_changed: Callable[[], Awaitable[None]],
    ) -> None:
        self.file = JobFile(folder)
        self.machine = Machine(folder, machine_changed)
        self.errands = Errands(folder, errand_changed)
        self.light = Light(folder, light_changed)
        self.waiting = waiting(folder)
        self._fields = {one.name: one for of_step in fields().values() for one in of_step}
        self.good: Standing | None = None
        self.drawn = 0
        self._looks_again = 0.0
        self.stand()

    @property
    def folder(self) -> Path:
        """Where it lies."""
        return self.file.folder

    def stand(self) -> None:
        """Works out anew how the job stands. Raises BadInputError."""
        # What another program writes from here on is heard at the next look.
        as_text = stamp(self.file.path)
        self.file.read()
        self.now = standing(self.folder, self.file.text)
        self._seen = (as_text, *self._stamps()[1:])
        if self.now.layout is not None:
            if self.good is None or self.good.written != self.now.written:
                self.drawn += 1
            self.good = self.now

    def changed_elsewhere(self) -> bool:
        """Whether another program has changed the folder; takes it in. Raises BadInputError.

        What a machine at work keeps of each stroke is looked at now and then: the computer has the
        pen to mind.
        """
        stamps, now = self._stamps(), time.monotonic()
        if stamps == self._seen:
            return False
        by_the_machine = self.machine.is_running and stamps[0] == self._seen[0]
        if by_the_machine and now < self._looks_again:
            return False
        self._looks_again = now + _WORK_LOOKED_AT
        self._seen = stamps
        self.stand()
        return True

    def _stamps(self) -> tuple[object, ...]:
        record, log = self.folder / RECORD_FILE, self.folder / f"{RECORD_FILE}-wal"
        return tuple(map(stamp, (self.file.path, record, log)))

    def told(self) -> dict[str, Any]:
        """What every page is shown of it."""
        good = self.good
        files = written_files(self.folder)
        return {
            "type": "job",
            "folder": str(self.folder.resolve()),
            "values": values(self.now, self.waiting),
            "measured": self.waiting,
            "files": files,
            "fault": self.now.faults.get("", ""),
            "undo": self.file.can_undo,
            "redo": self.file.can_redo,
            "drawn": self.drawn,
            "warnings": list(good.layout.warnings) if good and good.layout else [],
            "units": good.job.units if good and good.job else "in",
            "title": good.job.title if good and good.job else self.folder.name,
            "steps": steps(self.now, self._kept(), self.waiting, files),
        }

    def _kept(self) -> Kept:
        """Nothing where the record cannot be read: the layout's own fault says so."""
        try:
            return kept_of(self.folder, self.now.job, self.now.layout)
        except CanvasruleError:
            return Kept()

    def drawing(self) -> str:
        """`layout --json` of the last good marking; an empty object where there was none."""
        good = self.good
        return json.dumps(layout_record(good.layout)) if good and good.layout else "{}"

    def inked(self) -> str:
        """What is certainly drawn on the cover, or was in the rehearsal: polylines, mm, table."""
        good = self.good
        if good is None or good.job is None or good.layout is None:
            return "[]"
        return json.dumps(drawn_lines(self.folder, good.job, good.layout, self.machine))

    def tried(self, name: str, value: Written) -> str:
        """What the job would be with one field changed: faults by field, and its layout.

        Raises BadInputError for what is no field.
        """
        proposed = standing(self.folder, self.file.proposed(self._field(name).keys, value))
        record: dict[str, Any] = {"faults": dict(proposed.faults)}
        if proposed.layout is not None:
            record["warnings"] = list(proposed.layout.warnings)
            record["layout"] = layout_record(proposed.layout)
        return json.dumps(record)

    def act(self, command: Mapping[str, Any]) -> None:
        """Does what a page asks of the text. Raises CanvasruleError where it cannot be done."""
        done = command.get("do")
        if done == "set":
            self._set(str(command.get("name")), _written(command.get("value")))
        elif done == "undo":
            self.file.undo()
        elif done == "redo":
            self.file.redo()
        else:
            raise BadInputError(_NOTHING)
        self.stand()

    def _set(self, name: str, value: Written) -> None:
        if name.partition(".")[0] in MEASURED:
            self._wait(name, value)
            return
        text = self.file.proposed(self._field(name).keys, value)
        # Measurements wait for one another; no other field waits for them.
        of_survey = name.startswith(_SURVEY)
        waits = [one for one in self.waiting if of_survey and one in self._fields and one != name]
        changes: dict[Sequence[str], Written] = {
            self._fields[one].keys: self.waiting[one] for one in waits
        }
        text = with_changes(text, str(self.file.path), changes) if waits else text
        proposed = standing(self.folder, text)
        if proposed.job is None and proposed.only_missing and of_survey:
            self._wait(name, value)
            return
        if proposed.job is None:
            raise BadInputError(*self._by_label(proposed.faults))
        if proposed.layout is None and kept_of(self.folder).begun:
            # What is inked stays the measure: a change that would move a line is not kept.
            raise RefusedError(*self._by_label(proposed.faults))
        self.file.write(text)
        for one in (*waits, name):
            self._wait(one, None)

    def _wait(self, name: str, value: Written) -> None:
        kept = {one: text for one, text in self.waiting.items() if one != name}
        if isinstance(value, str):
            kept[name] = value
        if kept != self.waiting:
            keep_waiting(self.folder, kept)
            self.waiting = kept

    def _field(self, name: str) -> Field:
        found = self._fields.get(name)
        if found is None:
            raise BadInputError(_NOTHING)
        return found

    def _by_label(self, faults: Mapping[str, str]) -> list[str]:
        """Faults in the words of the page, each with the label of the field that it is of."""
        known = self._fields
        return [f"{known[at].label}: {said}" if at else said for at, said in faults.items()]

    async def errand(self, kind: str, command: Mapping[str, Any]) -> None:
        """Begins an errand; the lengths typed for it are written first. Raises CanvasruleError.

        `command` may name `lines` as ruled, by numbers of cross lines and ids, as `rule` takes
        them; or a `port` to ask at.
        """
        if kind in MEASURED:
            column, file = MEASURED[kind]
            typed = {
                name.partition(".")[2]: text
                for name, text in self.waiting.items()
                if name.startswith(f"{kind}.")
            }
            write_measured(self.folder / file, column, typed)
        said: tuple[str, ...] = ()
        if kind == ASK_PORTS:
            if self.machine.is_running:
                raise RefusedError("a machine is at work; ask what answers once it is done")
            said = (f"--port={_port(command)}",) if command.get("port") else ()
        if kind in TICKED and command.get("lines"):
            text = str(command["lines"])
            if _LINES.fullmatch(text) is None:
                raise BadInputError(
                    f"{text[:40]!r}: no lines; write numbers and ids, as in 0-11,24,bias-3"
                )
            said = (f"{TICKED[kind]}={text}",)
        await self.errands.start(kind, self.drawn, said)

    async def with_machine(self, page: str, command: Mapping[str, Any]) -> None:
        """Does what a page asks of the machine. Raises CanvasruleError."""
        act, most = command.get("act"), _count(command.get("most"))
        if act == "rehearse":
            await self.machine.start(page, ["--simulate", *most], rehearsal=True)
        elif act == "ink":
            options = [f"--port={_port(command)}", *most, *_wishes(command)]
            await self.errands.end(ASK_PORTS)
            await self.errands.changed(ASK_PORTS)
            await self.machine.start(page, options, rehearsal=False)
        elif act == "take":
            self.machine.take(page)
        elif act == "typed":
            await self.machine.type(page, str(command.get("text") or ""))
        else:
            await self.machine.press(page, str(command.get("key")))

    async def close(self) -> None:
        """Ends what runs on it."""
        await self.machine.close()
        await self.light.close()
        await self.errands.close()


def _port(command: Mapping[str, Any]) -> str:
    """The port that a page names. Raises BadInputError where it names none."""
    port = str(command.get("port") or "").strip()
    if not port or len(port) > _LONGEST_PORT or not port.isprintable():
        raise BadInputError(
            "no port is chosen: choose the one that the machine is on, or type its name"
        )
    return port


def _wishes(command: Mapping[str, Any]) -> list[str]:
    """What else a page wishes for one run, as `drive` takes it. Raises BadInputError."""
    wished = [f"--{name}" for name in _SWITCHES if command.get(name) is True]
    for key, option in _REASONS.items():
        reason = str(command.get(key) or "").strip()
        if len(reason) > _LONGEST_REASON or not reason.isprintable():
            raise BadInputError(f"{reason[:40]!r}: give a reason in one line of words")
        wished += [f"{option}={reason}"] if reason else []
    return wished


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
    raise BadInputError(_NOTHING)
