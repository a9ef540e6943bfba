"""Interrupted, cut off or out of room while it works: nothing lost, nothing half done."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from marking.job.folder import JOB_FILE
from tests.conftest import MILLRACE
from tests.job.command_cases import (
    BAD_INPUT,
    COMMAND,
    INTERRUPTED,
    REFUSED,
    TABLE,
    assert_plain,
    contents,
    job_in,
    limited,
)

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


INTERRUPT = """
import os, signal, sys
at, out = int(sys.argv.pop(1)), sys.argv.pop(1)
seen = 0
def watch(event, args):
    global seen
    if event in ("open", "os.rename") and str(args[0]).startswith(out):
        seen += 1
        if seen == at:
            os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(watch)
from devices.commands import main
sys.exit(main())
"""
"""Sends the process a real SIGINT at the n-th opening or renaming of a file below a path."""


@pytest.fixture(scope="module")
def old_and_new_set(
    run_cli: RunCli, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, tuple[str, dict[str, bytes | None]]]:
    """A job's text and what is written from it, before and after a change."""
    sets = {}
    for name, length in (("old", "50 in"), ("new", "48 in")):
        text = TABLE.replace("50 in", length)
        folder = job_in(tmp_path_factory.mktemp(name), text)
        assert run_cli("write", "--svg", "--hpgl", "--job", folder).returncode == 0
        sets[name] = text, contents(folder / "out")
    return sets


@pytest.mark.parametrize("share", [0.02, 0.3, 0.51, 0.75, 0.99])
def test_ctrl_c_while_writing_leaves_the_old_set_or_the_new_one(
    old_and_new_set: dict[str, tuple[str, dict[str, bytes | None]]], tmp_path: Path, share: float
) -> None:
    """A section of one layout beside one of another would be plotted where it does not belong."""
    text, new = old_and_new_set["new"]
    _, old = old_and_new_set["old"]
    folder = job_in(tmp_path, text)
    for name, data in old.items():
        path = folder / "out" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if data is None:
            path.mkdir(exist_ok=True)
        else:
            path.write_bytes(data)
    each_opened_and_renamed = 2 * sum(data is not None for data in new.values())
    at = max(1, round(share * each_opened_and_renamed))
    done = subprocess.run(
        [
            *(sys.executable, "-c", INTERRUPT, str(at), str(folder / "out")),
            *("write", "--svg", "--hpgl", "--job", str(folder)),
        ],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert "Traceback" not in done.stderr
    assert done.returncode == INTERRUPTED, "the signal came too late to be seen"
    assert "interrupted" in done.stderr
    left = contents(folder / "out")
    assert left.keys() <= old.keys() | new.keys(), "half-written files are left"
    assert left in (old, new), "files of two layouts lie side by side"


def test_ctrl_c_before_anything_is_done_is_exit_code_130(tmp_path: Path) -> None:
    job_in(tmp_path, MILLRACE)
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            INTERRUPT,
            "1",
            str(tmp_path / JOB_FILE),
            "layout",
            "--job",
            tmp_path,
        ],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert_plain(done, INTERRUPTED, "interrupted")


@pytest.mark.parametrize("words", [["layout", "--json"], ["section", "--json"], ["layout"]])
def test_a_reader_that_leaves_early_is_no_crash(tmp_path: Path, words: list[str]) -> None:
    """As in `canvasrule layout | head -1`."""
    job_in(tmp_path, MILLRACE)
    with subprocess.Popen(
        [*COMMAND, *words, "--job", str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.read(1)
        running.stdout.close()
        said = running.stderr.read()
        code = running.wait()
    assert b"Traceback" not in said
    assert b"Exception ignored" not in said
    assert code == 0


def test_closed_outputs_are_no_crash(tmp_path: Path) -> None:
    """As in `canvasrule layout >&-`, and with both outputs closed."""
    job_in(tmp_path, TABLE)
    for closed in ([1], [2], [1, 2]):

        def close(closed: list[int] = closed) -> None:
            for output in closed:
                os.close(output)

        done = limited(close, "layout", "--json", "--job", tmp_path)
        assert "Traceback" not in done.stderr
        assert done.returncode in (0, REFUSED, BAD_INPUT)


@pytest.mark.parametrize("words", [["layout"], ["layout", "--json"]])
def test_output_to_a_full_disk_is_an_error_and_no_crash(tmp_path: Path, words: list[str]) -> None:
    """As in `canvasrule layout > report.md` where there is no room for it."""
    import resource

    job_in(tmp_path, TABLE)
    with (tmp_path / "report.md").open("wb") as report:
        done = subprocess.run(
            [*COMMAND, *words, "--job", str(tmp_path)],
            stdout=report,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0)),
        )
    assert "Traceback" not in done.stderr, done.stderr[-300:]
    assert "Exception ignored" not in done.stderr
    assert done.returncode in (REFUSED, BAD_INPUT)
    assert "File too large" in done.stderr
