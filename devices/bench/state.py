"""Where a job stands: the value in each field, what is wrong with it, and what is written.

It asks the functions that the verbs ask, and keeps nothing. Whatever cannot be read is said in
words beside the field that it concerns.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from devices.begun import layout_of
from devices.bench.fields import fields
from devices.job import Job
from marking.errors import BadInputError, CanvasruleError
from marking.input.toml import toml_tables
from marking.job.folder import JOB_FILE, check_job

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from devices.bench.fields import Field
    from marking.layout.layout import Layout

_OF_A_FIELD = re.compile(r"(?P<name>[a-z_.]+)(\[\d+\])?(: | = )")
"""How a message on a key of job.toml, or on one of the values of its list, begins."""
LOOKED_AT = {".pdf": "application/pdf", ".svg": "image/svg+xml", ".png": "image/png"}


@dataclass(frozen=True)
class Standing:
    """A job as its text has it; `job` and `layout` are None where they cannot be had."""

    folder: Path
    written: Mapping[str, Any]
    job: Job | None = None
    layout: Layout | None = None
    faults: Mapping[str, str] = field(default_factory=dict)
    """What is wrong, by field, a line each; under "" what concerns none of them."""
    only_missing: bool = False
    """Whether nothing is wrong but that something is not there yet."""


def standing(folder: Path, text: str) -> Standing:
    """How the job in `folder` stands with `text` for its job.toml; nothing is written."""
    label = str(folder / JOB_FILE)
    try:
        written = toml_tables(text, label)
    except BadInputError as fault:
        return Standing(folder, {}, faults={"": "\n".join(fault.messages)})
    try:
        job = check_job(written, folder, Job)
    except BadInputError as fault:
        missing = all(": missing; " in message for message in fault.messages)
        faults = _by_field(fault.messages, label)
        return Standing(folder, written, faults=faults, only_missing=missing)
    try:
        return Standing(folder, written, job, layout_of(folder, job))
    except CanvasruleError as fault:
        return Standing(folder, written, job, faults=_by_field(fault.messages, label))


def _by_field(messages: tuple[str, ...], label: str) -> dict[str, str]:
    """Messages by the field whose name they begin with, less that and where the file lies."""
    names = {one.name for of_step in fields().values() for one in of_step}
    found: dict[str, str] = {}
    for message in messages:
        said, name = message.removeprefix(f"{label}: "), ""
        begins = _OF_A_FIELD.match(said)
        if begins is not None and begins["name"] in names:
            name, said = begins["name"], said[begins.end() :]
        found[name] = f"{found[name]}\n{said}" if name in found else said
    return found


def values(here: Standing, waiting: Mapping[str, str]) -> dict[str, Any]:
    """What stands in each field: as it was written, and what holds where nothing was.

    What is typed and `waiting` for the rest of it stands there too.
    """
    found = {}
    for one in (each for of_step in fields().values() for each in of_step):
        at = _at(here.written, one)
        at = waiting.get(one.name) if at is None else at
        found[one.name] = {
            "written": at,
            "holds": _holds(here, one) if at is None else None,
            "fault": here.faults.get(one.name, ""),
        }
    return found


def _at(written: Mapping[str, Any], one: Field) -> Any:
    here: Any = written
    for key in one.keys:
        if not isinstance(here, dict) or key not in here:
            return None
        here = here[key]
    return here


def _holds(here: Standing, one: Field) -> Any:
    """The value in force where the job gives none, as a person would write it."""
    if here.job is None:
        return None
    from marking.measures.durations import format_duration
    from marking.measures.lengths import format_length

    value: Any = here.job
    for key in one.keys:
        value = getattr(value, _attribute(type(value), key), None)
    if one.keys[-1] == "profile":
        return value
    if one.kind == "length" and isinstance(value, float):
        return format_length(value, here.job.units)
    if one.kind == "time":
        return format_duration(value)
    if isinstance(value, tuple):
        return [_fold(each, here.job) if hasattr(each, "depth") else each for each in value]
    return value


def _attribute(table: type[Any], key: str) -> str:
    """What the program calls a key that job.toml may call otherwise."""
    known = getattr(table, "model_fields", {})
    return next((name for name, one in known.items() if one.alias == key), key)


def _fold(fold: Any, job: Job) -> str:
    from marking.measures.lengths import format_length

    return f"{fold.kind} {format_length(fold.depth, job.units)}"


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
