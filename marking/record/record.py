"""What has happened in a job: readings, placements, checks and ink, in `job.db`.

SQLite with a write-ahead log; nothing is ever changed or removed, only added. It knows rows and
times, not what a placement or a check means; the tables themselves stand in
`marking.record.schema`, and those that only machines have a use for are added to and read by their
owners, through `add_rows` and `rows`.
"""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from marking.errors import BadInputError, RefusedError
from marking.job.folder import RECORD_FILE
from marking.measures.counts import counted
from marking.record.cells import finite, json_cell, storable, time_cell
from marking.record.file import NotKeptError, damaged, explained, open_file, set_up
from marking.record.kept import decoded
from marking.record.rows import (
    KeptCheck,
    KeptDivision,
    KeptInk,
    KeptLayout,
    KeptPlacement,
    KeptReading,
    KeptRuled,
    KeptRun,
    KeptStroke,
)
from marking.record.schema import MIGRATIONS, TABLES, migrate, version

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from marking.errors import CanvasruleError
    from marking.layout.layout import Layout
    from marking.record.readings import MarkReading
    from marking.record.rows import CheckKind, InkEvent, RuledEvent, StrokeEvent

__all__ = ["NotKeptError", "Record", "layout_hash", "open_record", "utc_now"]
_LEAST_MOVE = 0.001
_OFF_CENTRE = 0.3183
"""Tape fractions are halves of a micrometre; rounded off centre, they do not hang on a last bit."""


def layout_hash(layout: Layout) -> str:
    """SHA-256 of where every line lies, to the micrometre.

    Ids, pens and the order of strokes do not count: what is asked is whether a line would move.
    """
    strokes = sorted(
        f"{stroke.layer} {np.floor(stroke.points / _LEAST_MOVE + _OFF_CENTRE).astype(int).tolist()}"
        for stroke in layout.strokes
    )
    return hashlib.sha256("\n".join(strokes).encode("ascii")).hexdigest()


def utc_now() -> datetime:
    """The time now, in UTC."""
    return datetime.now(UTC)


