"""Reads a job folder: TOML to a validated job, with every fault named at once.

It knows files, keys and profiles; what the keys mean is `marking.job.keys`'s.
"""

from __future__ import annotations

import datetime
import json
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar, get_args

from msgspec import Struct
from pydantic import BaseModel, ValidationError, WithJsonSchema

from marking.errors import MOST_SHOWN, BadInputError, shortened
from marking.input.toml import read_toml
from marking.shipped_files import stock, stock_names

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from marking.job.keys import MarkingJob

JOB_FILE = "job.toml"
RECORD_FILE = "job.db"
"""What has happened in the job; `marking.record.record` reads and writes it."""
_PROFILE_FOLDERS = {
    ("table",): "tables",
    ("plotter",): "plotters",
    ("projector",): "projectors",
    ("pens", "lines"): "pens",
    ("pens", "heavy"): "pens",
    ("pens", "numerals"): "pens",
    ("pens", "removable"): "pens",
}
_LONGEST_NAME = 200
"""Letters of a profile's name; past about this, folders take none."""
JobT = TypeVar("JobT", bound="MarkingJob")
KeyPath = tuple[str | int, ...]


class _Source(Struct, frozen=True):
    """Where a key was written, so that a fault can name the file."""

    label: str
    keys: frozenset[str]
    """Keys that stand as the profile has them."""
    overridden: bool
    """Whether the job gives keys of its own beside the profile."""

    def gives(self, rest: KeyPath, kind: str) -> bool:
        """Whether a fault of `kind` at `rest`, below this table, is the profile's."""
        if not rest:
            return not self.overridden
        # What is missing within a key is missing where that key was written.
        return rest[0] in self.keys or (kind == "missing" and len(rest) == 1)


def load_job(folder: Path, model: type[JobT]) -> JobT:
    """The job in `folder`, its profiles merged in and its values checked.

    Raises BadInputError with one message for each fault found.
    """
    path = folder / JOB_FILE
    if folder.is_file():
        raise BadInputError(
            f'{folder}: is a file; --job takes the folder of a job: --job "{folder.parent}"'
        )
    if not path.is_file():
        raise BadInputError(
            f'{path}: no job here; make one with "canvasrule start {folder}", '
            "or name its folder with --job"
        )
    written = read_toml(path, str(path))
    if written.get("schema", 1) != 1:
        raise BadInputError(
            f"{path}: schema = {shortened(repr(written['schema']))}: this program reads schema 1; "
            "a later one needs a later program"
        )
    return check_job(written, folder, model)


def check_job(written: dict[str, Any], folder: Path, model: type[JobT]) -> JobT:
    """The job that the tables of a `job.toml` in `folder` describe, its profiles merged in.

    Raises BadInputError with one message for each fault found.
    """
    path = folder / JOB_FILE
    merged, sources, faults = _merge_profiles(written, folder, model)
    try:
        job = model.model_validate(merged)
    except ValidationError as fault:
        faults += _messages(fault, path, sources, model)
    if faults:
        raise BadInputError(*faults)
    return job


def _merge_profiles(
    written: dict[str, Any], folder: Path, model: type[BaseModel]
) -> tuple[dict[str, Any], dict[KeyPath, _Source], list[str]]:
    """`written` with each `profile` key replaced by that profile's keys beneath its own.

    A profile that cannot be had is among the faults, and any stock one stands in for it, so that
    the faults of the other keys are found as well.
    """
    faults: list[str] = []
    merged = dict(written)
    if isinstance(merged.get("pens"), dict):
        merged["pens"] = dict(merged["pens"])
    sources: dict[KeyPath, _Source] = {}
    for keys, kind in _PROFILE_FOLDERS.items():
        parent: Any = merged
        for key in keys[:-1]:
            parent = parent.get(key)
        default = _default_profile(model, keys)
        if not isinstance(parent, dict) or (keys[-1] not in parent and default is None):
            continue
        table = parent.get(keys[-1], {})
        if not isinstance(table, dict) or ("profile" not in table and default is None):
            continue
        name = table.get("profile", default)
        where = ".".join(keys)
        try:
            profile, label = _read_profile(name, kind, where, folder)
        except BadInputError as fault:
            faults += fault.messages
            profile, label = _read_profile(stock_names(kind)[0], kind, where, folder)
        own = {key: value for key, value in table.items() if key != "profile"}
        parent[keys[-1]] = {**profile, **own}
        sources[keys] = _Source(label, frozenset(profile) - frozenset(own), bool(own))
    return merged, sources, faults


