"""Lets one command at a time work on a job; the system lifts the claim however that command ends.

It owns the lock beside `job.db`, which is there only while a command is at work or after one that
was killed; it must not know what the command does, nor anything of the record.
"""

from __future__ import annotations

import errno
import os
import sys
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import TYPE_CHECKING

from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from io import FileIO
    from pathlib import Path

LOCK_FILE = "job.lock"
_TAKEN = (errno.EAGAIN, errno.EACCES, errno.EDEADLK)
"""What the systems say of a lock that another has: POSIX flock and fcntl, Microsoft's _locking."""


@contextmanager
def claimed(folder: Path, command: str) -> Iterator[None]:
    """Holds the job in `folder` for `command`, so that no other one works on it meanwhile.

    Raises RefusedError, naming the other command, when one has claimed it; BadInputError when
    the folder cannot be written or its disk keeps no locks.
    """
    path = folder / LOCK_FILE
    file = _locked_file(path, folder)
    try:
        since = datetime.now().astimezone().isoformat(" ", timespec="minutes")
        with suppress(OSError):
            # On a full disk the name is lost, the lock is not.
            file.truncate(0)
            file.write(f"{command} (process {os.getpid()}, since {since})\n".encode())
        yield
    finally:
        _give_up(file, path)


def _locked_file(path: Path, folder: Path) -> FileIO:
    while True:
        try:
            file = path.open("a+b", buffering=0)
        except OSError as fault:
            raise BadInputError(f"{path}: cannot be written: {fault.strerror or fault}") from None
        try:
            _lock(file)
            if _is_at(path, file):
                return file
        except OSError as fault:
            other = _holder(file)
            file.close()
            if fault.errno not in _TAKEN:
                raise BadInputError(
                    f"{path}: the disk cannot keep two commands apart ({fault.strerror or fault}); "
                    "move the job's folder to a disk of this computer"
                ) from None
            raise RefusedError(
                f"{folder}: {other} is at work on this job; two at once would spoil each other's "
                "work. Wait until it is done, or end it in its own window (Ctrl C), and try again"
            ) from None
        # Its last holder removed the file between the opening and the locking.
        file.close()


def _is_at(path: Path, file: FileIO) -> bool:
    """Whether the open file is still the one of that name."""
    try:
        return os.path.samestat(path.stat(), os.fstat(file.fileno()))
    except FileNotFoundError:
        return False


def _holder(file: FileIO) -> str:
    try:
        file.seek(0)
        return file.read(200).decode("utf-8", "replace").strip() or "another command"
    except OSError:
        return "another command"


if sys.platform == "win32":
    import msvcrt

    _FAR = 1 << 30
    """Locked far beyond the text, which others could not read otherwise."""

    def _lock(file: FileIO) -> None:
        file.seek(_FAR)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

    def _give_up(file: FileIO, path: Path) -> None:
        # An open file cannot be removed; one that another has opened since stays.
        file.close()
        with suppress(OSError):
            path.unlink()

else:
    import fcntl

    def _lock(file: FileIO) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _give_up(file: FileIO, path: Path) -> None:
        # Removed while still held: whoever waits for it looks whether it is still there.
        with suppress(OSError):
            path.unlink()
        file.close()
