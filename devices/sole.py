"""Lets one process at a time drive a job; the system lifts the lock however that process ends."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOCK_FILE = "drive.lock"


@contextmanager
def sole_driver(folder: Path) -> Iterator[None]:
    """Holds the job's lock. Raises RefusedError when another process has it."""
    path = folder / LOCK_FILE
    try:
        file = path.open("a+b")
    except OSError as fault:
        raise BadInputError(f"{path}: cannot be written: {fault.strerror or fault}") from None
    with file:
        if not _locked(file.fileno()):
            raise RefusedError(
                f"{folder}: another drive is at work on this job; two would draw over each "
                "other. Wait for it, or end it first"
            )
        yield


if sys.platform == "win32":
    import msvcrt

    def _locked(descriptor: int) -> bool:
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _locked(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
