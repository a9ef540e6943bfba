"""Files that are too long, too deep or no files: refused before they take the machine with them."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from devices.job import Job
from marking.errors import BadInputError
from marking.input.rows import Columns, read_rows
from marking.job.folder import load_job
from marking.record.readings import read_readings
from tests.job.command_cases import BAD_INPUT, TABLE, assert_plain, job_in, limited

if TYPE_CHECKING:
    from pathlib import Path

MOST = 300 << 20
"""Bytes that a command may take to refuse a file."""
READING = '[[reading]]\nsection = "r1c1"\nmark = "w01"\ny = "1 mm"\n'
JOB = TABLE + "[grid]\n"
TOO_MUCH = {
    "brackets in brackets": "[" * 5_000 + "]" * 5_000,
    "tables in tables": "{b = " * 5_000 + "1" + "}" * 5_000,
    "a decimal without end": "9" * 6_000,
    "a hexadecimal without end": "0x" + "f" * 6_000,
    "a key without end": "{" + "a." * 24_000 + "a = 1}",
    "an open string before brackets": '"\n' + "[" * 5_000,
    "a text without end": '"' + "9" * 100_000 + '"',
    "a length without end": '"' + "9" * 100_000 + ' in"',
    "quotes without end": '"""' + '\\"""' * 20_000,
}


@pytest.mark.parametrize("value", TOO_MUCH.values(), ids=TOO_MUCH)
def test_a_job_that_no_person_wrote_is_refused_shortly(tmp_path: Path, value: str) -> None:
    with pytest.raises(BadInputError) as refused:
        load_job(job_in(tmp_path, f"{JOB}pitch = {value}\n"), Job)
    assert len(str(refused.value)) < 1_000


@pytest.mark.parametrize("value", TOO_MUCH.values(), ids=TOO_MUCH)
def test_readings_that_no_person_wrote_are_refused_shortly(tmp_path: Path, value: str) -> None:
    path = tmp_path / "readings.toml"
    path.write_text(f"{READING}x = {value}\n", "utf-8")
    with pytest.raises(BadInputError) as refused:
        read_readings(path)
    assert len(str(refused.value)) < 1_000


def test_what_the_parser_would_take_gigabytes_for_is_never_parsed(tmp_path: Path) -> None:
    """A key of 24,000 dotted parts is 48 kB of file, and of memory its square."""
    import resource

    job_in(tmp_path, f"{'a.' * 24_000}a = 1\n{TABLE}")
    done = limited(
        lambda: resource.setrlimit(resource.RLIMIT_AS, (MOST, MOST)),
        *("layout", "--job", tmp_path),
    )
    assert_plain(done, BAD_INPUT, "line 1: nested too deeply")


@pytest.mark.parametrize("name", ["job.toml", "readings.toml", "readings.csv"])
def test_a_pipe_that_nobody_writes_to_is_not_waited_for(tmp_path: Path, name: str) -> None:
    if name == "job.toml":
        job_in(tmp_path, f'{TABLE}[plotter]\nprofile = "own.toml"\n')
        os.mkfifo(tmp_path / "own.toml")
        with pytest.raises(BadInputError, match="no such profile"):
            load_job(tmp_path, Job)
        return
    os.mkfifo(tmp_path / name)
    with pytest.raises(BadInputError, match=r"a device or a pipe, and no file"):
        read_readings(tmp_path / name)


def test_a_device_without_end_is_refused_at_once(tmp_path: Path) -> None:
    import resource

    job_in(tmp_path, TABLE)
    link = tmp_path / "zero.csv"
    link.symlink_to("/dev/zero")
    done = limited(
        lambda: resource.setrlimit(resource.RLIMIT_AS, (MOST, MOST)),
        *("drive", "--simulate", "--unattended", "--job", tmp_path, "--readings", link),
    )
    assert_plain(done, BAD_INPUT, f"{link}: a device or a pipe, and no file")


@pytest.mark.parametrize("rows", [30, 3_000])
def test_of_many_faults_twenty_are_told_and_the_rest_counted(tmp_path: Path, rows: int) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("section,mark,x,y\n" + "r1c1,w01,7,8 mm\n" * rows, "utf-8")
    with pytest.raises(BadInputError) as refused:
        read_readings(path)
    assert len(refused.value.messages) == 21
    assert refused.value.messages[0].startswith(f"{path}:2: x = '7'")
    assert refused.value.messages[-1] == f"and {rows - 20} more; mend these first"


def test_of_many_unknown_keys_in_a_job_twenty_are_told(tmp_path: Path) -> None:
    keys = "".join(f"key{number} = 1\n" for number in range(9_000))
    with pytest.raises(BadInputError) as refused:
        load_job(job_in(tmp_path, f"{JOB}{keys}"), Job)
    assert len(refused.value.messages) == 21
    assert "grid.key0: unknown key" in refused.value.messages[0]
    assert refused.value.messages[-1].startswith("and 8980 more")


def test_a_row_of_a_table_is_known_by_its_line_however_many_there_are(tmp_path: Path) -> None:
    path = tmp_path / "measured.toml"
    lines = "".join(f"p{number} = '1 in'\n" for number in range(6_000))
    path.write_text(f"[measured]\n{lines}p6000 = 'x'\n", "utf-8")
    with pytest.raises(BadInputError, match=r"measured\.toml:6002: length = 'x'"):
        read_rows(path, Columns("measured", ("id",), ("length",), pairs=True))


def test_a_name_without_end_or_with_a_terminals_codes_is_no_name(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    for mark in ("w" * 5_000, "w\x1b[31m"):
        path.write_text(f"section,mark,x,y\nr1c1,{mark},1 mm,2 mm\n", "utf-8")
        with pytest.raises(BadInputError, match="no name") as refused:
            read_readings(path)
        assert "\x1b" not in str(refused.value)
        assert len(str(refused.value)) < 300


def test_an_unknown_key_with_brackets_in_it_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"od\[d\]: unknown key"):
        load_job(job_in(tmp_path, f"'od[d]' = 1\n{TABLE}"), Job)
