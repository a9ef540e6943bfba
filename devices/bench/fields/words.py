"""What the program says of keys of job.toml, in the words that the page has for them.

It knows messages and the names of fields, and no job.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from devices.bench.fields.field import fields

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from devices.bench.fields.field import Field

TableKeys = tuple[str, ...]
_BEGINS = re.compile(r"(?P<keys>[a-z_]+(?:\.[a-z_]+)*)(?P<rest>\[\d+\](?:\.[a-z_]+)?)?(?:: | = )")
"""How a message on a key, on one of the values of its list or on a column of a row, begins."""
_KEY = re.compile(r"(?<![\w.\"/-])[a-z]+(?:[._][a-z]+)*(?![\w\"/-])")
_HEADING = re.compile(r"\[([a-z_.]+)\]")
_SIDE = re.compile(r" \(| measures| again|$| is \d")
"""What stands after the name of a side that is an everyday word, where the side is meant."""
_TABLES: Mapping[str, str] = {
    "table": "table.length",
    "table.survey": "",
    "grid": "grid.pitch",
    "hems": "hems.depth",
    "numerals": "numerals.height",
    "fence": "fence.length",
    "plotter": "plotter.profile",
    "projector": "projector.profile",
    **{f"pens.{pen}": f"pens.{pen}.width" for pen in ("lines", "heavy", "numerals", "removable")},
}
"""Where it is said what is wrong with a whole table, where none of its keys is named."""
_SURVEY = ("table", "survey")
FILE_TALK = {
    "a whole number without quotes": "a whole number",
    "a number without quotes": "a number",
    "canvasrule ways --all": "“With every stock machine too”",
    "canvasrule ways": "“Reckon the ways”",
    "leave that key out": "leave that open",
    "which length was written to which key": "which length was typed where",
}
"""What is true of a file alone, and how it is said of a page."""


def by_field(messages: Iterable[str], label: str) -> dict[str, str]:
    """Messages by the field that each begins with, a line each, less its name and `label`.

    What concerns no field of the page is under "".
    """
    found: dict[str, str] = {}
    for message in messages:
        name, said = _placed(message.removeprefix(f"{label}: "))
        found[name] = f"{found[name]}\n{said}" if name in found else said
    return found


def by_label(faults: Mapping[str, str]) -> list[str]:
    """Faults by field, each with the label of its field."""
    return [f"{fields()[at].label}: {said}" if at else said for at, said in faults.items()]


def _placed(said: str) -> tuple[str, str]:
    begins = _BEGINS.match(said)
    if begins is None:
        return "", in_page_words(said)
    name, after = begins["keys"], said[begins.end() :]
    one = fields().get(name)
    if one is not None:
        row = _row(one, begins["rest"] or "")
        return name, row + in_page_words(after, one.keys[:-1])
    if name not in _TABLES:
        return "", in_page_words(said)
    table = tuple(name.split("."))
    asked = after.partition("Measure ")[2] if table == _SURVEY else ""
    named = next((each for _, each in _named(asked or after, table) if _is_of(each, table)), None)
    return named.name if named else _TABLES[name], in_page_words(after, table)


def _is_of(one: Field, table: TableKeys) -> bool:
    return one.keys[: len(table)] == table


def _row(one: Field, rest: str) -> str:
    """Which row of a field that holds several, and which of its columns."""
    if not one.columns or not rest:
        return ""
    number, _, key = rest[1:].partition("]")
    column = next((each.label for each in one.columns if f".{each.keys[-1]}" == key), None)
    row = f"{int(number) + 1}: "
    return f"{row}{column}: " if column else row


def in_page_words(said: str, table: TableKeys = ()) -> str:
    """A message with each key in it named as the page names its field.

    Keys without their table are known where they are of `table`, or of one table alone.
    """
    for talk, words in FILE_TALK.items():
        said = said.replace(talk, words)
    said = _HEADING.sub(_table_named, said)
    parts, at = [], 0
    for found, one in _named(said, table):
        parts += [said[at : found.start()], f"“{one.label}”"]
        at = found.end()
    return "".join((*parts, said[at:]))


def _table_named(found: re.Match[str]) -> str:
    """The heading of a table, as the page calls the field that makes it one."""
    one = fields().get(_TABLES.get(found[1], ""))
    return f"“{one.label}”" if one is not None else found[0]


def _named(said: str, table: TableKeys) -> Iterator[tuple[re.Match[str], Field]]:
    """Each key in a message, and its field."""
    for found in _KEY.finditer(said):
        key = found[0]
        one = fields().get(key) or fields().get(_TABLES.get(key, "") if "." in key else "")
        if one is None and (_is_key(key, said[found.end() :]) or _is_side(found, said, table)):
            one = fields().get(".".join((*table, key))) or _alone().get(key)
        if one is not None and (len(one.keys) > 1 or said[found.end() :].startswith(" = ")):
            yield found, one


def _is_key(key: str, after: str) -> bool:
    """Whether a word that stands alone is no word of everyday."""
    return "_" in key or "." in key or after.startswith(" = ")


def _is_side(found: re.Match[str], said: str, table: TableKeys) -> bool:
    return table == _SURVEY and found[0] in ("near", "far") and bool(_SIDE.match(said, found.end()))


@cache
def _alone() -> Mapping[str, Field]:
    """Fields whose key no other field has."""
    keys = [one.keys[-1] for one in fields().values()]
    return {one.keys[-1]: one for one in fields().values() if keys.count(one.keys[-1]) == 1}
