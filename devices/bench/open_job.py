"""One job that is open on the bench: its text, its last good marking, what runs on it.

It knows fields, verbs and the machine, and no page; who is shown it is `devices.bench.bench_run`'s.
"""

from __future__ import annotations

import json
import time
from functools import partial
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from devices.begun import layout_of, plan_of
from devices.bench.drawn import drawn_lines
from devices.bench.errands import ASK_PORTS, REST_ON_NO_WAY, Errands
from devices.bench.fields.field import fields
from devices.bench.fields.sketch import sketch
from devices.bench.fields.words import by_label, in_page_words
from devices.bench.form_options import (
    READINGS_FILE,
    count_of,
    options_of,
    port_of,
    scrap_wishes,
    wishes,
    write_readings,
)
from devices.bench.job_file import JobFile, stamp
from devices.bench.light import Light
from devices.bench.machine import Machine
from devices.bench.proposal import SURVEY, faults_of_waiting, proposal
from devices.bench.state import Standing, standing, values, written_at, written_files
from devices.bench.steps import Kept, kept_of, steps
from devices.bench.typed import (
    MEASURED,
    by_length,
    keep_waiting,
    needed_for,
    typed_for,
    waiting,
    write_measured,
)
from devices.history import has_record, kept_correction
from devices.job import Job
from devices.ways.chosen import zone_chosen
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.job.folder import RECORD_FILE, load_job
from marking.output.layout_json import layout_record

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterable, Mapping
    from pathlib import Path

    from devices.bench.fields.field import Field
    from devices.ways.chosen import MachineKind
    from marking.job.written import Written
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

