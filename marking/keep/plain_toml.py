"""A job's tables as the shortest TOML that a person can type: one key a line, ASCII alone.

No two blanks stand side by side in it and no line is blank, so that nothing hangs on spacing.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_LAST_OF_16_BITS = 0xFFFF
_IN_ONE_LINE = 100
"""Characters up to which a table within a table stands in braces."""


def plain_toml(tables: Mapping[str, Any]) -> str:
    """`tables`, as the standard library's reader gives them, as TOML again; a line ends each."""
    return "".join(f"{line}\n" for line in _lines(tables, ()))


def _lines(table: Mapping[str, Any], above: tuple[str, ...]) -> Iterator[str]:
    inner = {}
    for key, value in table.items():
        if isinstance(value, dict) and not (above and len(_inline(value)) <= _IN_ONE_LINE):
            inner[key] = value
        else:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in inner.items():
        path = (*above, key)
        yield f"[{'.'.join(map(_key, path))}]"
        yield from _lines(value, path)


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _string(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, dict):
        return _inline(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    return repr(value)


def _inline(table: Mapping[str, Any]) -> str:
    pairs = ", ".join(f"{_key(key)} = {_value(value)}" for key, value in table.items())
    return f"{{ {pairs} }}"


def _string(text: str) -> str:
    """A basic string in ASCII."""
    return f'"{"".join(map(_letter, text))}"'.replace("  ", " \\u0020")


def _letter(letter: str) -> str:
    """JSON's escapes are TOML's, but for letters beyond 16 bits and a control that JSON lets be."""
    if ord(letter) > _LAST_OF_16_BITS:
        return f"\\U{ord(letter):08X}"
    return "\\u007f" if letter == "\x7f" else json.dumps(letter)[1:-1]
