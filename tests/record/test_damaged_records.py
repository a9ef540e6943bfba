"""A damaged job.db: named by table and row, told what is left of it, and never written to.

SQLite's own connection does the damage, and is the outside reader of what is still there.
"""

from __future__ import annotations

import sqlite3
import zlib
from contextlib import closing
from typing import TYPE_CHECKING, Any

import pytest

from devices.driving.kept_places import add_given
from marking.errors import BadInputError
from marking.record.readings import MarkReading
from marking.record.record import RECORD_FILE, open_record
from tests.job.command_cases import BAD_INPUT, assert_plain, contents

if TYPE_CHECKING:
    from pathlib import Path

    from marking.layout.layout import Layout
    from tests.conftest import RunCli

POSE = {"matrix": [[1.0, 0.0], [0.0, 1.0]], "shift": [0.0, 0.0], "about": [0.0, 0.0]}


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A job with a device check, tape marks, readings, a section inked and a proof sheet."""
    from tests.job.broken_files import begun_job

    job, record = begun_job()
    (tmp_path / "job.toml").write_bytes(job)
    (tmp_path / RECORD_FILE).write_bytes(record)
    return tmp_path


@pytest.fixture
def kept(tmp_path: Path, small: Layout) -> Path:
    """A record of 14 placements with 600 readings, and two sections inked."""
    with open_record(tmp_path) as record:
        for number in range(14):
            name = f"r1c{number + 1}"
            marks = [MarkReading(name, f"w{n:02}", (n, n), 0.25, "r.csv") for n in range(40)]
            record.add_readings("abc", marks)
            record.add_placement("abc", name, POSE, [[0.1]], {"verdict": "ink"})
        record.add_ink(small, "r1c1", "begun", "a division")
        record.add_ink(small, "r1c1", "done", "a division")
        record.add_ink(small, "r1c2", "begun", "a division")
    return tmp_path


@pytest.fixture(scope="module")
def small(make_job: Any) -> Layout:
    from marking.layout.layout import lay_out

    return lay_out(make_job({"table": {"length": "30 in", "width": "24 in"}}))


def changed(folder: Path, *statements: str) -> None:
    with closing(sqlite3.connect(folder / RECORD_FILE, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


def read_all(folder: Path) -> None:
    with open_record(folder) as record:
        record.placements()
        record.ink()


def refusal(folder: Path) -> str:
    """What is said when all of a record is read, and that its file stays as it was."""
    before = (folder / RECORD_FILE).read_bytes()
    with pytest.raises(BadInputError) as refused:
        read_all(folder)
    assert (folder / RECORD_FILE).read_bytes() == before
    return str(refused.value)


def test_an_overwritten_page_is_told_with_what_can_still_be_read(kept: Path) -> None:
    """The page of one leaf of the readings, by SQLite's own list of pages."""
    path = kept / RECORD_FILE
    data = bytearray(path.read_bytes())
    leaf = next(
        at
        for at in range(4096, len(data), 4096)
        if data[at] == 13 and b"r1c7w20" in data[at : at + 4096]
    )
    data[leaf : leaf + 4096] = b"\xa5" * 4096
    path.write_bytes(data)
    said = refusal(kept)
    assert f"{path}: damaged (" in said
    assert "of 560 readings" in said
    assert 0 < int(said.partition(" of 560")[0].rpartition(" ")[2]) < 560
    assert "all of the 14 placements and 3 notes of ink" in said
    assert "By that, r1c1 is inked, r1c2 is begun." in said
    assert "Put back a copy" in said
    assert "go on in a new folder" in said
    assert {path.name for path in kept.iterdir()} == {RECORD_FILE}


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("pose", "{"),
        ("pose", "[1, 2]"),
        ("covariance", "[[NaN]]"),
        ("covariance", "[[1, 2]]"),
        ("detail", '"ink"'),
        ("detail", "[" * 50_000),
        ("at", "yesterday"),
        ("at", "2026-13-45T00:00:00+00:00"),
        ("at", "2026-03-04T12:00:00"),
        ("section", None),
        ("section", "r1c1\x1b[2J"),
    ],
)
def test_a_row_that_cannot_be_read_is_named(kept: Path, column: str, value: str | None) -> None:
    written = "x'ff'" if value is None else f"'{value}'"
    changed(kept, f"UPDATE placement SET {column} = {written} WHERE id = 12")
    said = refusal(kept)
    assert f"damaged (placement, row 12: {column}" in said
    assert "Of it can still be read: 13 of 14 placements; all of the 560 readings" in said


def test_a_key_that_is_missing_is_named_with_its_row(run_cli: RunCli, begun: Path) -> None:
    changed(
        begun,
        "UPDATE placement SET detail = json_remove(detail, '$.inked_with.matrix')",
    )
    done = run_cli("place", "--all", "--job", begun)
    assert_plain(done, BAD_INPUT, "damaged (placement, row 1: no 'matrix' in it)", "r1c1 is inked")