_LOOK_SECONDS = 3.0
"""Between two looks at a record that a machine at work writes."""
_SOON_SECONDS = 300.0
"""By when it is known that a night has gone by, to a page that is shown anything."""
_NONE_TYPED = "no length is typed yet: type what the tape shows, then ask again"
_LACKS = "not typed yet"
_NOT_LAID_OUT = "nothing is laid out yet; mend what is said to be wrong"
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
        self.good: Standing | None = None
        self.now = Standing(folder, {})
        self.drawn = 0
        """How often what is laid out has changed."""
        self.reckoned = 0
        """How often anything has that ways are reckoned from: all but which of them is chosen."""
        self._known: tuple[Standing, object, Kept] | None = None
        """What the record showed last, of which job and in which state of it."""
        self._looked_at = 0.0
        self._of_ways: dict[str, tuple[Standing, str]] = {}
        """By way: the job as it stood, and its sections."""
        self.stand()

    @property
    def folder(self) -> Path:
        """Where it lies."""
        return self.file.folder

    def stand(self) -> None:
        """Works out anew how the job stands; what was shown last stays where it cannot be read."""
        # What another program writes from here on is heard at the next look.
        as_text = stamp(self.file.path)
        try:
            self.file.read()
            self.now = standing(self.folder, self.file.text)
        except BadInputError as fault:
            said = "\n".join(fault.messages) if self.folder.is_dir() else self._gone
            self.now = replace(self.now, job=None, layout=None, faults={"": said})
        self.unfit = faults_of_waiting(self.file, self.now, self.waiting)
        self._seen = (as_text, *self._stamps()[1:])
        if self.now.layout is not None:
            before = None if self.good is None else self.good.written
            self.drawn += before != self.now.written
            self.reckoned += before is None or _but_way(before) != _but_way(self.now.written)
            self.good = self.now

    @property
    def _gone(self) -> str:
        return (
            f"{self.folder}: is there no more; it was moved, renamed or taken away. Put it back, "
            "or open it under Jobs by its new name. What is shown here is what was read last"
        )

    def changed_elsewhere(self) -> bool:
        """Whether another program has changed the folder; takes it in.

        A record that grows by every stroke of a machine at work is looked at now and then only.
        """
        stamps, now = self._stamps(), time.monotonic()
        grows = self.machine.is_running and stamps[0] == self._seen[0]
        if stamps == self._seen or (grows and now - self._looked_at < _LOOK_SECONDS):
            return False
        self._seen, self._looked_at = stamps, now
        self.stand()
        self._kept()
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
            "values": values(self.now, self.waiting, self.unfit),
            "measured": self.waiting,
            **self._said_of_measured(),
            "morning": {"waits": self._kept().morning, "meant": dict(self._kept().meant)},
            "files": files,
            "fault": self.now.faults.get("", "") or self.unfit.get("", ""),
            "undo": self.file.can_undo,
            "redo": self.file.can_redo,
            "drawn": self.drawn,
            "corners": self._sketch(self.waiting) if self._survey_waits() else None,
            "reckoned": self.reckoned,
            "record": str(self._stamps()[1:]),
            "warnings": _notes(good.layout) if good and good.layout else [],
            "units": good.job.units if good and good.job else "in",
            "plotter": good.job.plotter.name if good and good.job else "",
            "title": good.job.title if good and good.job else self.folder.name,
            "steps": steps(self.now, self._kept(), self.waiting, files),
        }

    def _said_of_measured(self) -> dict[str, Any]:
        """What verbs said of lengths typed for them, and what they would have a person say."""
        known = {kind: one for kind, one in self.errands.known.items() if kind in MEASURED}
        return {
            "unfit": {
                f"{kind}.{name}": said
                for kind, one in known.items()
                for name, said in one.faults.items()
            },
            # What a proof would have measured again may stand.
            "asks": {
                kind: [*one.asks, *(one.result or {}).get("again", ())]
                for kind, one in known.items()
            },
        }

    def _survey_waits(self) -> bool:
        return any(name.startswith(SURVEY) for name in self.waiting)

    def _kept(self) -> Kept:
        """Nothing where the record cannot be read: the layout's own fault says so."""
        known, here = self._known, self.now
        record = (*self._stamps()[1:], int(time.time() / _SOON_SECONDS))
        if known is not None and known[0] is here and known[1] == record:
            return known[2]
        try:
            found = kept_of(self.folder, here.job, here.layout)
        except CanvasruleError:
            found = Kept()
        self._known = here, record, found
        return found

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

    def sections(self) -> str:
        """The sections of the way chosen, or of the plotter: each with its box, mm, table.

        Raises CanvasruleError where there is no marking, or it cannot be divided.
        """
        good = self.good
        if good is None or good.job is None or good.layout is None:
            raise BadInputError(_NOT_LAID_OUT)
        zone = zone_chosen(self.folder, good.job)
        correction = kept_correction(self.folder, good.job)
        plan = plan_of(self.folder, zone, good.job, good.layout, correction)
        return json.dumps(_cores(plan))

    def sections_of_way(self, name: str) -> str:
        """The sections that a way is reckoned by, though it is not chosen: as `sections`."""
        good = self.good
        if good is None or good.layout is None:
            raise BadInputError(_NOT_LAID_OUT)
        known = self._of_ways.get(name)
        if known is None or known[0] is not good:
            self._of_ways[name] = known = good, json.dumps(_of_way(self.folder, name))
        return known[1]

    def tried(self, name: str, value: Written) -> str:
        """What the job would be with one field changed: faults by field, and its layout.

        Raises BadInputError for what is no field.
        """
        made = proposal(self.file, self.now, self.waiting, _field(name), _written(value))
        record: dict[str, Any] = {"faults": dict(made.faults), "fate": made.fate}
        if made.fate == "refused":
            record["refused"] = "\n".join(by_label(made.faults))
        if made.would_be.layout is None and name.startswith(SURVEY):
            record["corners"] = self._sketch({**self.waiting, name: str(value)})
        if made.would_be.layout is not None:
            record["warnings"] = _notes(made.would_be.layout)
            record["layout"] = layout_record(made.would_be.layout)
        return json.dumps(record)

    def _sketch(self, typed: Mapping[str, str]) -> list[list[float]] | None:
        """The top's corners by what is typed so far, and by what job.toml has beside it."""
        if self.good is None or self.good.job is None:
            return None
        table = self.good.job.table
        survey = dict(self.good.written.get("table", {}).get("survey", {}))
        survey |= {n.removeprefix(SURVEY): v for n, v in typed.items() if n.startswith(SURVEY)}
        return sketch(
            {n: v for n, v in survey.items() if isinstance(v, str)}, table.length, table.width
        )

    def act(self, command: Mapping[str, Any]) -> None:
        """Does what a page asks of the text. Raises CanvasruleError where it cannot be done."""
        self._check_there()
        done = command.get("do")
        if done == "set":
            self._set(str(command.get("name")), _written(command.get("value")))
        elif done in ("undo", "redo"):
            self._step(back=done == "undo")
        elif done == "unmeasure":
            self._unmeasure()
        else:
            raise BadInputError(_NOTHING)
        self.stand()

    def _check_there(self) -> None:
        """Raises BadInputError where nothing may be written, lest a folder is made anew."""
        if not self.folder.is_dir():
            raise BadInputError(self._gone)

    def _step(self, *, back: bool) -> None:
        """Takes a change back or makes it again. Raises RefusedError where ink is against it."""
        text = self.file.one_step(back=back)
        if text is not None and has_record(self.folder):
            would_be = standing(self.folder, text)
            if would_be.layout is None:
                raise RefusedError(*by_label(would_be.faults))
        (self.file.undo if back else self.file.redo)()

    def _set(self, name: str, value: Written) -> None:
        kind, _, of = name.partition(".")
        if kind in MEASURED:
            self._wait({name: value})
            self.errands.typed_anew(kind, of)
            return
        one = _field(name)
        if value is None and name in self.waiting and written_at(self.now.written, one) is None:
            self._wait({name: None})
            return
        made = proposal(self.file, self.now, self.waiting, one, value)
        if made.fate == "refused":
            raise BadInputError(*by_label(made.would_be.faults))
        if made.fate == "waits":
            self._wait({name: value})
            return
        self.file.write(made.text)
        self._wait({**dict.fromkeys((*made.with_it, name)), **made.taken_out})

    def _unmeasure(self) -> None:
        """Takes the whole survey out, typed and written. Raises RefusedError where ink forbids."""
        text = self.file.proposed({("table", "survey"): None})
        would_be = standing(self.folder, text)
        if would_be.layout is None and has_record(self.folder):
            raise RefusedError(*by_label(would_be.faults))
        self.file.write(text)
        self._wait(dict.fromkeys(name for name in self.waiting if name.startswith(SURVEY)))

    def _wait(self, values: Mapping[str, Written]) -> None:
        """Keeps what waits from now on, and no longer what is None."""
        kept = {one: text for one, text in self.waiting.items() if one not in values}
        kept |= {one: value for one, value in values.items() if isinstance(value, str)}
        if kept != self.waiting:
            keep_waiting(self.folder, kept)
            self.waiting = kept

    async def errand(self, kind: str, command: Mapping[str, Any]) -> None:
        """Begins an errand; the lengths typed for it are written first. Raises CanvasruleError.

        `command` may give `options`, as the errand's form has them.
        """
        self._check_there()
        of = self.reckoned if kind in REST_ON_NO_WAY else self.drawn
        placed = None
        if kind in MEASURED:
            one, typed = MEASURED[kind], typed_for(kind, self.waiting)
            if not typed:
                await self.errands.refuse(
                    kind, of, _NONE_TYPED, dict.fromkeys(self._to_measure(kind), _LACKS)
                )
                return
            write_measured(self.folder / one.file, one.column, typed)
            placed = partial(by_length, tuple(typed), needed_for(kind))
        if kind == ASK_PORTS and self.machine.is_running:
            raise RefusedError("a machine is at work; ask what answers once it is done")
        given = command.get("options")
        said = options_of(kind, given)
        if kind == "placed" and isinstance(given, dict):
            section, readings = str(given.get("section") or ""), str(given.get("readings") or "")
            write_readings(self.folder / READINGS_FILE, section.strip(), readings)
        await self.errands.start(kind, of, said, placed)

    def _to_measure(self, kind: str) -> Iterable[str]:
        """The names of lengths that are asked for where an errand has none."""
        asked = self.errands.known.get("to-prove")
        listed = asked.result["distances"] if asked is not None and asked.result else ()
        return needed_for(kind) or [one["id"] for one in listed]

    async def with_machine(self, page: str, command: Mapping[str, Any]) -> None:
        """Does what a page asks of the machine. Raises CanvasruleError."""
        act, most = command.get("act"), count_of(command.get("most"))
        if act == "rehearse":
            await self.machine.start(page, most)
        elif act in ("ink", "square"):
            scrap = act == "square"
            port = port_of(command)
            options = scrap_wishes(command) if scrap else [*most, *wishes(command)]
            await self.errands.end(ASK_PORTS)
            await self.errands.changed(ASK_PORTS)
            await self.machine.start(page, options, port, scrap=scrap)
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