class Record:
    """An open `job.db`. Every adding method is one transaction: whole on the disk, or not there."""

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        clock: Callable[[], datetime],
        older: sqlite3.Connection | None = None,
    ) -> None:
        """`older` is the file itself where `connection` is a copy of it, brought up to date.

        A file of an older version stays as it is, and usable by that version, until the first
        thing is to be kept.
        """
        self.path = path
        self._connection = connection
        self._clock = clock
        self._older = older
        self._sound = False

    def close(self) -> None:
        """Closes what is open."""
        self._connection.close()
        if self._older is not None:
            self._older.close()

    def add_layout(self, named: str, begun_with: Any, data: bytes) -> None:
        """Keeps a layout, by its hash."""
        self.add_rows("layout", "hash, begun_with, data", [(named, json_cell(begun_with), data)])

    def layouts(self) -> tuple[KeptLayout, ...]:
        """The layouts that work was begun with, oldest first."""
        return tuple(
            KeptLayout(named, begun_with, data, number)
            for number, _, named, begun_with, data in self.rows("layout")
        )

    def add_division(
        self, named: str, layout: str, zone: str, begun_with: Any, data: bytes
    ) -> None:
        """Keeps a division of the layout with the hash `layout`, by its own hash."""
        row = (named, layout, zone, json_cell(begun_with), data)
        self.add_rows("division", "hash, layout, zone, begun_with, data", [row])

    def divisions(self) -> tuple[KeptDivision, ...]:
        """The divisions that work was begun with, oldest first."""
        return tuple(
            KeptDivision(named, layout, zone, begun_with, data, number)
            for number, _, named, layout, zone, begun_with, data in self.rows("division")
        )

    def add_readings(self, layout: str, readings: Sequence[MarkReading]) -> None:
        """Keeps `readings` taken under the layout with this hash: all of them, or none."""
        rows = [
            (layout, r.section, r.mark, *map(finite, r.at_bed), finite(r.sd), r.where)
            for r in readings
        ]
        self.add_rows("reading", "layout, section, mark, x_bed, y_bed, sd, source", rows)

    def readings(self, section: str | None = None) -> tuple[KeptReading, ...]:
        """All readings, or a section's, in the order they were kept."""
        rows = self.rows("reading", section=section)
        return tuple(
            KeptReading(at, layout, named, mark, (x, y), sd, source)
            for _, at, layout, named, mark, x, y, sd, source in rows
        )

    def add_placement(
        self, layout: str, section: str, pose: Any, covariance: Any, detail: Any = None
    ) -> None:
        """Keeps a placement; pose, covariance and detail are plain data (arrays as lists)."""
        row = (layout, section, json_cell(pose), json_cell(covariance), json_cell(detail))
        self.add_rows("placement", "layout, section, pose, covariance, detail", [row])

    def placements(self, section: str | None = None) -> tuple[KeptPlacement, ...]:
        """All placements, or a section's, oldest first; a section's last one holds."""
        return tuple(
            KeptPlacement(number, at, layout, named, *texts)
            for number, at, layout, named, *texts in self.rows("placement", section=section)
        )

    def add_check(self, layout: str, kind: CheckKind, subject: str, result: Any) -> None:
        """Keeps a check's result, plain data; `subject` names the device, or the cover."""
        row = (layout, kind, subject, json_cell(result))
        self.add_rows("verification", "layout, kind, subject, result", [row])

    def checks(self, kind: CheckKind, subject: str | None = None) -> tuple[KeptCheck, ...]:
        """The checks of one kind, and of one subject when it is given, oldest first."""
        rows = self.rows("verification", kind=kind, subject=subject)
        return tuple(
            KeptCheck(number, at, layout, kind, named, result)
            for number, at, layout, _, named, result in rows
        )

    def add_ink(self, layout: Layout, section: str, event: InkEvent, plan: str) -> None:
        """Keeps that inking a section has begun, before the first byte is sent, or is done.

        `plan` is the hash of the division, by which a section of that id is told from another
        one. Raises RefusedError, keeping nothing, when ink stands under another layout.
        """
        if not plan:
            raise ValueError("ink without its division is the ink of no section")
        named = layout_hash(layout)
        with self._writing() as at:
            self._stand(named, at)
            self._insert("ink", "layout, section, event, plan", at, [(named, section, event, plan)])

    def add_ruled(self, layout: Layout, lines: Sequence[str], event: RuledEvent, plan: str) -> None:
        """Keeps that lines were ruled by hand, or were not after all; they are ink as any other.

        `plan` is the hash of the division. Raises RefusedError, keeping nothing, when ink stands
        under another layout.
        """
        named = layout_hash(layout)
        with self._writing() as at:
            self._stand(named, at)
            rows = [(named, line, event, plan) for line in lines]
            self._insert("ruled", "layout, line, event, plan", at, rows)

    def ruled(self) -> tuple[KeptRuled, ...]:
        """What was ruled by hand and what was taken back, in order."""
        return tuple(
            KeptRuled(at, layout, line, event, plan)
            for _, at, layout, line, event, plan in self.rows("ruled")
        )

    def ink(self) -> tuple[KeptInk, ...]:
        """What has been inked, in order."""
        return tuple(
            KeptInk(at, layout, section, event, plan)
            for _, at, layout, section, event, plan in self.rows("ink")
        )

    def add_run(
        self, layout: str, section: str, device: Any, pose: Any, remark: str, plan: str
    ) -> int:
        """Keeps that a device is about to ink a section; returns the run's number.

        `device` is what of it moves ink, plain data; `plan` the hash of the division.
        """
        row = (layout, section, json_cell(device), json_cell(pose), remark, plan)
        self.add_rows("run", "layout, section, device, pose, remark, plan", [row])
        return self.runs()[-1].id

    def runs(self, section: str | None = None) -> tuple[KeptRun, ...]:
        """All runs, or a section's, oldest first."""
        return tuple(
            KeptRun(number, at, layout, named, device, pose, remark, plan)
            for number, at, layout, named, device, pose, remark, plan in self.rows(
                "run", section=section
            )
        )

    def add_strokes(
        self, run: int, section: str, strokes: Iterable[str], event: StrokeEvent
    ) -> None:
        """Keeps one event of several strokes: all of them on the disk, or none."""
        rows = [(run, section, stroke, event) for stroke in strokes]
        self.add_rows("stroke", "run, section, stroke, event", rows)

    def strokes(self, section: str | None = None) -> tuple[KeptStroke, ...]:
        """What is known of all strokes, or of a section's, oldest first."""
        return tuple(
            KeptStroke(at, run, named, stroke, event)
            for _, at, run, named, stroke, event in self.rows("stroke", section=section)
        )

    def standing_layout(self) -> str | None:
        """Hash of the layout that ink stands under, as last accepted; None before any ink."""
        rows = self.rows("standing_layout")
        return str(rows[-1][2]) if rows else None

    def guard_layout(self, layout: Layout, *, accept: bool = False) -> None:
        """Refuses a layout that moves a line once ink has been laid.

        With `accept`, which only a person may say, the new layout is kept as the one that
        stands. Raises RefusedError.
        """
        named = layout_hash(layout)
        if not accept:
            self._check_standing(named)
            return
        with self._writing() as at:
            if self.standing_layout() not in (None, named):
                self._insert("standing_layout", "layout, reason", at, [(named, "accepted")])

    def _stand(self, named: str, at: str) -> None:
        """Ink is laid under the layout with this hash; from now on it is the one that stands."""
        self._check_standing(named)
        if self.standing_layout() is None:
            self._insert("standing_layout", "layout, reason", at, [(named, "inked")])

    def _check_standing(self, named: str) -> None:
        standing = self.standing_layout()
        if standing in (None, named):
            return
        begun = list(dict.fromkeys(row.section for row in self.ink()))
        kind = "in", "section"
        if not begun:
            begun, kind = list(dict.fromkeys(row.line for row in self.ruled())), ("as", "line")
        shown = ", ".join(begun[:4]) + (f" and {len(begun) - 4} more" if len(begun) > 4 else "")
        raise RefusedError(
            f"{self.path.parent}: job.toml now lays out other lines than those already inked "
            f"{kind[0]} {counted(len(begun), kind[1])} ({shown}); nothing was "
            "changed. Put job.toml back as it was, or say that the inked lines may disagree with "
            "the new layout"
        )

    def copy_to(self, folder: Path) -> None:
        """Copies all that is kept into a record of its own in `folder`, where none may be yet."""
        path = folder / RECORD_FILE
        with explained(path), closing(sqlite3.connect(path)) as copy:
            self._connection.backup(copy)

    @contextmanager
    def together(self) -> Iterator[None]:
        """Makes one transaction of all that is added inside: whole on the disk, or not there."""
        with self._writing():
            yield

    @contextmanager
    def _writing(self) -> Iterator[str]:
        """One transaction, and its time as text."""
        if self._connection.in_transaction:
            yield time_cell(self._clock())
            return
        self._check_sound()
        with explained(self.path):
            self._bring_up()
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield time_cell(self._clock())
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _check_sound(self) -> None:
        """Reads every row once, before the first is added: nothing is added to a damaged record."""
        if not self._sound:
            for table in TABLES:
                self.rows(table)
            self._sound = True

    def _bring_up(self) -> None:
        """Brings an older file up to this version's tables, and goes on in it."""
        if self._older is None:
            return
        set_up(self._older)
        self._connection.close()
        self._connection, self._older = self._older, None

    def add_rows(self, table: str, columns: str, rows: Iterable[Sequence[Any]]) -> None:
        """Adds rows to a table, cells in the order of `columns`: all of them, or none.

        It is for the owners of the tables that have no methods here.
        """
        with self._writing() as at:
            self._insert(table, columns, at, rows)

    def _insert(self, table: str, columns: str, at: str, rows: Iterable[Sequence[Any]]) -> None:
        blanks = ", ".join("?" * (columns.count(",") + 2))
        self._connection.executemany(
            f"INSERT INTO {table} (at, {columns}) VALUES ({blanks})",
            [(at, *map(storable, row)) for row in rows],
        )

    def rows(self, table: str, **equal: str | None) -> list[list[Any]]:
        """The rows of a table whose columns are `equal` to these, as values, oldest first."""
        return self._selected(table, equal)

    def last_rows(self, table: str, each: str, **equal: str | None) -> list[list[Any]]:
        """Of such rows the last for each value of the column `each`, oldest first."""
        return self._selected(table, equal, each)

    def _selected(
        self, table: str, equal: Mapping[str, str | None], each: str | None = None
    ) -> list[list[Any]]:
        asked = {column: value for column, value in equal.items() if value is not None}
        where = " AND ".join(f"{column} = ?" for column in asked) or "TRUE"
        if each is not None:
            where = f"id IN (SELECT MAX(id) FROM {table} WHERE {where} GROUP BY {each})"
        with explained(self.path):
            found = self._connection.execute(
                f"SELECT * FROM {table} WHERE {where} ORDER BY id", tuple(asked.values())
            )
            rows, columns = found.fetchall(), [column[0] for column in found.description]
        return [self._decoded(table, columns, row) for row in rows]

    def _decoded(self, table: str, columns: Sequence[str], row: Sequence[Any]) -> list[Any]:
        return decoded(table, columns, row, lambda said: self.damaged(table, row[0], said))

    def damaged(self, table: str, row: object, said: str) -> CanvasruleError:
        """The error that tells that one row cannot be used."""
        return damaged(self.path, f"{table}, row {row}: {said}")


@contextmanager
def open_record(folder: Path, clock: Callable[[], datetime] = utc_now) -> Iterator[Record]:
    """The record of the job in `folder`, made when there is none yet, and closed afterwards.

    `clock` tells the time in UTC. Raises BadInputError for a file that is broken or another
    program's, RefusedError for one that is locked or of a newer version; the file is then left
    as it is.
    """
    path = folder / RECORD_FILE
    if not folder.is_dir():
        raise BadInputError(f"{folder}: no such folder, so no record of a job can be kept there")
    connection = open_file(path)
    try:
        with explained(path):
            older = 0 < version(connection) < len(MIGRATIONS)
            if older:
                shown = sqlite3.connect(":memory:", isolation_level=None)
                connection.backup(shown)
                migrate(shown, MIGRATIONS)
            else:
                set_up(connection)
    except BaseException:
        connection.close()
        raise
    record = Record(path, shown, clock, connection) if older else Record(path, connection, clock)
    with closing(record):
        yield record
