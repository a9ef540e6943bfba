"""What a marking was begun with: keys of job.toml as plain data, and how two such sets differ.

It knows the models of `marking.job.keys` by their fields alone; no record, no layout and no
machine. Keys are dotted, as in `grid.pitch`; lengths are in millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, TypeVar, get_args, get_origin

from msgspec import Struct
from pydantic import BaseModel

from marking.job.keys import MarkingJob
from marking.job.values import IS_LENGTH, IS_SCALE_ERROR, IS_SHARE
from marking.measures.lengths import exact_length, format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.measures.lengths import Units

    Settings = Mapping[str, Any]

_OF_THE_LAYOUT = ("units", "table", "grid", "hems", "numerals", "cloth", "pens", "tape")
"""The tables of job.toml that say where a line lies."""
JobT = TypeVar("JobT", bound=MarkingJob)


class Change(Struct, frozen=True):
    """A key that was one thing when the work was begun and is another now."""

    key: str
    was: Any
    now: Any


def layout_settings(job: MarkingJob) -> Settings:
    """All of the job that a layout is made from, by dotted key."""
    return flat(job.model_dump(mode="json", include=set(_OF_THE_LAYOUT)))


def flat(tables: Mapping[str, Any], under: str = "") -> dict[str, Any]:
    """Tables within tables as one, by dotted key; lists stay whole."""
    keys: dict[str, Any] = {}
    for name, value in tables.items():
        key = f"{under}{name}"
        keys |= flat(value, f"{key}.") if isinstance(value, dict) else {key: value}
    return keys


def changes(was: Settings, now: Settings) -> tuple[Change, ...]:
    """The keys that differ. One that only the other version of this program knows does not count,
    but for a table that was there and is not, as a survey."""
    differ = [
        Change(key, value, now[key])
        for key, value in was.items()
        if key in now and now[key] != value
    ]
    gone = [Change(key, was[key], None) for key in was if _left_out(key, now)]
    new = [Change(key, None, now[key]) for key in now if _left_out(key, was)]
    return (*differ, *gone, *new)


def _left_out(key: str, settings: Settings) -> bool:
    """Whether the table of a key is said to be none there."""
    table = key.rpartition(".")[0]
    return table in settings and settings[table] is None


def in_words(differ: Sequence[Change], units: Units, model: type[BaseModel] = MarkingJob) -> str:
    """`grid.pitch was 1 in, is 1 1/2 in`, of the first few changes."""
    shown = [f"{one.key} {_was_and_is(one, units, model)}" for one in differ[:4]]
    more = len(differ) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more else "")


def _was_and_is(one: Change, units: Units, model: type[BaseModel]) -> str:
    was, now = (_said(value, one.key, units, model) for value in (one.was, one.now))
    if was == now and isinstance(one.was, float) and isinstance(one.now, float):
        # Closer together than a tape shows, as two steps of a plotter are.
        was, now = (f"{value:.12g} mm" for value in (one.was, one.now))
    return f"was {was}, is {now}"


def _said(value: Any, key: str, units: Units, model: type[BaseModel]) -> str:
    if value is None:
        return "not given"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and _is_length(key, model):
        return format_length(value, units)
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_said(one, key, units, model) for one in value)}]"
    if isinstance(value, dict) and {"kind", "depth"} <= set(value):
        return f"{value['kind']} {format_length(value['depth'], units)}"
    return f'"{value}"' if isinstance(value, str) else f"{value}"


def written_as(key: str, value: Any, model: type[BaseModel]) -> Any:
    """A setting as job.toml has it, lengths and shares as text, to be read back as the same."""
    if isinstance(value, list | tuple):
        return [written_as(key, one, model) for one in value]
    if isinstance(value, dict) and {"kind", "depth"} <= set(value):
        return f"{value['kind']} {exact_length(value['depth'])}"
    if not isinstance(value, float):
        return value
    notes = _notes_of(key, model)
    if any(note is IS_LENGTH for note in notes):
        return exact_length(value)
    is_share = any(note is IS_SHARE or note is IS_SCALE_ERROR for note in notes)
    return f"{value * 100:.12g} %" if is_share else value


def _is_length(key: str, model: type[BaseModel]) -> bool:
    """Whether the field at a dotted key holds a length."""
    return any(note is IS_LENGTH for note in _notes_of(key, model))


def _notes_of(key: str, model: type[BaseModel]) -> Sequence[Any]:
    """What is noted on the field at a dotted key; nothing where there is no such field."""
    *tables, name = key.split(".")
    for table in tables:
        inner = (
            _model_in(model.model_fields[table].annotation) if table in model.model_fields else None
        )
        if inner is None:
            return ()
        model = inner
    field = model.model_fields.get(name)
    return () if field is None else (*field.metadata, *_notes(field.annotation))


def _notes(annotation: Any) -> Iterator[Any]:
    """What is noted on a type, or on a part of it."""
    if get_origin(annotation) is Annotated:
        yield from annotation.__metadata__
    for part in get_args(annotation):
        yield from _notes(part)


def job_as_begun(job: JobT, settings: Settings) -> JobT:
    """`job` with the settings that were kept, as far as this version knows their keys."""
    tables: dict[str, Any] = {}
    for key, value in settings.items():
        *above, name = key.split(".")
        table = tables
        for part in above:
            inner = table.get(part)
            if not isinstance(inner, dict):
                inner = table[part] = {}
            table = inner
        table.setdefault(name, value)
    known = {name: tables[name] for name in type(job).model_fields if name in tables}
    made = {
        name: _made(type(job).model_fields[name].annotation, value) for name, value in known.items()
    }
    return job.model_copy(update=made)


def _made(annotation: Any, value: Any) -> Any:
    """A kept value as its field holds it. It was checked when it was kept."""
    model = _model_in(annotation)
    if isinstance(value, dict) and model is not None:
        named = {name: one for name, one in value.items() if name in model.model_fields}
        return model.model_construct(
            **{name: _made(model.model_fields[name].annotation, one) for name, one in named.items()}
        )
    if isinstance(value, list):
        return tuple(_made(annotation, one) for one in value)
    return value


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The model that a type is, or is made with."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    found = (_model_in(part) for part in get_args(annotation))
    return next((model for model in found if model is not None), None)