def _of_way(folder: Path, name: str) -> dict[str, Any]:
    """The sections of a way by its id, reckoned as `ways` does. Raises CanvasruleError."""
    from devices.ways.reckoned import plan_of_way

    # As there, whatever way is chosen.
    job = load_job(folder, Job)
    layout = layout_of(folder, job)

    def own_plan(kind: MachineKind, asked: Job) -> Plan:
        correction = kept_correction(folder, asked) if kind == "plotter" else None
        return plan_of(
            folder, "plotter" if kind == "plotter" else "beam", asked, layout, correction
        )

    return _cores(plan_of_way(folder, job, layout, own_plan, name))


def _cores(plan: Plan) -> dict[str, Any]:
    """Each section with its box, and the lines that are ruled by hand between them; mm, table."""
    return {
        "sections": [{"id": one.id, "core": list(one.core)} for one in plan.sections],
        "ruled": [one.points.tolist() for one in plan.ruled],
    }


def _but_way(written: Mapping[str, Any]) -> dict[str, Any]:
    """What stands in job.toml, but for the way chosen."""
    ways = written.get("ways", {})
    return {**written, "ways": {key: ways[key] for key in ways if key != "way"}}


def _field(name: str) -> Field:
    """Raises BadInputError for what is no field."""
    found = fields().get(name)
    if found is None:
        raise BadInputError(_NOTHING)
    return found


def _notes(layout: Layout) -> list[str]:
    """What a person is told of a layout, in the words of the page."""
    return [in_page_words(one) for one in layout.warnings]


def _written(value: object) -> Written:
    """A value from a page. Raises BadInputError for what job.toml cannot hold."""
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, list) and all(isinstance(one, dict) for one in value):
        return [{str(key): str(said) for key, said in one.items()} for one in value]
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return value
    if isinstance(value, list) and all(type(one) is int for one in value):
        return value
    raise BadInputError(_NOTHING)
