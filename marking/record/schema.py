"""The tables of `job.db`, and how an older file is brought up to them.

It owns every version of the tables; it must not know what a row says, nor who reads or adds one.
A file has one history, with one number for its place in it, so that a table is declared here
whoever owns it: a reader with some of the tables could not tell a later version from another's.
"""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

APPLICATION_ID = 0x43_56_52_4C
"""SQLite's application id of a job.db: it tells ours from another program's file."""

MIGRATIONS = (
    """
    CREATE TABLE reading (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        section TEXT NOT NULL, mark TEXT NOT NULL, x_bed REAL NOT NULL, y_bed REAL NOT NULL,
        sd REAL NOT NULL, source TEXT NOT NULL);
    CREATE TABLE placement (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        section TEXT NOT NULL, pose TEXT NOT NULL, covariance TEXT NOT NULL, detail TEXT NOT NULL);
    CREATE TABLE verification (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        kind TEXT NOT NULL, subject TEXT NOT NULL, result TEXT NOT NULL);
    CREATE TABLE ink (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        section TEXT NOT NULL, event TEXT NOT NULL CHECK (event IN ('begun', 'done')));
    CREATE TABLE standing_layout (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        reason TEXT NOT NULL CHECK (reason IN ('inked', 'accepted')));
    CREATE INDEX reading_section ON reading (section);
    CREATE INDEX placement_section ON placement (section);
    """,
    """
    CREATE TABLE beam (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        subject TEXT NOT NULL, value TEXT NOT NULL);
    CREATE INDEX beam_subject ON beam (subject, id);
    """,
    """
    CREATE TABLE run (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        section TEXT NOT NULL, device TEXT NOT NULL, pose TEXT NOT NULL, remark TEXT NOT NULL);
    CREATE TABLE stroke (id INTEGER PRIMARY KEY, at TEXT NOT NULL, run INTEGER NOT NULL,
        section TEXT NOT NULL, stroke TEXT NOT NULL,
        event TEXT NOT NULL CHECK (event IN ('sent', 'drawn', 'presumed')));
    CREATE INDEX stroke_section ON stroke (section);
    CREATE INDEX run_section ON run (section);
    """,
    """
    ALTER TABLE ink ADD COLUMN plan TEXT NOT NULL DEFAULT '';
    ALTER TABLE run ADD COLUMN plan TEXT NOT NULL DEFAULT '';
    """,
    """
    CREATE TABLE whereabouts (id INTEGER PRIMARY KEY, at TEXT NOT NULL, section TEXT NOT NULL,
        event TEXT NOT NULL CHECK (event IN ('moving', 'resting', 'lost', 'found')),
        detail TEXT NOT NULL, readings INTEGER NOT NULL);
    """,
    """
    CREATE TABLE layout (id INTEGER PRIMARY KEY, at TEXT NOT NULL, hash TEXT NOT NULL,
        begun_with TEXT NOT NULL, data BLOB NOT NULL);
    CREATE TABLE division (id INTEGER PRIMARY KEY, at TEXT NOT NULL, hash TEXT NOT NULL,
        layout TEXT NOT NULL, zone TEXT NOT NULL, begun_with TEXT NOT NULL, data BLOB NOT NULL);
    ALTER TABLE beam ADD COLUMN division TEXT NOT NULL DEFAULT '';
    """,
    """
    CREATE TABLE given (id INTEGER PRIMARY KEY, at TEXT NOT NULL, section TEXT NOT NULL,
        mark TEXT NOT NULL, x_bed REAL NOT NULL, y_bed REAL NOT NULL, whereabouts INTEGER NOT NULL);
    """,
    """
    CREATE TABLE ruled (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        line TEXT NOT NULL, event TEXT NOT NULL CHECK (event IN ('ruled', 'undone')),
        plan TEXT NOT NULL);
    """,
    """
    CREATE TABLE mend (id INTEGER PRIMARY KEY, at TEXT NOT NULL, layout TEXT NOT NULL,
        plan TEXT NOT NULL, mend TEXT NOT NULL,
        event TEXT NOT NULL CHECK (event IN ('asked', 'taken back', 'looked over')),
        detail TEXT NOT NULL);
    """,
)
"""One step a version; a released step is never edited, only followed by another."""
TABLES = (
    *("layout", "division", "standing_layout", "reading", "placement", "verification"),
    *("ink", "run", "stroke", "beam", "whereabouts", "given", "ruled", "mend"),
)
"""All that rows are kept in."""


def migrate(connection: sqlite3.Connection, steps: Sequence[str]) -> None:
    """Brings the file up to version `len(steps)`, in one transaction."""
    if version(connection) == len(steps):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have migrated while this one waited for its turn.
        have = version(connection)
        if have == 0:
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute("CREATE TABLE schema_version (version INTEGER NOT NULL)")
            connection.execute("INSERT INTO schema_version VALUES (0)")
        for step in steps[have:]:
            for statement in filter(str.strip, step.split(";")):
                connection.execute(statement)
        connection.execute("UPDATE schema_version SET version = ?", (len(steps),))
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def version(connection: sqlite3.Connection) -> int:
    """The schema version of the file; 0 of an empty one. Raises ValueError where it has none."""
    if not connection.execute("SELECT 1 FROM sqlite_master").fetchone():
        return 0
    rows = connection.execute("SELECT version FROM schema_version").fetchall()
    if len(rows) != 1 or not isinstance(rows[0][0], int) or rows[0][0] < 1:
        raise ValueError(f"{str(rows[0][0])[:20] if rows else 'nothing'} stands for its format")
    return int(rows[0][0])


def columns_in(connection: sqlite3.Connection) -> frozenset[str]:
    """The columns that the file has, as `table.column`."""
    tables = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    return frozenset(
        f"{table}.{column[1]}"
        for (table,) in tables
        for column in connection.execute(f"PRAGMA table_info({table})").fetchall()
    )


def columns_at(number: int) -> frozenset[str]:
    """The columns that a file of this version has."""
    import sqlite3

    with closing(sqlite3.connect(":memory:", isolation_level=None)) as empty:
        if number:
            migrate(empty, MIGRATIONS[:number])
        return columns_in(empty)