@pytest.mark.parametrize("odd", ["-1", "0", "'six'", "NULL", "1.5", "2", "9e99"])
def test_a_format_that_no_version_wrote_is_damage(kept: Path, odd: str) -> None:
    changed(
        kept,
        "CREATE TABLE other (version)",
        "DROP TABLE schema_version",
        "ALTER TABLE other RENAME TO schema_version",
        f"INSERT INTO schema_version VALUES ({odd})",
        *(["DROP TABLE stroke"] if odd == "2" else []),
        *(["DROP TABLE beam"] if odd == "2" else []),
    )
    assert "damaged (" in refusal(kept)


def test_a_record_with_a_table_less_than_its_format_is_damaged(kept: Path) -> None:
    changed(kept, "DROP TABLE ink")
    said = refusal(kept)
    assert "it has no ink.at, ink.event" in said
    assert "What is inked, only the cover tells." in said


def test_an_empty_file_is_no_new_record(kept: Path) -> None:
    (kept / RECORD_FILE).write_bytes(b"")
    assert "an empty file, as a copy that was cut short leaves it" in refusal(kept)


def test_a_record_is_made_whole_or_not_at_all(tmp_path: Path) -> None:
    """What stands under its name is a record from the first moment on."""
    with open_record(tmp_path):
        with closing(sqlite3.connect(tmp_path / RECORD_FILE)) as other:
            assert other.execute("SELECT version FROM schema_version").fetchone()
        assert not list(tmp_path.glob(".*"))


def test_a_folder_in_its_place_is_named(tmp_path: Path) -> None:
    (tmp_path / RECORD_FILE).mkdir()
    with pytest.raises(BadInputError, match="a folder or a device"), open_record(tmp_path):
        pass


def test_a_log_that_holds_what_was_added_last_is_not_written_over(kept: Path) -> None:
    """SQLite takes a log whose first bytes are spoilt for an empty one: ink would be forgotten."""
    path = kept / RECORD_FILE
    with open_record(kept) as record:
        record.add_readings("abc", [MarkReading("r9c9", "last", (1, 1), 0.25, "r.csv")])
        log, whole = (path.with_name(f"{RECORD_FILE}-wal").read_bytes(), path.read_bytes())
    path.write_bytes(whole)
    spoilt = b"\x00\x01" + log[2:]
    path.with_name(f"{RECORD_FILE}-wal").write_bytes(spoilt)
    said = refusal(kept)
    assert f"{RECORD_FILE}-wal, which holds what was added last, does not begin as one" in said
    assert path.with_name(f"{RECORD_FILE}-wal").read_bytes() == spoilt
    path.with_name(f"{RECORD_FILE}-wal").write_bytes(log)
    with open_record(kept) as record:
        assert record.readings("r9c9")


def test_nothing_is_added_to_a_record_with_a_damaged_row(kept: Path) -> None:
    changed(kept, "UPDATE placement SET pose = '{' WHERE id = 3")
    before = contents(kept)[RECORD_FILE]
    with pytest.raises(BadInputError, match="row 3"), open_record(kept) as record:
        record.add_readings("abc", [MarkReading("r1c1", "w", (1, 1), 0.25, "r.csv")])
    assert contents(kept)[RECORD_FILE] == before


def test_nothing_is_added_where_a_reading_that_was_given_is_damaged(kept: Path) -> None:
    """It may be the very one that a machine which has lost its place is given again."""
    one = MarkReading("r1c1", "w", (1, 1), 0.25, "r.csv")
    with open_record(kept) as record:
        add_given(record, [one])
    changed(kept, "UPDATE given SET x_bed = 'far' WHERE id = 1")
    before = contents(kept)[RECORD_FILE]
    with pytest.raises(BadInputError, match=r"given, row 1: x_bed"), open_record(kept) as record:
        record.add_readings("abc", [one])
    assert contents(kept)[RECORD_FILE] == before


def test_data_made_to_fill_the_memory_is_not_unpacked(small: Layout) -> None:
    import tracemalloc

    from marking.begun.plain_data import packed, unpacked_layout

    assert unpacked_layout(packed(small)).warnings == small.warnings
    bomb = zlib.compress(b"[" + b"0," * 20_000_000 + b"0]", 9)
    tracemalloc.start()
    with pytest.raises(BadInputError, match="cut short, or over"):
        unpacked_layout(bomb)
    assert tracemalloc.get_traced_memory()[1] < 30 << 20
    tracemalloc.stop()


def test_a_layout_that_cannot_be_unpacked_is_named(run_cli: RunCli, begun: Path) -> None:
    changed(begun, "UPDATE layout SET data = x'789c'")
    done = run_cli("layout", "--job", begun)
    assert_plain(done, BAD_INPUT, "damaged (layout, row 1: neither a layout nor a division")


def test_a_disk_without_links_takes_a_record_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As FAT, on many a USB stick, answers: EPERM."""

    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("os.link", refused)
    for _ in range(2):
        with open_record(tmp_path) as record:
            assert record.runs() == ()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.db"]
