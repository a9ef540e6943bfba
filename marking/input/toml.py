"""The one reader of TOML: what is too deep or too long for a person's file never gets parsed.

The parser of the standard library takes a call for every bracket and, for a key of n dotted
parts, memory by the square of n; so both are counted first, in one pass over the text. It knows
TOML's tokens and no key.
"""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError
from marking.input.text import read_text

if TYPE_CHECKING:
    from pathlib import Path

_DEEPEST = 12
"""Brackets in each other, and parts of one dotted key; a job needs three of either."""
_MOST_PIECES = 40_000
"""Keys, brackets, dots and commas of one file; the readings of a large table are 15,000."""
_LONGEST_WORD = 120
"""Letters of a number or a bare key; of one without end, Python makes a number without end."""
_TOKEN = re.compile(
    r'"""(?:[^\\"]|\\.|"(?!""))*+"""'
    r"|'''(?:[^']|'(?!''))*+'''"
    r"|(?P<open>\"\"\"|''')"
    r'|"(?:[^"\\\n]|\\.)*+"'
    r"|'[^'\n]*+'"
    r"|(?P<torn>[\"'])"
    r"|\#[^\n]*+"
    r"|(?P<word>[^\s\"'\#\[\]{}=.,]++)"
    r"|(?P<piece>[\[\]{}=.,])"
    r"|(?P<end>\n)",
    re.DOTALL,
)
_OPENING, _CLOSING = "[{", "]}"


def read_toml(path: Path, label: str, wanted: str = "job or profile") -> dict[str, Any]:
    """The tables of a TOML file; BadInputError with line and column when it is broken."""
    return toml_tables(read_text(path, label, wanted), label, wanted)


def toml_tables(text: str, label: str, wanted: str = "job or profile") -> dict[str, Any]:
    """The tables that `text` holds; `label` and `wanted` are for messages, as in `read_text`.

    Raises BadInputError for what is broken, and for what no person's file has.
    """
    _check_bounds(text, label, wanted)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        from marking.input.toml_faults import toml_fault

        raise BadInputError(f"{label}: broken TOML {toml_fault(str(fault), text)}") from None
    except RecursionError:
        raise BadInputError(f"{label}: nested too deeply to be a {wanted}") from None
    except ValueError as fault:
        said = str(fault).partition(";")[0]
        raise BadInputError(f"{label}: {said[:1].lower()}{said[1:]}") from None


def _check_bounds(text: str, label: str, wanted: str) -> None:
    depth, parts, pieces, line = 0, 1, 0, 1
    for token in _TOKEN.finditer(text):
        kind, said = token.lastgroup, token[0]
        if kind in ("open", "torn"):
            # A string that nothing closes: the parser gets no further than here either.
            return
        if kind == "word" and len(said) > _LONGEST_WORD:
            raise BadInputError(
                f"{label}: line {line}: a number or a word of {len(said)} characters "
                f"({said[:20]}…); shorten it"
            )
        if kind == "end":
            parts = 1
        if kind is None or kind == "end":
            line += said.count("\n")
        if kind != "piece":
            continue
        pieces += 1
        depth += (said in _OPENING) - (said in _CLOSING and depth > 0)
        parts = parts + 1 if said == "." else 1
        if max(depth, parts) > _DEEPEST:
            raise BadInputError(f"{label}: line {line}: nested too deeply to be a {wanted}")
        if pieces > _MOST_PIECES:
            raise BadInputError(
                f"{label}: more than {_MOST_PIECES} keys and values is no {wanted}; name another "
                "file"
            )