def _default_profile(model: type[BaseModel], keys: Sequence[str]) -> str | None:
    """The stock profile a table stands on when the job names none."""
    field = model.model_fields.get(keys[0])
    extra = field.json_schema_extra if field is not None else None
    name = extra.get("profile") if isinstance(extra, dict) else None
    return name if isinstance(name, str) else None


def _read_profile(name: object, kind: str, where: str, folder: Path) -> tuple[dict[str, Any], str]:
    names = stock_names(kind)
    if isinstance(name, str) and name in names:
        return _stock_profile(kind, name)
    known = f"stock profiles are {', '.join(names)}; or name a .toml file in the job's folder"
    if not isinstance(name, str):
        raise BadInputError(
            f"{folder / JOB_FILE}: {where}.profile = {shortened(repr(name))}: not a name; {known}"
        )
    path = folder / name
    if not (name.endswith(".toml") and len(name) <= _LONGEST_NAME and path.is_file()):
        import difflib

        near = difflib.get_close_matches(shortened(name), names, n=1)
        hint = f' did you mean "{near[0]}"?' if near else ""
        raise BadInputError(
            f'{folder / JOB_FILE}: {where}.profile = "{shortened(name)}": no such profile;{hint} '
            f"{known}"
        )
    return _without_notes(read_toml(path, str(path))), str(path)


@cache
def _stock_profile(kind: str, name: str) -> tuple[dict[str, Any], str]:
    label = f"stock profile {kind}/{name}.toml"
    return _without_notes(read_toml(stock().joinpath(kind, f"{name}.toml"), label)), label


def _without_notes(profile: Mapping[str, Any]) -> dict[str, Any]:
    """A profile's keys less `about`, which is for its reader."""
    return {key: value for key, value in profile.items() if key != "about"}


def _messages(
    fault: ValidationError, path: Path, sources: dict[KeyPath, _Source], model: type[BaseModel]
) -> list[str]:
    messages: list[str] = []
    for keys, error in _faults(fault):
        if len(messages) > MOST_SHOWN:
            # What the others want of the file need not be found out: they are only counted.
            messages.append("")
            continue
        label = str(path)
        for place, source in sources.items():
            if keys[: len(place)] == place and source.gives(keys[len(place) :], error["type"]):
                label = source.label
        messages.append(f"{label}: {_dotted(keys)}{_advice(error, keys, model)}")
    return messages


def _faults(fault: ValidationError) -> list[tuple[KeyPath, Any]]:
    """Each fault with the keys that lead to it, one a key.

    A union of a word and a figure reports a fault for each of its members; the figure's says what
    to write. A list is not too short where what stands in it is wrong.
    """
    found: dict[KeyPath, Any] = {}
    errors = fault.errors(include_url=False)
    within = {error["loc"][:-1] for error in errors}
    for error in errors:
        if error["type"] == "too_short" and error["loc"] in within:
            continue
        *above, last = error["loc"] or ("",)
        keys = tuple(key for key in above if not _is_union_tag(key))
        if error["type"] == "extra_forbidden" or not _is_union_tag(last):
            # A key that a person made up may look like a tag of pydantic's.
            keys = (*keys, last)
        first = found.get(keys)
        if first is None or error["type"] == "value_error":
            found[keys] = error
        elif first["type"] == "literal_error":
            found[keys] = {**error, "word": first["ctx"]["expected"]}
    return list(found.items())


def _is_union_tag(key: str | int) -> bool:
    return isinstance(key, str) and any(letter in key for letter in "[(-")


