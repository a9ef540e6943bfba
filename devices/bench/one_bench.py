"""One bench at a time over a folder of jobs: a second one finds where the first is open.

It owns the lock beside the jobs, which holds the address for as long as the first one lives.
"""

from __future__ import annotations

import os
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOCK_FILE = "bench.lock"
_PATIENCE_SECONDS = 0.2
_LONGEST_ADDRESS = 500
_ADDRESS_SECONDS = 2.0
"""By when a bench that has the lock has written its address: it does so at once."""


@contextmanager
def the_bench(root: Path, url: str) -> Iterator[str | None]:
    """Yields None where this is the only bench over `root`, and else the first one's address.

    Raises BadInputError where the folder cannot be written.
    """
    from filelock import FileLock, Timeout

    path = root / LOCK_FILE
    lock = FileLock(path, mode=0o600, fallback_to_soft=False)
    try:
        root.mkdir(parents=True, exist_ok=True)
        lock.acquire(_PATIENCE_SECONDS)
    except Timeout:
        yield _address_in(path)
        return
    except OSError as fault:
        raise BadInputError(f"{path}: cannot be written: {fault.strerror or fault}") from None
    try:
        _write(path, url)
        yield None
    finally:
        with suppress(OSError):
            path.unlink()
        lock.release()


def _write(path: Path, url: str) -> None:
    """Writes the address from the second byte on: Windows shows nobody the first of a locked file.

    On a full disk it is lost, and the lock is not.
    """
    with suppress(OSError):
        file = os.open(path, os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o600)
        with os.fdopen(file, "wb") as opened:
            opened.write(f"\n{url}\n".encode())


def _address_in(path: Path) -> str:
    end = time.monotonic() + _ADDRESS_SECONDS
    while time.monotonic() < end:
        with suppress(OSError), path.open("rb", buffering=0) as file:
            file.seek(1)
            found = file.read(_LONGEST_ADDRESS).decode("utf-8", "replace")
            # Whole with the end of its line: the other may be writing it just now.
            if found.startswith("http://127.0.0.1:") and found.endswith("\n"):
                return found.strip()
        time.sleep(_PATIENCE_SECONDS / 4)
    raise BadInputError(
        f"{path}: another bench is open on these jobs and its address cannot be read; look for "
        "its window, or end it there by Ctrl C"
    )
