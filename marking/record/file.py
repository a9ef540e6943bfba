"""Opens `job.db`: whether it is a record, sound and of this version, before anything may write.

It owns SQLite's files and faults; it must not know what a row says.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Literal

from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.record.salvage import alone, left_in, readable
from marking.record.schema import (
    APPLICATION_ID,
    MIGRATIONS,
    columns_at,
    columns_in,
    migrate,
    version,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PATIENCE_SECONDS = 5.0
_SAID = 300
"""Characters of what is said to be damaged: SQLite may tell of every page."""
_DAMAGE = ("malformed", "not a database", "decode", "no such table", "no such column", "too big")
"""What SQLite says of a file that is damaged, under the name of an error in using it."""
_WAL_HEADER, _WAL_MAGIC = 32, 0x377F0682
"""The write-ahead log's header (SQLite's "Database File Format", 4.1)."""


class NotKeptError(CanvasruleError):
    """The record took nothing; `why` and `advice` are for those who must say what that means."""

    def __init__(self, why: str, advice: str) -> None:
        super().__init__(f"{why}; nothing was changed. {advice}")
        self.why = why
        self.advice = advice


class _BusyRecordError(NotKeptError, RefusedError):
    exit_code = RefusedError.exit_code


class _UnusableRecordError(NotKeptError, BadInputError):
    exit_code = BadInputError.exit_code


def damaged(path: Path, said: object) -> CanvasruleError:
    """That the record is damaged: where, what of it can still be read, and how to go on."""
    words = " ".join("".join(c if c.isprintable() else " " for c in str(said)).split())[:_SAID]
    return _UnusableRecordError(
        f"{path}: damaged ({words})",
        f"{left_in(path)} Put back a copy of the job's folder, or of {path.name} with "
        f"{path.name}-wal and {path.name}-shm. Without a copy, go on in a new folder with the "
        "same job.toml, ink there only what is not on the cover yet, and keep this one as it is",
    )


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """SQLite's faults as a colleague would say them."""
    try:
        yield
    except sqlite3.OperationalError as fault:
        said = str(fault)
        if "locked" in said or "busy" in said:
            raise _BusyRecordError(
                f"{path}: in use by another program for {PATIENCE_SECONDS:g} s",
                "End the other command on this job, or wait for it, and try again",
            ) from None
        if any(word in said for word in _DAMAGE):
            raise damaged(path, fault) from None
        raise _UnusableRecordError(
            f"{path}: cannot be used ({said})",
            "See that its folder and disk can be written and have room",
        ) from None
    except (sqlite3.DatabaseError, UnicodeDecodeError, OverflowError) as fault:
        raise damaged(path, fault) from None


def open_file(path: Path) -> sqlite3.Connection:
    """A connection to the record at `path`, made when there is none yet.

    A file that is not ours, too new or damaged has by then only been read. Raises BadInputError
    or RefusedError.
    """
    with explained(path):
        if not os.path.lexists(path):
            _create(path)
        _check(path)
        return sqlite3.connect(path, timeout=PATIENCE_SECONDS, isolation_level=None)


def set_up(connection: sqlite3.Connection) -> None:
    """Makes the file one that is written ahead and flushed in full, with this version's tables."""
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    migrate(connection, MIGRATIONS)


def _create(path: Path) -> None:
    """An empty record, there whole or not at all: a file that is cut short is never ours."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with closing(sqlite3.connect(part, isolation_level=None)) as connection:
            set_up(connection)
        with contextlib.suppress(FileExistsError):
            _put_in_place(part, path)
    except PermissionError as fault:
        raise _UnusableRecordError(
            f"{path}: cannot be made ({fault.strerror})", "See that its folder can be written"
        ) from None
    finally:
        for made in path.parent.glob(f"{part.name}*"):
            made.unlink()


def _put_in_place(part: Path, path: Path) -> None:
    """Another command may have made a record meanwhile: neither way takes the place of a file."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:
        # A disk without links, as many a USB stick: whole but for a power cut at this moment.
        with path.open("xb") as made:
            made.write(part.read_bytes())
            os.fsync(made.fileno())


def _check(path: Path) -> None:
    kind = path.stat()
    if not stat.S_ISREG(kind.st_mode):
        raise BadInputError(
            f"{path}: a folder or a device stands where the job's record should be a file; move "
            "it away"
        )
    if not kind.st_size:
        raise damaged(path, "an empty file, as a copy that was cut short leaves it")
    log = _fault_of_log(path)
    if log is not None:
        raise damaged(path, log)
    if alone(path):
        try:
            with closing(readable(path, alone=True)) as connection:
                _check_ours(connection, path)
            return
        except (sqlite3.Error, UnicodeDecodeError, CanvasruleError):
            if alone(path):
                raise
            # Another command has begun to write meanwhile.
    with closing(readable(path)) as connection:
        _check_ours(connection, path)


def _check_ours(connection: sqlite3.Connection, path: Path) -> None:
    tables = connection.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()[0]
    (named,) = connection.execute("PRAGMA application_id").fetchone()
    if tables and named != APPLICATION_ID:
        raise BadInputError(
            f"{path}: a database, but not a job's record; move it away, and a new record is begun"
        )
    (sound,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    if sound != "ok":
        raise damaged(path, sound)
    try:
        have = version(connection)
    except ValueError as fault:
        raise damaged(path, f"schema_version: {fault}") from None
    if have > len(MIGRATIONS):
        raise RefusedError(
            f"{path}: written by a later version of this program (its format is {have}, this "
            f"one reads up to {len(MIGRATIONS)}); nothing was changed. Use the later version"
        )
    lacking = columns_at(have) - columns_in(connection)
    if lacking:
        raise damaged(path, f"of its format, {have}, it has no {', '.join(sorted(lacking)[:4])}")


def _fault_of_log(path: Path) -> str | None:
    """What is wrong with the head of the log that holds what was added last.

    SQLite takes a log whose head it cannot read for none, and writes over it.
    """
    try:
        with path.with_name(f"{path.name}-wal").open("rb") as log:
            head = log.read(_WAL_HEADER)
    except OSError:
        return None
    if len(head) < _WAL_HEADER or not any(head):
        # A log that was never flushed holds nothing that was kept.
        return None
    magic = int.from_bytes(head[:4], "big")
    order: Literal["big", "little"] = "big" if magic & 1 else "little"
    first = second = 0
    for at in range(0, 24, 8):
        first = (first + int.from_bytes(head[at : at + 4], order) + second) & 0xFFFFFFFF
        second = (second + int.from_bytes(head[at + 4 : at + 8], order) + first) & 0xFFFFFFFF
    told = int.from_bytes(head[24:28], "big"), int.from_bytes(head[28:32], "big")
    if magic & ~1 == _WAL_MAGIC and told == (first, second):
        return None
    return f"{path.name}-wal, which holds what was added last, does not begin as one"
