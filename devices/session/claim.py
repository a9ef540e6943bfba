"""Lets one command at a time work on a job; the system lifts the claim however that command ends.

It owns the lock beside `job.db`, which is there only while a command is at work or after one that
was killed; it must not know what the command does, nor anything of the record.
"""

from __future__ import annotations

import errno
import os
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import TYPE_CHECKING

from marking.errors import BadInputError, RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOCK_FILE = "job.lock"
_NO_LOCKS = (errno.ENOSYS, errno.ENOLCK, errno.EOPNOTSUPP, errno.EINVAL)
"""What a system says of a disk that keeps none."""
_PATIENCE_SECONDS = 0.2
"""Long enough for a command that is just ending to take its lock away."""


@contextmanager
def claimed(folder: Path, command: str) -> Iterator[None]:
    """Holds the job in `folder` for `command`, so that no other one works on it meanwhile.

    Raises RefusedError, naming the other command, when one has claimed it; BadInputError when
    the folder cannot be written or its disk keeps no locks.
    """
    from filelock import FileLock, Timeout

    path = folder / LOCK_FILE
    if not folder.is_dir():
        # The lock would make it without a word.
        raise BadInputError(f"{path}: cannot be written: there is no such folder")
    since = datetime.now().astimezone().isoformat(" ", timespec="minutes")
    said = f"{command} (process {os.getpid()}, since {since})"
    # A marker in place of a lock would outlast a command that was killed.
    lock = FileLock(path, fallback_to_soft=False, on_acquired=lambda file: _sign(file, said))
    try:
        lock.acquire(_PATIENCE_SECONDS)
    except Timeout:
        raise RefusedError(
            f"{folder}: {_holder(path)} is at work on this job; two at once would spoil each "
            "other's work. Wait until it is done, or end it in its own window (Ctrl C), and try "
            "again"
        ) from None
    except OSError as fault:
        raise _unusable(path, fault) from None
    try:
        yield
    finally:
        # Taken away while still held: nobody can lock it after that. Windows lets nobody take
        # away an open file; there the lock goes with its release.
        with suppress(OSError):
            path.unlink()
        lock.release()


def _unusable(path: Path, fault: OSError) -> BadInputError:
    said = fault.strerror or fault
    if fault.errno in _NO_LOCKS:
        return BadInputError(
            f"{path}: the disk cannot keep two commands apart ({said}); move the job's folder to "
            "a disk of this computer"
        )
    return BadInputError(f"{path}: cannot be written: {said}")


def _sign(file: int, said: str) -> None:
    """Writes who holds the lock, from the second byte on: Windows shows nobody the first."""
    with suppress(OSError):
        # On a full disk the name is lost, the lock is not.
        os.ftruncate(file, 0)
        os.write(file, f"\n{said}\n".encode())


def _holder(path: Path) -> str:
    with suppress(OSError), path.open("rb", buffering=0) as file:
        file.seek(1)
        return file.read(200).decode("utf-8", "replace").strip() or "another command"
    return "another command"
