"""Every key of job.toml by the models that check it, and wrong values for each kind of field."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel

from devices.bench.fields.field import fields
from devices.bench.fields.words import FILE_TALK
from devices.job import Job
from marking.job.keys import Fold

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.bench.fields.field import Field

LONG = "x" * 2000
SIX = {"near": "26 in", "far": "26 in", "zero_end": "17 in", "far_end": "17 in"}
SIX |= {f"diagonal_from_zero_{end}": "31 1/16 in" for end in ("near", "far")}
"""The top of the small job as it might be measured."""
WRONG: dict[str, list[Any]] = {
    "text": ["", "\x01", LONG, "no such thing", "5", "1 in"],
    "length": ["abc", "5", "-1 in", "0 in", "9999999 in", "1 ft 2 mm", ""],
    "speed": ["5", "-1 in/s", "5 in", "99999999 m/s", ""],
    "run": ["5", "-1 m", "5 s", "999999999 m", ""],
    "share": ["abc", "5", "50 %", "-50 %", ""],
    "time": ["5", "-1 s", "5 in", "9999 h", ""],
    "whole": ["abc", "1.5", "-1", "99999999999", ""],
    "number": ["abc", "-1000", "99999999999", ""],
    "switch": ["yes"],
    "choice": ["no such thing", ""],
    "several": [["no such thing"], ["near", "near"], ["plotter", "plotter"], []],
    "list": [["abc"], ["-1"], ["0 in"], ["5"], ["1 in", "1 in"], ["1 in"] * 51, ["double 9 ft"]],
    "rows": [
        [{"at": "0 in"}],
        [{"side": "near"}],
        [{"at": "5 in"}, {"at": "5 in", "start": "9 in", "end": "3 in"}],
        [{"at": "5 in", "side": "top"}],
        [{"at": "90 ft"}],
        [{"at": "5 in", "name": "much too long a name"}],
    ],
}


def keys() -> Iterator[str]:
    """Every key that holds a value."""
    yield from _below(Job, ())


def _below(table: type[BaseModel], above: tuple[str, ...]) -> Iterator[str]:
    for name, info in table.model_fields.items():
        here = (*above, info.alias or name)
        inner = [t for t in _tables(info.annotation) if t is not Fold]
        if not inner:
            yield ".".join(here)
        for one in inner:
            yield from _below(one, here)


def _tables(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _tables(inner)


def typed(one: Field, text: Any) -> Any:
    """What the page sends of what is typed: see `said` in pages/fields.js."""
    if isinstance(text, str) and one.kind != "switch":
        text = text.strip()
        if text == "":
            return [] if one.may_be_empty else None
        return _word(one, text)
    if one.kind == "list":
        return [_word(one, each) for each in text]
    return text


def _word(one: Field, text: str) -> Any:
    if one.figures and re.fullmatch(r"-?\d+(\.\d+)?", text):
        return float(text) if "." in text else int(text)
    return text


def same_words(page: str, at: str, terminal: str) -> bool:
    """Whether what the page says at a field is what the terminal says, but for names of keys.

    Where the terminal begins with the key of a field, it is said at that field; and each label
    stands where its own key does.
    """
    begins = re.match(r"([a-z_.]+)(\[\d+\](?:\.[a-z_]+)?)?(: | = )", terminal)
    if begins is not None and begins[1] in fields() and begins[1] != at:
        return False
    page = re.sub(r"^\d+: ([A-Z][a-z ]+: )?", "", page) if at == "grid.lines" else page
    for talk, said in FILE_TALK.items():
        terminal = terminal.replace(talk, said)
    known = {f"“{one.label}”": one.name for one in fields().values()}
    parts = re.split("(“[^”]+”)", page)
    labels = [part for part in parts if part in known]
    words = "".join(r"(\[?[a-z_.]+\]?)" if part in known else re.escape(part) for part in parts)
    found = re.fullmatch(rf"(?:[a-z_.]+(?:\[\d+\](?:\.[a-z_]+)?)?(?:: | = ))?{words}", terminal)
    return found is not None and all(
        f".{known[label]}.".startswith(f".{key.strip('[]')}.") or known[label].endswith(key)
        for label, key in zip(labels, found.groups(), strict=True)
    )
