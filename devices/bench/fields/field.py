"""The fields of the page: what each key of job.toml takes there.

Help and kinds come from the models that check job.toml; what a key is called and where it stands
are `marks`' and `work`'s.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from msgspec import Struct
from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from devices.bench.fields.marks import CHOOSE, MEASURE, ROWS
from devices.bench.fields.stock import known_as
from devices.bench.fields.work import READY, WAY
from devices.job import Job
from marking.job.values import (
    IS_DURATION,
    IS_LENGTH,
    IS_RUN,
    IS_SCALE_ERROR,
    IS_SHARE,
    IS_SPEED,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic.fields import FieldInfo

    from marking.measures.lengths import Units

Kind = (
    Literal["text", "length", "speed", "run", "share", "time", "whole", "number"]
    | Literal["switch", "choice", "several", "list", "rows"]
)
"""What a field takes: figures with a unit, bare ones, words, or several of them a line each."""
Keys = tuple[str, ...]
GROUPS: Mapping[str, Mapping[str, str]] = {**MEASURE, **CHOOSE, **WAY, **READY}
_STOCK = {
    "table.profile": "tables",
    "plotter.profile": "plotters",
    "projector.profile": "projectors",
    **{f"pens.{pen}.profile": "pens" for pen in ("lines", "heavy", "numerals", "removable")},
}
_NOTED: tuple[tuple[Any, Kind], ...] = (
    (IS_DURATION, "time"),
    (IS_LENGTH, "length"),
    (IS_RUN, "run"),
    (IS_SPEED, "speed"),
    (IS_SHARE, "share"),
    (IS_SCALE_ERROR, "share"),
)
_MAY_BE_LEFT = ("inking.cross_lines",)
"""Choices that a way makes too: what is chosen here then only contradicts it."""
_CHOICES = {"plotter.feet": ("corners",)}
"""Words for keys that hold more than a field can: what else stands there is shown, and stays."""
_HELP = {
    "plotter.feet": "One in each corner of its outer size, or as its profile has them.",
    "table.survey.reading": "How finely the tape was read.",
    "paper.size": "Left open, letter for inches and A4 for millimetres.",
}
_HALVES = ("zero_near", "far_near", "zero_far", "far_far")
_SIDES = {
    "near": ("149 15/16 in", "3808 mm"),
    "far": ("150 1/16 in", "3811 mm"),
    "zero_end": ("64 in", "1625 mm"),
    "far_end": ("63 15/16 in", "1623 mm"),
    "diagonal_from_zero_near": ("163 1/16 in", "4141 mm"),
    "diagonal_from_zero_far": ("163 in", "4140 mm"),
}
_EXAMPLES: Mapping[str, tuple[str, str]] = {
    "length": ("8 1/4 in", "210 mm"),
    "run": ("900 ft", "300 m"),
    "speed": ("4 in/s", "120 mm/s"),
    "table.length": ("150 in", "380 cm"),
    "table.width": ("64 in", "162 cm"),
    "table.survey.middle": ("64 in", "1625 mm"),
    **{f"table.survey.half_from_{one}": ("98 5/8 in", "2505 mm") for one in _HALVES},
    **{f"table.survey.again.{side}": sizes for side, sizes in _SIDES.items()},
    **{f"table.survey.{side}": sizes for side, sizes in _SIDES.items()},
    "table.survey.square_along": ("4 ft", "120 cm"),
    "table.survey.square_across": ("3 ft", "90 cm"),
    "table.survey.square_between": ("60 1/16 in", "1501 mm"),
    "allowed.total": ("1/8 in", "3 mm"),
    "allowed.square": ("1/16 in", "1.5 mm"),
    "allowed.neighbours": ("1/32 in", "1 mm"),
    "allowed.step": ("1/32 in", "1 mm"),
    "fence.length": ("8 ft", "2.4 m"),
    "plotter.cloth_width": ("36 in", "90 cm"),
    "projector.picture_width": ("80 in", "2 m"),
    "grid.bias": ("12", "10"),
    "grid.lines.at": ("54 in", "137 cm"),
    "grid.lines.start": ("1 ft", "30 cm"),
    "grid.lines.end": ("9 ft", "250 cm"),
}
"""By the field, or else by its kind: in inches, and in metric units."""


class Field(Struct, frozen=True):
    """One field."""

    keys: Keys
    label: str
    kind: Kind
    help: str
    """One sentence in the trade's words."""
    group: str
    choices: tuple[str, ...] = ()
    figures: bool = False
    """Whether what is typed stands in job.toml as a figure, without quotes."""
    default: Any = None
    """What holds where nothing is written; None where nothing does, or a profile says it."""
    lines: int = 0
    """Lines of a list that has as many; 0 where there may be any number."""
    may_be_left: bool = False
    """Whether a choice may be left open."""
    may_be_empty: bool = False
    """Whether a list may be emptied, which is not the same as left to its default."""
    examples: tuple[str, str] = ("", "")
    columns: tuple[Field, ...] = ()
    of_lengths: bool = False
    """Whether each line of a list is a length."""

    @property
    def name(self) -> str:
        """The key as job.toml's messages call it."""
        return ".".join(self.keys)

    @property
    def record(self) -> dict[str, Any]:
        """As the page is told of it."""
        return {
            "name": self.name,
            "key": self.keys[-1],
            "label": self.label,
            "kind": self.kind,
            "help": self.help,
            "group": self.group,
            "choices": list(self.choices),
            "known_as": dict(known_as(_STOCK[self.name]) if self.name in _STOCK else {}),
            "figures": self.figures,
            "lines": self.lines,
            "may_be_left": self.may_be_left,
            "may_be_empty": self.may_be_empty,
            "of_lengths": self.of_lengths,
            "columns": [one.record for one in self.columns],
        }

    def example(self, units: Units) -> str:
        """How such a value is written, in the job's unit."""
        return self.examples[units == "mm"]