def _dotted(keys: KeyPath) -> str:
    shown = ""
    for key in keys:
        shown += f"[{key}]" if isinstance(key, int) else f"{'.' * bool(shown)}{shortened(key)}"
    return shown


_WANTED = {
    "model_type": "a table of keys is wanted here",
    "model_attributes_type": "a table of keys is wanted here",
    "dict_type": "a table of keys is wanted here",
    "tuple_type": "a list in square brackets is wanted here",
    "int_type": "a whole number without quotes is wanted here",
    "int_from_float": "a whole number is wanted here",
    "float_type": "a number without quotes is wanted here",
    "float_parsing": "a number without quotes is wanted here",
    "bool_type": "true or false is wanted here, without quotes",
    "string_type": "text in quotes is wanted here",
    "finite_number": "a finite number is wanted here",
    "too_short": "the list is too short",
    "too_long": "the list is too long",
}
_BOUNDS = {
    "greater_than": "it has to be more than {gt}",
    "greater_than_equal": "it has to be at least {ge}",
    "less_than": "it has to be less than {lt}",
    "less_than_equal": "it has to be at most {le}",
    "literal_error": "it can be {expected}",
    "string_too_long": "it has to be at most {max_length} characters long",
    "string_pattern_mismatch": "a plain name in small letters is wanted here",
}


def _advice(error: Any, keys: KeyPath, model: type[BaseModel]) -> str:
    kind, value = error["type"], error["input"]
    if kind == "extra_forbidden":
        known = _known_keys(model, keys[:-1])
        import difflib

        near = difflib.get_close_matches(shortened(str(keys[-1])), known, n=1, cutoff=0.5)
        return ": unknown key; " + (
            f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(known)}"
        )
    if kind == "missing":
        return f": missing; {_wanted(keys, model)}"
    if kind == "value_error":
        said = str(error["ctx"]["error"])
    elif kind in _BOUNDS:
        said = _BOUNDS[kind].format(**error["ctx"])
    else:
        said = _WANTED.get(kind) or _lower(error["msg"])
        said += f", or {error['word']}" if "word" in error else ""
    if kind in ("model_type", "model_attributes_type", "dict_type") and keys in _PROFILE_FOLDERS:
        said += f": write {_dotted(keys)}.profile to name a profile"
    if isinstance(value, dict | BaseModel):
        return f": {said}"
    return f" = {_toml_value(value)}: {said}"


def _lower(message: str) -> str:
    return message[:1].lower() + message[1:]


def _toml_value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(shortened(value), ensure_ascii=False)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return shortened(f"{value!r}")


def _wanted(keys: KeyPath, model: type[BaseModel]) -> str:
    """What a missing key is for, with an example where its kind has one."""
    field = _table_at(model, keys[:-1]).model_fields.get(str(keys[-1]))
    if field is None:
        return "the list is too short"
    if keys in _PROFILE_FOLDERS:
        return f'write [{_dotted(keys)}] with its keys below it, or with profile = "..."'
    purpose = _lower(field.description or "it has to be given")
    schemas = [note for note in field.metadata if isinstance(note, WithJsonSchema)]
    examples = (schemas[0].json_schema or {}).get("examples", []) if schemas else []
    return purpose + (f', such as "{examples[0]}"' if examples else "")


def _known_keys(model: type[BaseModel], keys: KeyPath) -> list[str]:
    """The keys that the table at `keys` may hold."""
    table = _table_at(model, keys)
    names = [field.alias or name for name, field in table.model_fields.items()]
    return [*names, "profile"] if keys in _PROFILE_FOLDERS else names


def _table_at(model: type[BaseModel], keys: KeyPath) -> type[BaseModel]:
    """The model of the table at `keys`, or of the nearest one above it."""
    table: type[BaseModel] = model
    for key in keys:
        field = table.model_fields.get(str(key))
        if field is None:
            break
        inner = [field.annotation, *get_args(field.annotation)]
        tables = [t for t in inner if isinstance(t, type) and issubclass(t, BaseModel)]
        if not tables:
            break
        table = tables[0]
    return table
