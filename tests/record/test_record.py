"""The job's record: nothing lost, nothing mixed up, and a clear word when it cannot be used.

SQLite itself (its own command of integrity, and a second connection) is the outside reader.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone

import pytest
from msgspec.structs import asdict

from marking.errors import BadInputError, RefusedError
from marking.layout.layout import lay_out
from marking.record.readings import MarkReading
from marking.record.record import RECORD_FILE, layout_hash, open_record
from marking.record.schema import MIGRATIONS, migrate

NOON = datetime(2026, 3, 4, 12, 0, 0, tzinfo=UTC)
SMALL = {"table": {"length": "30 in", "width": "24 in"}}


@pytest.fixture(scope="module")
def small(make_job):
    return lay_out(make_job(SMALL))


@pytest.fixture(scope="module")
def moved(make_job):
    return lay_out(make_job({**SMALL, "grid": {"end_margin": "1 1/32 in"}}))


def reading(mark="w01", x=1.5, y=-2.25):
    return MarkReading("r1c2", mark, (x, y), 0.25, "readings.csv:2")


def test_what_was_kept_is_there_when_the_job_is_opened_again(tmp_path):
    pose = {"x": 10.125, "y": -3.5, "angle": 1e-4}
    with open_record(tmp_path, lambda: NOON) as record:
        record.add_readings("abc", [reading(), reading("w02", 7.0, 8.0)])
        record.add_placement("abc", "r1c2", pose, [[0.04, 0.0], [0.0, 0.04]], {"verdict": "ink"})
        record.add_check("abc", "device", "A3 flat bed", {"scale_x": 0.9952})
        record.add_check("abc", "proof", "cover", {"passed": True})
    with open_record(tmp_path) as record:
        assert [(r.mark, r.at_bed, r.at) for r in record.readings("r1c2")] == [
            ("w01", (1.5, -2.25), NOON),
            ("w02", (7.0, 8.0), NOON),
        ]
        assert record.readings("r9c9") == ()
        (placed,) = record.placements()
        assert (placed.pose, placed.covariance[1][1]) == (pose, 0.04)
        (device,) = record.checks("device", "A3 flat bed")
        assert device.result == {"scale_x": 0.9952}
        assert record.checks("device", "another") == ()
        assert record.checks("proof")[0].result == {"passed": True}


def test_times_are_kept_in_utc_whatever_the_clock_on_the_wall(tmp_path):
    wall = timezone(timedelta(hours=-7))
    with open_record(tmp_path, lambda: NOON.astimezone(wall)) as record:
        record.add_readings("abc", [reading()])
        assert record.readings()[0].at == NOON
    (kept,) = sqlite3.connect(tmp_path / RECORD_FILE).execute("SELECT at FROM reading").fetchone()
    assert kept == "2026-03-04T12:00:00.000+00:00"


def test_the_file_is_written_ahead_and_flushed_in_full(tmp_path):
    with open_record(tmp_path) as record:
        record.add_readings("abc", [reading()])
        assert (tmp_path / f"{RECORD_FILE}-wal").exists()
        assert record._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert record._connection.execute("PRAGMA synchronous").fetchone() == (2,)


def test_a_list_of_readings_is_kept_whole_or_not_at_all(tmp_path):
    with open_record(tmp_path) as record:
        with pytest.raises(BadInputError, match="not a finite number"):
            record.add_readings("abc", [reading(), reading("w02", float("nan"))])
        assert record.readings() == ()
        with pytest.raises(BadInputError, match="not a finite number"):
            record.add_check("abc", "proof", "cover", {"scale": float("inf")})
        assert record.checks("proof") == ()


def test_the_hash_knows_a_moved_line_and_nothing_else(make_job, small, moved):
    assert layout_hash(small) == layout_hash(lay_out(make_job(SMALL)))
    assert layout_hash(small) != layout_hash(moved)
    renamed = lay_out(make_job({**SMALL, "title": "Another name"}))
    assert layout_hash(small) == layout_hash(renamed)
    turned = type(small)(**{**asdict(small), "strokes": small.strokes[::-1]})
    assert layout_hash(small) == layout_hash(turned)


def test_before_any_ink_the_layout_may_change_freely(tmp_path, small, moved):
    with open_record(tmp_path) as record:
        record.guard_layout(small)
        record.guard_layout(moved)
        record.guard_layout(moved, accept=True)
        assert record.standing_layout() is None


def test_once_inked_a_moved_line_is_refused_until_the_person_says_so(tmp_path, small, moved):
    with open_record(tmp_path) as record:
        record.add_ink(small, "r1c1", "begun", "a division")
        record.add_ink(small, "r1c1", "done", "a division")
        record.guard_layout(small)
        with pytest.raises(RefusedError, match=r"1 section \(r1c1\)"):
            record.guard_layout(moved)
        with pytest.raises(RefusedError, match="already inked"):
            record.add_ink(moved, "r1c2", "begun", "a division")
        assert [(ink.section, ink.event) for ink in record.ink()] == [
            ("r1c1", "begun"),
            ("r1c1", "done"),
        ]
        record.guard_layout(moved, accept=True)
        record.guard_layout(moved)
        record.add_ink(moved, "r1c2", "begun", "a division")
        with pytest.raises(RefusedError):
            record.guard_layout(small)


def test_a_record_of_a_later_version_is_left_alone(tmp_path):
    with open_record(tmp_path):
        pass
    connection = sqlite3.connect(tmp_path / RECORD_FILE, isolation_level=None)
    connection.execute("UPDATE schema_version SET version = 99")
    connection.close()
    before = (tmp_path / RECORD_FILE).read_bytes()
    with pytest.raises(RefusedError, match="later version"), open_record(tmp_path):
        pass
    assert (tmp_path / RECORD_FILE).read_bytes() == before


def test_an_older_record_is_brought_up_with_all_it_holds(tmp_path):
    with open_record(tmp_path) as record:
        record.add_readings("abc", [reading()])
    connection = sqlite3.connect(tmp_path / RECORD_FILE, isolation_level=None)
    later = (*MIGRATIONS, "ALTER TABLE reading ADD COLUMN observer TEXT NOT NULL DEFAULT 'unknown'")
    migrate(connection, later)
    row = connection.execute("SELECT mark, observer FROM reading").fetchall()
    assert row == [("w01", "unknown")]
    assert connection.execute("SELECT version FROM schema_version").fetchone() == (len(later),)


def test_a_migration_that_fails_changes_nothing(tmp_path):
    with open_record(tmp_path) as record:
        record.add_readings("abc", [reading()])
    connection = sqlite3.connect(tmp_path / RECORD_FILE, isolation_level=None)
    with pytest.raises(sqlite3.OperationalError):
        migrate(connection, (*MIGRATIONS, "DROP TABLE placement; DROP TABLE nothing_such"))
    assert connection.execute("SELECT COUNT(*) FROM placement").fetchone() == (0,)
    assert connection.execute("SELECT version FROM schema_version").fetchone() == (len(MIGRATIONS),)


def test_a_file_that_is_no_database_is_named_and_kept(tmp_path):
    path = tmp_path / RECORD_FILE
    path.write_bytes(b"readings of the bench, do not lose\n" * 40)
    with pytest.raises(BadInputError, match=r"job\.db: damaged"), open_record(tmp_path):
        pass
    assert path.read_bytes().startswith(b"readings of the bench")


def test_a_damaged_database_is_named_and_kept(tmp_path):
    with open_record(tmp_path) as record:
        record.add_readings("abc", [reading(f"w{n}", n, n) for n in range(400)])
    path = tmp_path / RECORD_FILE
    data = bytearray(path.read_bytes())
    data[4096 * 2 :] = b"\xff" * (len(data) - 4096 * 2)
    path.write_bytes(data)
    with pytest.raises(BadInputError, match="Put back a copy"), open_record(tmp_path) as record:
        record.readings()
    assert path.read_bytes() == bytes(data)


def test_a_record_that_lost_rows_without_a_word_from_sqlite_is_refused(tmp_path):
    """One page tells of half its rows: SQLite reads on, and strokes would be inked twice.

    A page's header has its count of cells in bytes 3 and 4 (SQLite's "Database File Format", 1.6).
    """
    drawn = tuple(f"cross-{n}" for n in range(600))
    with open_record(tmp_path) as record:
        record.add_strokes(1, "r1c1", drawn, "drawn")
    path = tmp_path / RECORD_FILE
    data = bytearray(path.read_bytes())
    leaf = next(
        at
        for at in range(4096, len(data), 4096)
        if data[at] == 13 and b"cross-77" in data[at : at + 4096]
    )
    cells = int.from_bytes(data[leaf + 3 : leaf + 5], "big")
    data[leaf + 3 : leaf + 5] = (cells // 2).to_bytes(2, "big")
    path.write_bytes(data)
    with sqlite3.connect(path) as connection:
        left = connection.execute("SELECT * FROM stroke ORDER BY id").fetchall()
    connection.close()
    assert 0 < len(left) < len(drawn)
    before = path.read_bytes()
    with pytest.raises(BadInputError, match="Put back a copy"), open_record(tmp_path):
        pass
    assert path.read_bytes() == before


def test_another_programs_database_is_not_written_to(tmp_path):
    connection = sqlite3.connect(tmp_path / RECORD_FILE)
    connection.execute("CREATE TABLE orders (id INTEGER)")
    connection.commit()
    connection.close()
    with pytest.raises(BadInputError, match="not a job's record"), open_record(tmp_path):
        pass


def test_a_folder_that_is_not_there_is_said_so(tmp_path):
    with pytest.raises(BadInputError, match="no such folder"), open_record(tmp_path / "none"):
        pass


def test_a_locked_record_says_who_to_wait_for(tmp_path, monkeypatch):
    monkeypatch.setattr("marking.record.file.PATIENCE_SECONDS", 0.05)
    with open_record(tmp_path) as record:
        other = sqlite3.connect(tmp_path / RECORD_FILE, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RefusedError, match="in use by another program"):
            record.add_readings("abc", [reading()])
        other.execute("ROLLBACK")
        record.add_readings("abc", [reading()])
        assert len(record.readings()) == 1


WRITER = """
import sys
from pathlib import Path
from marking.record.readings import MarkReading
from marking.record.record import open_record
folder, name = Path(sys.argv[1]), sys.argv[2]
with open_record(folder) as record:
    for n in range(20):
        pair = [MarkReading(name, f"{n}{side}", (n, n), 0.25, name) for side in "ab"]
        record.add_readings("abc", pair)
"""


def test_several_commands_at_once_lose_nothing_and_break_nothing(tmp_path):
    names = ["one", "two", "three"]
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), name]) for name in names
    ]
    assert [writer.wait() for writer in writers] == [0, 0, 0]
    with open_record(tmp_path) as record:
        for name in names:
            marks = [r.mark for r in record.readings(name)]
            assert marks == [f"{n}{side}" for n in range(20) for side in "ab"]
    connection = sqlite3.connect(tmp_path / RECORD_FILE)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


KILLED = """
import os, sys
from pathlib import Path
from marking.record.record import open_record
from marking.record.readings import MarkReading
folder = Path(sys.argv[1])
with open_record(folder) as record:
    record.add_readings("abc", [MarkReading("kept", "w", (0, 0), 0.25, "")])
    with record._writing() as at:
        record._insert("reading", "layout, section, mark, x_bed, y_bed, sd, source", at,
            [("abc", "half", "w", 0, 0, 0.25, "")])
        os._exit(9)
"""


def test_a_command_killed_in_the_middle_leaves_only_what_was_whole(tmp_path):
    done = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], check=False)
    assert done.returncode == 9
    with open_record(tmp_path) as record:
        assert [r.section for r in record.readings()] == ["kept"]
