"""Where a job stands: the value in each field, what is wrong with it, and what is written.

It asks the functions that the verbs ask, and keeps nothing. Whatever cannot be read is said in
words beside the field that it concerns.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from devices.begun import layout_of, layout_warned_of
from devices.bench.fields.field import fields
from devices.bench.fields.typed_so import as_typed
from devices.bench.fields.words import by_field
from devices.job import Job
from devices.ways.chosen import followed, zone_chosen
from marking.errors import BadInputError, CanvasruleError
from marking.input.toml import toml_tables
from marking.job.folder import JOB_FILE, check_job
from marking.job.keys import GIVEN_TOGETHER

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from devices.bench.fields.field import Field
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

LOOKED_AT = {".pdf": "application/pdf", ".svg": "image/svg+xml", ".png": "image/png"}


class Standing(Struct, frozen=True):
    """A job as its text has it; `job` and `layout` are None where they cannot be had."""

    folder: Path
    written: Mapping[str, Any]
    job: Job | None = None
    layout: Layout | None = None
    faults: Mapping[str, str] = field(default_factory=dict)
    """What is wrong, by field, a line each; under "" what concerns none of them."""
    only_missing: bool = False
    """Whether nothing is wrong but that something is not there yet."""

    @property
    def units(self) -> Units:
        """The unit that people see; that of the file where the rest of it is wrong."""
        if self.job is not None:
            return self.job.units
        return "mm" if self.written.get("units") == "mm" else "in"


def standing(folder: Path, text: str) -> Standing:
    """How the job in `folder` stands with `text` for its job.toml; nothing is written."""
    label = str(folder / JOB_FILE)
    try:
        written = toml_tables(text, label)
    except BadInputError as fault:
        return Standing(folder, {}, faults={"": "\n".join(fault.messages)})
    try:
        job = followed(folder, check_job(written, folder, Job), written)
    except BadInputError as fault:
        missing = all(": missing; " in one or GIVEN_TOGETHER in one for one in fault.messages)
        faults = by_field(fault.messages, label)
        return Standing(folder, written, faults=faults, only_missing=missing)
    try:
        layout = layout_warned_of(layout_of(folder, job), job, zone_chosen(folder, job, written))
        return Standing(folder, written, job, layout)
    except CanvasruleError as fault:
        return Standing(folder, written, job, faults=by_field(fault.messages, label))


def values(here: Standing, waiting: Mapping[str, str], unfit: Mapping[str, str]) -> dict[str, Any]:
    """What stands in each field: as it was written, and what holds where nothing was.

    What is typed and `waiting` for the rest of it stands there too, with what makes it `unfit`.
    """
    units = here.units
    found = {}
    for one in fields().values():
        at = written_at(here.written, one)
        at = waiting.get(one.name) if at is None else at
        found[one.name] = {
            "written": at,
            "holds": _holds(here, one, units) if at is None else None,
            "example": one.example(units),
            "fault": here.faults.get(one.name, "") or unfit.get(one.name, ""),
        }
        if one.columns:
            examples = {column.keys[-1]: column.example(units) for column in one.columns}
            found[one.name]["examples"] = examples
    return found


def written_at(written: Mapping[str, Any], one: Field) -> Any:
    """What job.toml has for a field; None where it has nothing."""
    here: Any = written
    for key in one.keys:
        if not isinstance(here, dict) or key not in here:
            return None
        here = here[key]
    return here


def _holds(here: Standing, one: Field, units: Units) -> Any:
    """The value in force where the job gives none, as a person would write it."""
    value: Any = here.job
    if one.keys[-1] == "profile" and value is not None:
        return None
    for key in one.keys:
        value = getattr(value, _attribute(type(value), key), None)
    return as_typed(one.default if value is None else value, one.kind, units)


def _attribute(table: type[Any], key: str) -> str:
    """What the program calls a key that job.toml may call otherwise."""
    known = getattr(table, "model_fields", {})
    return next((name for name, one in known.items() if one.alias == key), key)


def written_files(folder: Path) -> list[dict[str, Any]]:
    """What the verbs wrote that a person prints or looks at, by name, with its size in bytes."""
    out = folder / "out"
    if not out.is_dir():
        return []
    found = sorted(path for path in (*out.glob("*"), *out.glob("paper/*")) if path.is_file())
    told = []
    for path in found:
        # A verb may take a file away between being listed and being measured.
        with suppress(FileNotFoundError):
            if path.suffix in LOOKED_AT:
                size = path.stat().st_size
                told.append({"name": path.relative_to(out).as_posix(), "bytes": size})
    return told