@cache
def fields() -> Mapping[str, Field]:
    """Every field of the page by its name, in the order of the page."""
    found = [
        _field(tuple(name.split(".")), label, group)
        for group, labels in GROUPS.items()
        for name, label in labels.items()
    ]
    return {one.name: one for one in found}


def _field(keys: Keys, label: str, group: str) -> Field:
    name = ".".join(keys)
    if name in _STOCK:
        choices = tuple(known_as(_STOCK[name]))
        return Field(keys, label, "choice", "A stock profile.", group, choices, may_be_left=True)
    info = _info(keys)
    columns = tuple(_field((*keys, key), word, group) for key, word in ROWS.get(name, {}).items())
    notes = list(_notes(info))
    choices, figures = _CHOICES.get(name, ()) or _words(info.annotation), _is_figure(info)
    kind: Kind = "choice" if name in _CHOICES else "rows" if columns else _kind(info, notes)
    default = None if info.default is PydanticUndefined else info.default
    several = kind in ("list", "several")
    return Field(
        keys,
        label,
        kind,
        _HELP.get(name, f"{info.description}."),
        group,
        choices,
        figures,
        default,
        _fixed(info.annotation) if kind == "list" else 0,
        kind in ("choice", "several") and (default in (None, ()) or name in _MAY_BE_LEFT),
        several and bool(default) and not any(getattr(one, "min_length", 0) for one in notes),
        _EXAMPLES.get(name) or _EXAMPLES.get(kind) or (_example(notes),) * 2,
        columns,
        kind == "list" and IS_LENGTH in notes,
    )


def _info(keys: Keys) -> FieldInfo:
    """The field of the model that job.toml calls so, by its own name or another."""
    table: type[BaseModel] = Job
    for key in keys[:-1]:
        table = _table(table.model_fields[key].annotation)
    found = table.model_fields.get(keys[-1])
    return found or next(one for one in table.model_fields.values() if one.alias == keys[-1])


def _table(annotation: Any) -> type[BaseModel]:
    """The model of a table, of one that may be left out, or of each one in a list."""
    return next(t for t in _within(annotation) if isinstance(t, type) and issubclass(t, BaseModel))


def _within(annotation: Any) -> Iterator[Any]:
    """An annotation and all that it is made of."""
    yield annotation
    for inner in () if get_origin(annotation) is Literal else get_args(annotation):
        yield from _within(inner)


def _notes(info: FieldInfo) -> Iterator[Any]:
    """What is noted beside a field and beside the types that it is made of."""
    yield from info.metadata
    for inner in _within(info.annotation):
        yield from getattr(inner, "__metadata__", ())


def _kind(info: FieldInfo, notes: list[Any]) -> Kind:
    made_of = list(_within(info.annotation))
    words = _words(info.annotation)
    held = next((t for t in made_of if get_origin(t) is tuple), None)
    if held is not None:
        return "several" if words and Ellipsis in get_args(held) else "list"
    if bool in made_of:
        return "switch"
    for note, kind in _NOTED:
        if note in notes:
            return kind
    if int in made_of:
        return "whole"
    if float in made_of:
        return "number"
    return "choice" if words else "text"


def _words(annotation: Any) -> tuple[str, ...]:
    """The words that an annotation takes, whatever stands round them."""
    literals = [one for one in _within(annotation) if get_origin(one) is Literal]
    return tuple(dict.fromkeys(str(word) for one in literals for word in get_args(one)))


def _is_figure(info: FieldInfo) -> bool:
    """Whether bare figures are wanted: no text with a unit."""
    made_of = list(_within(info.annotation))
    literal = [get_args(one) for one in made_of if get_origin(one) is Literal]
    if any(isinstance(word, int) for words in literal for word in words):
        return True
    noted = {kind for note, kind in _NOTED if note in list(_notes(info))}
    return not noted and bool not in made_of and (int in made_of or float in made_of)


def _fixed(annotation: Any) -> int:
    """How many values a tuple holds; 0 for any number."""
    held = next(t for t in _within(annotation) if get_origin(t) is tuple)
    return 0 if Ellipsis in get_args(held) else len(get_args(held))


def _example(notes: list[Any]) -> str:
    for note in notes:
        schema = getattr(note, "json_schema", None) or {}
        if "examples" in schema:
            return str(schema["examples"][0])
    return ""
