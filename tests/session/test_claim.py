"""One command at a time works on a job: two real processes, whatever ends the first."""

from __future__ import annotations

import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from devices.session.claim import LOCK_FILE, claimed
from marking.errors import BadInputError, RefusedError
from tests.inking.kills import SECTION, make_job
from tests.session.terminal import Terminal, started

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.conftest import RunCli

SIMULATED = ["--simulate", "--unattended", "--section", SECTION, "--pace", "400"]


@pytest.fixture
def waiting_drive(tmp_path: Path) -> Iterator[Terminal]:
    """A real drive of the job in `tmp_path / "job"` that waits for its person."""
    make_job(tmp_path / "job", "flatbed-a4")
    first = started("drive", "--job", tmp_path / "job", "--port", "loop://")
    try:
        first.until("[Enter")
        yield first
    finally:
        first.close()


def test_a_second_drive_on_another_port_is_told_which_one_is_at_work(
    run_cli: RunCli, tmp_path: Path, waiting_drive: Terminal
) -> None:
    for port in (["--port", "loop://"], ["--simulate"]):
        second = run_cli("drive", "--job", tmp_path / "job", "--unattended", *port)
        assert second.returncode == 1
        assert f"drive (process {waiting_drive.process}, since " in second.stderr
        assert "Wait until it is done, or end it" in second.stderr
    waiting_drive.type("n")
    assert waiting_drive.ended() == 1
    assert run_cli("drive", "--job", tmp_path / "job", *SIMULATED).returncode == 0


def test_nothing_is_placed_or_taken_as_inked_behind_the_back_of_a_drive(
    run_cli: RunCli, tmp_path: Path, waiting_drive: Terminal
) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text("section,mark,x_mm,y_mm\nr1c2,w01,1,1\n", "utf-8")
    for words in (["--inked", SECTION], ["--readings", readings]):
        done = run_cli("place", "--job", tmp_path / "job", *words)
        assert done.returncode == 1
        assert f"drive (process {waiting_drive.process}" in done.stderr
    # What only reads goes on.
    assert run_cli("drive", "--job", tmp_path / "job", "--csv").returncode == 0
    assert "at work" not in run_cli("place", "--job", tmp_path / "job", "--all").stderr


def test_a_killed_drive_leaves_no_claim_and_the_next_one_no_lock_file(
    run_cli: RunCli, tmp_path: Path, waiting_drive: Terminal
) -> None:
    job = tmp_path / "job"
    waiting_drive.send_signal(signal.SIGKILL)
    assert waiting_drive.ended() == -signal.SIGKILL
    assert (job / LOCK_FILE).exists()
    done = run_cli("drive", "--job", job, *SIMULATED)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in job.iterdir()} == {"job.toml", "job.db", "out"}


def test_a_claim_is_given_up_however_the_work_ends(tmp_path: Path) -> None:
    def fail() -> None:
        with claimed(tmp_path, "drive"):
            raise BadInputError("a fault of its own")

    with pytest.raises(BadInputError, match="of its own"):
        fail()
    assert list(tmp_path.iterdir()) == []
    with claimed(tmp_path, "beam"), pytest.raises(RefusedError, match=r"beam \(process"):
        fail()
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_or_shut_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=LOCK_FILE), claimed(tmp_path / "none", "drive"):
        pass
    assert not (tmp_path / "none").exists()
    (tmp_path / LOCK_FILE).mkdir()
    with pytest.raises(BadInputError, match=LOCK_FILE), claimed(tmp_path, "drive"):
        pass


IN_TURN = """
import sys
from pathlib import Path
from devices.session.claim import claimed
from marking.errors import RefusedError
folder, times = Path(sys.argv[1]), int(sys.argv[2])
while times:
    try:
        with claimed(folder, "drive"):
            # Fails when another one is inside.
            (folder / "inside").mkdir()
            (folder / "inside").rmdir()
            times -= 1
    except RefusedError:
        pass
"""


def test_processes_that_claim_and_give_up_all_the_time_are_never_both_inside(
    tmp_path: Path,
) -> None:
    """Also while one removes the lock file that another has just opened."""
    many = [
        subprocess.Popen([sys.executable, "-c", IN_TURN, str(tmp_path), "100"]) for _ in range(4)
    ]
    assert [one.wait() for one in many] == [0, 0, 0, 0]
    assert list(tmp_path.iterdir()) == []
