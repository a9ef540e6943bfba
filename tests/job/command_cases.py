"""The real command run on a job folder that something is wrong with, and what it left there."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

from marking.job.folder import JOB_FILE

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.conftest import RunCli

TABLE = '[table]\nlength = "50 in"\nwidth = "30 in"\n'
SURVEY = "\n".join(
    [
        "[table.survey]",
        'near = "50 in"',
        'far = "50 in"',
        'zero_end = "30 in"',
        'far_end = "30 in"',
        'diagonal_from_zero_near = "58 5/16 in"',
        'diagonal_from_zero_far = "58 5/16 in"',
        "",
    ]
)
COMMAND = [sys.executable, "-m", "devices.commands"]
REFUSED, BAD_INPUT, INTERRUPTED = 1, 2, 130


def job_in(folder: Path, text: str | bytes) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    data = text.encode() if isinstance(text, str) else text
    (folder / JOB_FILE).write_bytes(data)
    return folder


def contents(folder: Path) -> dict[str, bytes | None]:
    """Everything below `folder`: files with their bytes, folders with None."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }


def assert_plain(done: subprocess.CompletedProcess[str], code: int, *said: str) -> None:
    """The exit code, nothing on stdout, and messages to a person with all of `said` in them."""
    assert "Traceback" not in done.stderr, done.stderr[-600:]
    assert done.returncode == code, done.stderr
    assert done.stdout == ""
    assert all(line.startswith("canvasrule: ") for line in done.stderr.splitlines()), done.stderr
    for words in said:
        assert words in done.stderr, done.stderr


def assert_refused(run_cli: RunCli, folder: Path, code: int, *said: str) -> None:
    """`write`, which reads, lays out and cuts the job, says so and leaves nothing behind."""
    before = contents(folder)
    assert_plain(run_cli("write", "--json", "--job", folder), code, *said)
    assert contents(folder) == before


def without_privilege() -> None:
    """Makes a process of root's obey file modes like anyone's (Linux capabilities 1 and 2)."""
    if os.geteuid() == 0 and sys.platform == "linux":
        import ctypes

        drop_from_bounding_set = 24
        for override in (1, 2):
            ctypes.CDLL(None).prctl(drop_from_bounding_set, override, 0, 0, 0)


def limited(before: Callable[[], None], *words: str | Path) -> subprocess.CompletedProcess[str]:
    """Runs the command after `before` has run in its process."""
    return subprocess.run(
        [*COMMAND, *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        preexec_fn=before,
    )
