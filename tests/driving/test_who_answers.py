"""What answers at a port: a machine asked for its name, and for nothing else."""

from __future__ import annotations

import json
import socket
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

from devices.commands import main
from devices.driving.who_answers import who_answers
from devices.job import Job
from devices.session.claim import claimed
from marking.job.folder import load_job
from tests.inking.kills import free_port, make_job, plotter_at

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@contextmanager
def answering(answers: bytes) -> Iterator[tuple[str, list[bytes]]]:
    """A port over TCP where everything heard is answered alike, and what it was sent."""
    heard: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            line = server.accept()[0]
            with line:
                while data := line.recv(100):
                    heard.append(data)
                    line.sendall(answers)

        threading.Thread(target=serve, daemon=True).start()
        yield f"socket://127.0.0.1:{server.getsockname()[1]}", heard


@pytest.mark.parametrize("plotter", ["flatbed-a3", "gantry-gcode"])
def test_a_machine_is_asked_for_its_name_and_told_nothing_that_moves_it(
    plotter: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Names as the simulated ones have them from their manuals: OI, and the build info of $I."""
    make_job(tmp_path / "a", plotter)
    with plotter_at(tmp_path / "a") as port:
        assert main(["drive", "--job", str(tmp_path / "a"), "--who", *port, "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["ports"]
    assert told["answers"] == {"flatbed-a3": "7470A"}.get(plotter, "[VER:1.1h.20190825:]")
    assert not (tmp_path / "a" / "cloth.ink").read_bytes()
    assert not (tmp_path / "a" / "job.db").exists()


def test_nothing_readable_nothing_at_all_and_nobody_there_are_three_things(
    tmp_path: Path,
) -> None:
    make_job(tmp_path / "a", "flatbed-a3")
    plotter = load_job(tmp_path / "a", Job).plotter
    with answering(b"\xfe\x87\x01\r") as (garbled, heard), answering(b"") as (silent, _):
        nobody = f"socket://127.0.0.1:{free_port()}"
        found = who_answers([garbled, silent, nobody], plotter)
    assert [one.answers for one in found] == [None, None, None]
    assert [one.says.split(":")[0] for one in found] == [
        "answers what cannot be read", "nothing answers", "cannot be opened",
    ]  # fmt: skip
    # OI of the HP 7470A manual, page 7-7, behind what stops and empties it: chapter 10.
    assert heard == [b"\x1b.(\x1b.J\x1b.KOI;"] * 2


def test_nothing_is_asked_while_a_command_is_at_work_on_the_job(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_job(tmp_path / "a", "flatbed-a3")
    with claimed(tmp_path / "a", "drive"):
        assert main(["drive", "--job", str(tmp_path / "a"), "--who", "--port", "COM9"]) == 1
    assert "is at work on this job" in capsys.readouterr().err
