"""The text of a file that a person wrote, read no further than such a file is ever long.

It knows files and their letters; what stands in them is its reader's.
"""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

from marking.errors import BadInputError

if TYPE_CHECKING:
    from pathlib import Path

LARGEST_FILE = 1_000_000
"""Bytes: more than any job, profile or list of lengths that was written by hand."""


def read_text(path: Path, label: str, wanted: str) -> str:
    """The text of the file at `path`, without a byte order mark.

    `label` names it in messages, `wanted` says what it should be. Raises BadInputError for what
    is no regular file, is longer than `LARGEST_FILE`, or is not UTF-8: a device is never waited
    for, and nothing is read past that length.
    """
    data = _bytes_of(path, label, wanted)
    if len(data) > LARGEST_FILE:
        raise BadInputError(f"{label}: over {LARGEST_FILE} bytes is no {wanted}; name another file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise BadInputError(f"{label}:{line}: not UTF-8; save the file as UTF-8") from None


def _bytes_of(path: Path, label: str, wanted: str) -> bytes:
    """At most a byte more than `LARGEST_FILE`."""
    try:
        # Opening a pipe that nobody writes to would wait for ever.
        opened = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
        with os.fdopen(opened, "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise BadInputError(
                    f"{label}: a device or a pipe, and no file; save the {wanted} to a file, and "
                    "name that"
                )
            return file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as fault:
        said = getattr(fault, "strerror", None) or fault
        raise BadInputError(f"{label}: cannot be read: {said}") from None
