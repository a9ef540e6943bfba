"""Rows of `job.db` as values: what each column holds, and a word where it does not.

It knows columns and plain data; not what they mean, and no file.
"""

from __future__ import annotations

import json
import math
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any, NoReturn

from marking.errors import BadInputError, CanvasruleError, shortened

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Tell = Callable[[str], CanvasruleError]
    """The error that tells what is wrong with one row."""

_LONGEST_TEXT = 8_000_000
"""Characters of plain data in one row: ten times the largest that was ever kept."""


class KeptData(dict[str, Any]):
    """Plain data by key, that knows which row it is from: a key that is missing is damage."""

    __slots__ = ("tell",)
    tell: Tell

    def __missing__(self, key: str) -> NoReturn:
        raise self.tell(f"no {key!r} in it")


def decoded(table: str, columns: Sequence[str], row: Sequence[Any], tell: Tell) -> list[Any]:
    """The values of one row: times as times, JSON as plain data. Raises what `tell` makes."""
    values = []
    for column, value in zip(columns, row, strict=True):
        form = _FORMS.get(column, _text) if (table, column) not in _PLAIN_TEXT else _text
        try:
            values.append(form(value, tell))
        except (ValueError, TypeError, RecursionError) as fault:
            raise tell(f"{column}: {shortened(str(fault))}") from None
    return values


@contextmanager
def as_kept(kept: Any, what: str, instead: str = "") -> Iterator[None]:
    """Turns what goes wrong with `kept` data while `what` is made of it into a plain message.

    `instead` says what would do without a copy of the record.
    """
    try:
        yield
    except CanvasruleError:
        raise
    except (LookupError, TypeError, ValueError, AttributeError, RecursionError) as fault:
        said = f"{what} cannot be made of it: {shortened(repr(fault))}"
        said += f"; {instead}" if instead else ""
        if isinstance(kept, KeptData):
            raise kept.tell(said) from None
        raise BadInputError(
            f"job.db: damaged ({said}). Put back a copy of the job's folder"
        ) from None


def _text(value: Any, _: Tell) -> str:
    if not isinstance(value, str):
        raise ValueError("no text")
    return value


def _name(value: Any, tell: Tell) -> str:
    """What messages repeat as it is: a terminal must not be told anything by it."""
    name = _text(value, tell)
    if not name.isprintable():
        raise ValueError("no name")
    return name


def _time(value: Any, tell: Tell) -> datetime:
    at = datetime.fromisoformat(_text(value, tell))
    if at.tzinfo is None:
        raise ValueError("a time without its zone")
    return at


def _number(value: Any, _: Tell) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("no number")
    return value


def _whole(value: Any, _: Tell) -> int:
    if not isinstance(value, int):
        raise ValueError("no whole number")
    return value


def _bytes(value: Any, _: Tell) -> bytes:
    if not isinstance(value, bytes):
        raise ValueError("no data")
    return value


def _plain(value: Any, tell: Tell) -> Any:
    text = _text(value, tell)
    if len(text) > _LONGEST_TEXT:
        raise ValueError(f"{len(text)} characters are none of ours")

    def known(found: dict[str, Any]) -> KeptData:
        kept = KeptData(found)
        kept.tell = tell
        return kept

    return json.loads(text, object_hook=known, parse_constant=_not_finite, parse_float=_finite)


def _finite(text: str) -> float:
    number = float(text)
    return number if math.isfinite(number) else _not_finite(text)


def _not_finite(text: str) -> NoReturn:
    raise ValueError(f"{text} is no finite number")


def _keys(value: Any, tell: Tell) -> KeptData:
    keys = _plain(value, tell)
    if not isinstance(keys, KeptData):
        raise ValueError("no keys with values")
    return keys


def _keys_or_none(value: Any, tell: Tell) -> KeptData | None:
    return None if value == "null" else _keys(value, tell)


def _numbers(value: Any, tell: Tell) -> list[Any]:
    rows = _plain(value, tell)
    if not isinstance(rows, list) or not all(isinstance(row, list) for row in rows):
        raise ValueError("no rows of numbers")
    if not all(len(row) == len(rows) for row in rows):
        raise ValueError("not as many columns as rows")
    for number in (number for row in rows for number in row):
        _number(number, tell)
    return rows


def _device(value: Any, tell: Tell) -> str:
    text = _text(value, tell)
    if text.startswith("{"):
        _keys(text, tell)
    return text


_FORMS: dict[str, Callable[[Any, Tell], Any]] = {
    "id": _whole,
    "at": _time,
    "section": _name,
    "mark": _name,
    "stroke": _name,
    "line": _name,
    "mend": _name,
    "x_bed": _number,
    "y_bed": _number,
    "sd": _number,
    "pose": _keys,
    "covariance": _numbers,
    "detail": _keys_or_none,
    "result": _keys,
    "value": _plain,
    "device": _device,
    "run": _whole,
    "readings": _whole,
    "whereabouts": _whole,
    "begun_with": _keys,
    "data": _bytes,
}
"""By column, in whichever table; every other one is text."""
_PLAIN_TEXT = {("whereabouts", "detail")}
