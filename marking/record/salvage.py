"""What of a damaged `job.db` can still be read, row by row, and how to go on without the rest.

It only ever reads. It knows tables and rows, not what they mean.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError, CanvasruleError, shortened
from marking.record.kept import decoded

if TYPE_CHECKING:
    from pathlib import Path

_WORDS = {
    "layout": ("layout", "layouts"),
    "division": ("division", "divisions"),
    "reading": ("reading", "readings"),
    "placement": ("placement", "placements"),
    "verification": ("check", "checks"),
    "ink": ("note of ink", "notes of ink"),
    "run": ("run", "runs"),
    "stroke": ("stroke", "strokes"),
    "beam": ("note of the light", "notes of the light"),
    "whereabouts": ("place of the machine", "places of the machine"),
    "given": ("reading given", "readings given"),
    "ruled": ("note of a ruled line", "notes of ruled lines"),
    "mend": ("note of a mend", "notes of mends"),
}
_LATER = ("layout", "division", "whereabouts", "given", "beam", "run", "ruled", "mend")
"""Tables that an older record has not: there they are missing and not damaged."""
_MOST_ROWS = 200_000
_LARGEST_ROW = 64 << 20
"""Bytes: a row past this is damage, and is not taken into memory."""
_SHOWN = 12
_UNREADABLE = (sqlite3.Error, ValueError, OverflowError)
"""What comes of a damaged file: letters that are none are a ValueError."""


def readable(path: Path, *, alone: bool = False) -> sqlite3.Connection:
    """A connection that cannot write, `alone` without the files beside it, where there are none."""
    how = "mode=ro&immutable=1" if alone else "mode=ro"
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?{how}", uri=True, timeout=5.0, isolation_level=None
    )
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LARGEST_ROW)
    return connection


def alone(path: Path) -> bool:
    """Whether the file has no log beside it, so that nothing else has it open."""
    log = path.with_name(f"{path.name}-wal")
    return not log.exists() or not log.stat().st_size


def left_in(path: Path) -> str:
    """What can still be read, and what is inked by that, in words."""
    try:
        with closing(readable(path, alone=alone(path))) as connection:
            tables = {table: _rows(connection, table) for table in _WORDS}
    except (*_UNREADABLE, OSError):
        return "Nothing of it can be read. What is inked, only the cover tells."
    if all(rows is None for rows in tables.values()):
        return "Nothing of it can be read. What is inked, only the cover tells."
    whole, part = [], []
    for table, (one, several) in _WORDS.items():
        rows = tables[table]
        if rows is None:
            part.append(f"none of the {several}")
        elif len(rows[0]) < rows[1]:
            part.append(f"{len(rows[0])} of {rows[1]} {several if rows[1] != 1 else one}")
        elif rows[1]:
            whole.append(f"{rows[1]} {several if rows[1] > 1 else one}")
    said = [f"all of the {' and '.join(_joined(whole))}"] if whole else []
    found = "; ".join([*part, *said]) or "nothing was kept yet"
    return f"Of it can still be read: {found}. {_inked(tables['ink'])}"


def _joined(words: list[str]) -> list[str]:
    return [", ".join(words[:-1]), words[-1]] if len(words) > 2 else words


def _rows(
    connection: sqlite3.Connection, table: str
) -> tuple[dict[int, dict[str, Any]], int] | None:
    """The rows that can be read, by id, and how many there must have been; None without a table.

    Ids count from 1 without a gap, since nothing is ever removed.
    """
    found: dict[int, dict[str, Any]] = {}
    last = 0
    for order in ("ASC", "DESC"):
        with suppress(*_UNREADABLE):
            for row in connection.execute(f"SELECT id FROM {table} ORDER BY id {order}"):
                last = max(last, row[0] if isinstance(row[0], int) else 0)
    try:
        columns = [
            name
            for _, name, *_ in connection.execute(f"PRAGMA table_info({table})")
            if isinstance(name, str)
        ]
    except _UNREADABLE:
        return None
    if "id" not in columns:
        return ({}, 0) if table in _LATER else None
    for number in range(1, min(last, _MOST_ROWS) + 1):
        with suppress(*_UNREADABLE, CanvasruleError):
            row = connection.execute(f"SELECT * FROM {table} WHERE id = ?", (number,)).fetchone()
            if row is not None:
                values = decoded(table, columns, row, BadInputError)
                found[number] = dict(zip(columns, values, strict=True))
    return found, last


def _inked(ink: tuple[dict[int, dict[str, Any]], int] | None) -> str:
    rows = list(ink[0].values()) if ink is not None else []
    lost = ink is None or len(ink[0]) < ink[1]
    done = list(dict.fromkeys(shortened(row["section"]) for row in rows if row["event"] == "done"))
    begun = [one for one in (shortened(row["section"]) for row in rows) if one not in done]
    said = [
        f"{', '.join(named[:_SHOWN])}{f' and {len(named) - _SHOWN} more' * (len(named) > _SHOWN)} "
        f"{'is' if len(named) == 1 else 'are'} {what}"
        for named, what in ((done, "inked"), (list(dict.fromkeys(begun)), "begun"))
        if named
    ]
    if not said:
        return "What is inked, only the cover tells." if lost else "No section is inked."
    return f"By that, {', '.join(said)}{'; look at the cover for more' * lost}."
