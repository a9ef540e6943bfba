"""The fields of the page: which keys of job.toml stand on which step, and what each one takes.

Names, help and kinds come from the models that check job.toml; only the order and the few words
beside a field are this file's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from annotated_types import Ge, Le
from pydantic import BaseModel, WithJsonSchema

from devices.job import Job
from marking.job.values import IS_DURATION, IS_LENGTH
from marking.shipped_files import stock_names

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pydantic.fields import FieldInfo

Kind = Literal["text", "length", "time", "whole", "switch", "choice", "several", "list"]
Keys = tuple[str, ...]


@dataclass(frozen=True)
class Field:
    """One field."""

    keys: Keys
    label: str
    kind: Kind
    help: str
    """One sentence in the trade's words."""
    choices: tuple[str, ...] = ()
    bounds: tuple[int, int] | None = None
    example: str = ""

    @property
    def name(self) -> str:
        """The key as job.toml's messages call it."""
        return ".".join(self.keys)

    @property
    def record(self) -> dict[str, Any]:
        """As the page is told of it."""
        return {
            "name": self.name,
            "label": self.label,
            "kind": self.kind,
            "help": self.help,
            "choices": list(self.choices),
            "bounds": self.bounds,
            "example": self.example,
            "may_be_none": self.name in _STOCK,
        }


_MEASURE: Mapping[str, str] = {
    "title": "Name of the job",
    "units": "Shown in",
    "table.length": "Length",
    "table.width": "Width",
    "table.survey.near": "Near edge",
    "table.survey.far": "Far edge",
    "table.survey.zero_end": "Zero end",
    "table.survey.far_end": "Far end",
    "table.survey.diagonal_from_zero_near": "Diagonal, zero near",
    "table.survey.diagonal_from_zero_far": "Diagonal, zero far",
    "table.survey.reading": "Read to the nearest",
}
_CHOOSE: Mapping[str, str] = {
    "grid.pitch": "Line to line",
    "grid.margin": "Edge to the first long line",
    "grid.end_margin": "Zero end to the zero line",
    "grid.heavy_every": "Every how many lines a heavy one",
    "grid.half_ticks": "Short ticks at half pitch",
    "grid.long_lines": "Long lines",
    "hems.from": "Hems are counted from",
    "hems.depth": "Hem bands reach in to",
    "hems.folds": "Hems that are folded here",
    "hems.cross_folds": "Extra fold lines across, too",
    "numerals.sides": "Numerals along",
    "numerals.height": "Height of numerals",
    "numerals.every": "Number every how many lines",
    "numerals.per_line": "One line counts",
    "numerals.first": "Numeral on the zero line",
    "numerals.second_zero": "A second zero",
    "numerals.middle_every": "Numerals in the middle, every",
    "grid.centre_line": "Heavy centre line",
    "table.against_wall": "It stands against a wall",
    "numerals.clear": "Least gap round numerals",
    "pens.lines.width": "Line width",
    "pens.heavy.width": "Heavy line width",
    "pens.numerals.width": "Line width of numerals",
    "tolerance": "A line may be off by",
}
_WAY: Mapping[str, str] = {
    "ways.way": "Way",
    "plotter.profile": "Plotter",
    "projector.profile": "Projector",
    "inking.cross_lines": "Cross lines",
    "inking.drying": "Ink dries for",
}
ON_STEPS: Mapping[str, Mapping[str, str]] = {"measure": _MEASURE, "choose": _CHOOSE, "way": _WAY}
_STOCK = {"plotter.profile": "plotters", "projector.profile": "projectors"}


def fields() -> dict[str, tuple[Field, ...]]:
    """The fields of each step that has any, in order."""
    return {
        step: tuple(_field(tuple(name.split(".")), label) for name, label in labels.items())
        for step, labels in ON_STEPS.items()
    }


def _field(keys: Keys, label: str) -> Field:
    name = ".".join(keys)
    if name in _STOCK:
        return Field(keys, label, "choice", "A stock profile.", tuple(stock_names(_STOCK[name])))
    table: type[BaseModel] = Job
    for key in keys[:-1]:
        table = _table(table.model_fields[key].annotation)
    info = _info(table, keys[-1])
    kind, choices = _kind(info.annotation, info.metadata)
    low = [mark.ge for mark in info.metadata if isinstance(mark, Ge)]
    high = [mark.le for mark in info.metadata if isinstance(mark, Le)]
    bounds = (int(str(low[0])), int(str(high[0]))) if low and high else None
    return Field(keys, label, kind, f"{info.description}.", choices, bounds, _example(info))


def _info(table: type[BaseModel], key: str) -> FieldInfo:
    """The field that job.toml calls `key`, by its own name or another."""
    found = table.model_fields.get(key)
    return found or next(one for one in table.model_fields.values() if one.alias == key)


def _table(annotation: Any) -> type[BaseModel]:
    inner = [annotation, *get_args(annotation)]
    return next(t for t in inner if isinstance(t, type) and issubclass(t, BaseModel))


def _kind(annotation: Any, metadata: Sequence[Any]) -> tuple[Kind, tuple[str, ...]]:
    words = _words(annotation)
    if annotation is bool:
        return "switch", ()
    if annotation is int:
        return "whole", ()
    if get_origin(annotation) is tuple:
        return ("several", words) if words else ("list", ())
    if IS_DURATION in metadata:
        return "time", ()
    if IS_LENGTH in metadata or _is_length(annotation):
        return "length", words
    return ("choice", words) if words else ("text", ())


def _words(annotation: Any) -> tuple[str, ...]:
    """The words that an annotation takes, whatever stands round them."""
    if get_origin(annotation) is Literal:
        return tuple(map(str, get_args(annotation)))
    return tuple(word for inner in get_args(annotation) for word in _words(inner))


def _is_length(annotation: Any) -> bool:
    return IS_LENGTH in getattr(annotation, "__metadata__", ()) or any(
        _is_length(inner) for inner in get_args(annotation)
    )


def _example(info: Any) -> str:
    for note in info.metadata:
        if isinstance(note, WithJsonSchema):
            return str((note.json_schema or {}).get("examples", [""])[0])
    return ""
