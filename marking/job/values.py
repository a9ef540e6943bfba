"""The kinds of value that a key of `job.toml` may have, and what every table is built on.

It knows how a value is written and checked, and no key.
"""

from __future__ import annotations

import unicodedata
from typing import Annotated, Any

from marking.measures.durations import parse_duration
from marking.measures.lengths import parse_length, parse_percent, parse_run, parse_speed
from marking.put_off import put_off

with put_off("importlib.metadata.entry_points", "importlib.metadata.version"):
    from pydantic import BaseModel, BeforeValidator, ConfigDict, Strict, TypeAdapter, WithJsonSchema

    TypeAdapter(bool)  # Whatever is made first looks for plugins.


def positive(parse: Any, what: str) -> Any:
    """A reader of `what` by `parse` that takes nothing but more than zero."""

    def check(text: object) -> float:
        value: float = parse(text)
        if value <= 0:
            raise ValueError(f"{what} must be more than zero")
        return value

    return check


def text_schema(*examples: str) -> WithJsonSchema:
    """What an editor is told of a value that is written as text."""
    return WithJsonSchema({"type": "string", "examples": list(examples)})


IS_LENGTH = text_schema("8 1/4 in", "5' 4\"", "38 mm", "1.2 m")
"""Noted on every field that holds a length."""
Length = Annotated[float, BeforeValidator(positive(parse_length, "a length here")), IS_LENGTH]
"""Millimetres, more than zero, from text with a unit."""
Clearance = Annotated[float, BeforeValidator(parse_length), IS_LENGTH]
"""Millimetres, zero or more, from text with a unit."""
IS_RUN = text_schema("300 m", "900 ft")
Run = Annotated[float, BeforeValidator(positive(parse_run, "a pen's ink")), IS_RUN]
"""How far a pen writes, in millimetres."""
IS_SPEED = text_schema("120 mm/s", "4 in/s")
Speed = Annotated[float, BeforeValidator(positive(parse_speed, "a speed")), IS_SPEED]
"""Millimetres a second."""


IS_DURATION = text_schema("30 s", "4.5 min")
Duration = Annotated[float, BeforeValidator(parse_duration), IS_DURATION]
"""Seconds, zero or more, from text with a unit."""


def _parse_title(text: object) -> object:
    if isinstance(text, str) and not all(map(is_printable, text)):
        raise ValueError("it has characters that cannot be printed; take them out")
    return text


def is_printable(character: str) -> bool:
    """Whether a character may stand on a sheet: XML and terminals take neither controls nor
    halves of a pair."""
    return unicodedata.category(character) not in ("Cc", "Cs") and character not in "\ufffe\uffff"


Title = Annotated[str, BeforeValidator(_parse_title)]
Count = Annotated[int, Strict()]
Switch = Annotated[bool, Strict()]


def _parse_stretch(text: object) -> float:
    stretch = parse_percent(text)
    if not -0.2 <= stretch <= 0.2:
        raise ValueError("a cover does not stretch by more than 20 %; check the figure")
    return stretch


IS_SHARE = text_schema("1.5 %")
"""Noted on every field that holds a share in per cent."""
Stretch = Annotated[float, BeforeValidator(_parse_stretch), IS_SHARE]
"""A ratio, from a percentage."""


def _parse_scale_error(text: object) -> float:
    error = parse_percent(text)
    if not -0.02 <= error <= 0.02:
        raise ValueError("no tape is wrong by more than 2 %; compare it with a known length again")
    return error


IS_SCALE_ERROR = text_schema("0.02 %")
ScaleError = Annotated[float, BeforeValidator(_parse_scale_error), IS_SCALE_ERROR]
"""A ratio, from a percentage: true over shown length, less 1."""


class Table(BaseModel):
    """The base of every table in `job.toml`: frozen, and closed to keys it does not know.

    Most tables are checked as parts of a job alone, so that none needs a checker made on import.
    Their modules do without `from __future__ import annotations`: of text, pydantic would have to
    compile each annotation on import.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)
