"""What is wrong with a broken TOML file, in the words of a person who meant to write a length.

It knows TOML's grammar by its parser's message and the line that this names, and no key.
"""

from __future__ import annotations

import json
import re

_PLACE = re.compile(r"(?P<what>.*) \(at line (?P<line>\d+), column (?P<column>\d+)\)")
_END = re.compile(r"(?P<what>.*) \(at end of document\)")
_CURLY = re.compile("[=\\[,{]\\s*[\u201c\u201d\u201e\u2018\u2019]")
_STRAIGHT = str.maketrans("\u201c\u201d\u201e\u2018\u2019", '"""\'\'')
_LENGTH = re.compile(
    r"[=\[,]\s*(?P<length>\d[\d./ -]*\s*(?:in|mm|cm|ft|m|%)(?:/s)?)(?=\s*(?:[,}\]#]|$))"
)
_BARE = re.compile(r"^(?P<key>[\w.-]+)\s*=\s*(?P<value>[^\s\"'\[{#][^#]*?)\s*(?:#.*)?$")
_NOT_CLOSED = re.compile(r"=\s*\"[^\"#]*$")
_INCH_MARK = re.compile(r"^(?P<key>[\w.-]+)\s*=\s*\"(?P<value>[^\"\\]*\"[^\"\\]*)\"\s*(?:#.*)?$")
_LONGEST_SHOWN = 60
_LONGEST_ADVISED = 200
"""Characters: a longer line is no length that somebody forgot the quotes of."""


def toml_fault(said: str, text: str) -> str:
    """Where `text` is broken, the line there, and what would do, by the parser's message `said`.

    The place is a line and a column even where the parser only says "end of document".
    """
    lines = text.splitlines() or [""]
    found, at_end = _PLACE.fullmatch(said), _END.fullmatch(said)
    if found is not None:
        number, column, what = int(found["line"]), int(found["column"]), found["what"]
    else:
        number, column = len(lines), len(lines[-1]) + 1
        what = f"{at_end['what'] if at_end else said}, the end of the file"
    line = lines[min(number, len(lines)) - 1].strip()
    advice = _advice(line) or what[:1].lower() + what[1:]
    shown = f"{_shown(line)}: " if line else ""
    return f"at line {number}, column {column}: {shown}{advice}"


def _shown(line: str) -> str:
    plain = "".join(character if character.isprintable() else "?" for character in line)
    return plain if len(plain) <= _LONGEST_SHOWN else f"{plain[:_LONGEST_SHOWN]}…"


def _advice(line: str) -> str | None:
    if len(line) > _LONGEST_ADVISED:
        return None
    if _CURLY.search(line):
        return f"these quotes are a word processor's; type straight ones: {_straight(line)}"
    length, bare = _LENGTH.search(line), _BARE.match(line) or _INCH_MARK.match(line)
    if length is not None:
        return f'a length stands in straight quotes: "{length["length"].strip()}"'
    if bare is not None:
        value = json.dumps(bare["value"], ensure_ascii=False)
        return f"text stands in straight quotes: {bare['key']} = {value}"
    if _NOT_CLOSED.search(line):
        return "a quote is missing where the text ends"
    return None


def _straight(line: str) -> str:
    return _shown(line.translate(_STRAIGHT))
