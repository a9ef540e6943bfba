"""A command as a person types it again: every word quoted for the shell that is at hand.

It knows shells and no verb.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

_NO_UTF_8 = re.compile("[\udc80-\udcff]")
_FIRST = 0xDC00
"""A byte of a file's name that is no UTF-8, as Python keeps it: added to this (PEP 383)."""


def typed(words: Iterable[str | os.PathLike[str]], system: str = os.name) -> str:
    """The words on one line, for the shells of `system` as `os.name` calls it."""
    plain = [os.fspath(word) for word in words]
    if system == "nt":
        return subprocess.list2cmdline(plain)
    return " ".join(_quoted(word) for word in plain)


def _quoted(word: str) -> str:
    if not _NO_UTF_8.search(word):
        return shlex.quote(word)
    # Bash, zsh and ksh take a byte that cannot be shown by its number.
    escaped = word.replace("\\", "\\\\").replace("'", "\\'")
    return "$'" + _NO_UTF_8.sub(_by_number, escaped) + "'"


def _by_number(found: re.Match[str]) -> str:
    return f"\\x{ord(found[0]) - _FIRST:02x}"
