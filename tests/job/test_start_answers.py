"""`start` makes a job that reads back, or nothing: it never touches one that is there."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from marking.job.folder import JOB_FILE
from tests.job.command_cases import (
    BAD_INPUT,
    COMMAND,
    INTERRUPTED,
    assert_plain,
    contents,
    job_in,
)

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


def test_an_existing_job_is_never_touched_by_start(run_cli: RunCli, tmp_path: Path) -> None:
    job_in(tmp_path, "whatever is in here")
    before = contents(tmp_path)
    done = run_cli("start", tmp_path, "--table", "bench-64x150")
    assert_plain(done, BAD_INPUT, str(tmp_path / JOB_FILE), "not touched", "another folder")
    assert contents(tmp_path) == before


def test_a_dangling_link_is_never_written_through_by_start(run_cli: RunCli, tmp_path: Path) -> None:
    (tmp_path / JOB_FILE).symlink_to(tmp_path / "elsewhere.toml")
    done = run_cli("start", tmp_path, "--table", "bench-64x150")
    assert_plain(done, BAD_INPUT, str(tmp_path / JOB_FILE))
    assert not (tmp_path / "elsewhere.toml").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--table", "bench"], ["--table bench", "bench-64x150"]),
        (["--table", "bench-64x150", "--plotter", "a5"], ["--plotter a5", "flatbed-a4"]),
        (["--table", "bench-64x150", "--length", "3 m"], ["--table", "--length"]),
        (["--length", "50", "--width", "30 in"], ["--length", "50", "no unit"]),
        (["--length=-5 in", "--width", "30 in"], ["--length", "negative"]),
        (["--length", "0 in", "--width", "30 in"], ["--length", "more than zero"]),
        (["--length", "10000 m", "--width", "30 in"], ["--length", "100 m"]),
        (["--length", "50 in", "--width", "nan"], ["--width"]),
        (["--length", "50 in"], ["--width"]),
        ([], ["--length", "--table"]),
        (["--table", "bench-64x150", "--title", "x" * 300], ["title", "200"]),
    ],
)
def test_start_with_wrong_answers_leaves_nothing_behind(
    run_cli: RunCli, tmp_path: Path, words: list[str], said: list[str]
) -> None:
    assert_plain(run_cli("start", tmp_path / "bench", *words, stdin=""), BAD_INPUT, *said)
    assert contents(tmp_path) == {}


@pytest.mark.parametrize(
    "words",
    [
        ["--table", "bench-64x150", "--title", "a\x7fb"],
        ["--table", "bench-64x150", "--title", "a\x07b"],
        ["--length", "150\nin", "--width", "64 in"],
        ["--length", "150 in", "--width", "5'\n4\""],
    ],
)
def test_start_makes_a_job_that_reads_back_or_none(
    run_cli: RunCli, tmp_path: Path, words: list[str]
) -> None:
    done = run_cli("start", tmp_path / "bench", *words)
    assert "Traceback" not in done.stderr
    if done.returncode == 0:
        assert run_cli("write", "--job", tmp_path / "bench").returncode == 0
    else:
        assert done.returncode == BAD_INPUT
        assert contents(tmp_path) == {}


def test_start_in_a_folder_whose_name_is_no_unicode(tmp_path: Path) -> None:
    folder = os.fsencode(tmp_path) + b"/bench-\xff"
    done = subprocess.run(
        [*COMMAND, "start", folder, "--table", "bench-64x150"],
        capture_output=True,
        check=False,
    )
    assert b"Traceback" not in done.stderr, done.stderr[-300:]
    assert done.returncode in (0, BAD_INPUT)


def test_leaving_at_a_question_of_start_is_no_crash(tmp_path: Path) -> None:
    """Control-D on a real terminal."""
    import pty

    child, terminal = pty.fork()
    if child == 0:
        os.execv(sys.executable, [*COMMAND, "start", str(tmp_path / "bench")])
    said = b""
    while b"> " not in said:
        said += os.read(terminal, 1000)
    os.write(terminal, b"\x04")
    try:
        while more := os.read(terminal, 1000):
            said += more
    except OSError:
        pass
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    os.close(terminal)
    assert b"Traceback" not in said, said[-400:]
    assert code in (BAD_INPUT, INTERRUPTED)
    assert contents(tmp_path) == {}
