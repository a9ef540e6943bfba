"""What a person is told when a run ends: the command that goes on, and what is on the cloth."""

from __future__ import annotations

import json
import os
import resource
import shlex
import subprocess
import sys
from typing import TYPE_CHECKING

from devices.commands import main
from devices.commands.typed import typed
from marking.record.record import open_record
from tests.inking.kills import SECTION, cloth_faults, made, make_job, plotter_at

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

COMMAND = [sys.executable, "-m", "devices.commands"]
DEVICE_FAILED, BAD_INPUT = 3, 2


def drive(folder: Path, *words: str, room: int | None = None) -> subprocess.CompletedProcess[str]:
    """The real command; no file may grow past `room` bytes, as on a disk that fills."""

    def little_room() -> None:
        if room is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    return subprocess.run(
        [*COMMAND, "drive", "--job", folder, *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="surrogateescape",
        timeout=120,
        check=False,
        preexec_fn=little_room,
    )


def told_to_go_on(done: subprocess.CompletedProcess[str]) -> list[str]:
    """The words of the command told, as the shell would part them."""
    (line,) = [line for line in done.stderr.splitlines() if line.startswith("To go on: ")]
    return shlex.split(line.removeprefix("To go on: "))


def test_a_disk_that_fills_in_mid_run_is_told_with_what_is_on_the_cloth_and_goes_on_from_there(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "the bench's job"
    make_job(folder, "flatbed-a3")
    words = ["--section", SECTION, "--unattended", "--ink-anyway", "a trial, no mark: 50 $ at most"]
    with plotter_at(folder, 400) as port:
        full = drive(folder, *port, *words, room=500_000)
        assert full.returncode == DEVICE_FAILED, full.stderr
        assert "nothing was changed" not in full.stderr
        assert "Traceback" not in full.stderr
        assert "the run was ended" in full.stderr
        assert "look that it is up" in full.stderr
        assert "have room" in full.stderr
        with open_record(folder) as record:
            drawn = {kept.stroke for kept in record.strokes() if kept.event == "drawn"}
        assert drawn, "it ended in mid-run"
        assert f"{len(drawn)} strokes certainly drawn" in full.stderr
        again = told_to_go_on(full)
        assert again == ["canvasrule", "drive", "--job", str(folder), *words_in_turn(port, words)]
        done = drive(folder, *again[4:])
    assert done.returncode == 0, done.stderr
    assert max(cloth_faults(folder, made(folder))) < 0.06


def words_in_turn(port: list[str], words: list[str]) -> list[str]:
    section, unattended, anyway = words[:2], words[2:3], words[3:]
    return [*port, *section, *anyway, *unattended]


def test_the_command_that_goes_on_repeats_what_was_asked_for(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    readings = folder / "read here.csv"
    readings.write_text("section,mark,x,y\nr9c9,w1,10 mm,10 mm\n")
    port = ["--port", "socket://127.0.0.1:1"]
    words = ["--most", "2", "--readings", str(readings), "--unattended", "--moved", "--json"]
    done = drive(folder, *port, *words)
    assert done.returncode == DEVICE_FAILED
    with open_record(folder) as record:
        assert not record.runs()
    # Nothing is begun, so that there is nothing to go on with yet.
    assert "To go on" not in done.stderr
    from argparse import Namespace

    from devices.commands.drive import _again

    given = Namespace(
        job=folder,
        port=port[1],
        section=None,
        readings=readings,
        ink_anyway=None,
        ink_untried=None,
        verniers=False,
        pointer=False,
        unattended=True,
        moved=True,
        outline=False,
        json=True,
    )
    first = ["canvasrule", "drive", "--job", str(folder), *port]
    again = [*first, "--most", "1", "--readings", str(readings), "--unattended"]
    assert shlex.split(_again(given, 1, placed=True)) == [*again, "--json"]
    assert shlex.split(_again(given, 1, placed=False)) == [*again, "--moved", "--json"]


def test_words_are_quoted_for_the_shell_they_are_typed_into() -> None:
    said = ["plain", "two words", "50 $ `x`", "it's", 'a "b"']
    line = typed(["echo", *said], "posix")
    assert shlex.split(line) == ["echo", *said]
    # bash is what reads it on most systems.
    script = f"printf '%s\\n' {typed(said, 'posix')}"
    shown = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)
    assert shown.stdout.splitlines() == said
    assert typed(["two words", "plain"], "nt") == '"two words" plain'


def test_a_byte_that_is_no_utf_8_is_typed_by_its_number() -> None:
    name = os.fsdecode(b"the b\xe9nch's")
    line = typed([name], "posix")
    line.encode("ascii")
    shown = subprocess.run(["bash", "-c", f"printf %s {line}"], capture_output=True, check=True)
    assert shown.stdout == b"the b\xe9nch's"


def test_a_folder_whose_name_is_no_utf_8_is_driven_by_readings_like_any_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / os.fsdecode(b"b\xe9nch")
    make_job(folder, "flatbed-a4")
    assert main(["section", "--job", str(folder), "--json"]) == 0
    sections = json.loads(capsys.readouterr().out)["sections"]
    second = next(section for section in sections if section["id"] == "r1c2")
    x0, y0, x1, _ = second["window"]
    rows = []
    for mark in second["witness"]:
        along, across = mark["at"][0], mark["at"][1] - y0
        # Turned a quarter, the device's X runs across the table, and its Y back along it.
        x, y = (across, x1 - along) if second["turned"] else (along - x0, across)
        rows.append(f"r1c2,{mark['id']},{x:.3f} mm,{y:.3f} mm")
    readings = folder / "readings.csv"
    readings.write_text("\n".join(["section,mark,x,y", *rows, ""]))
    reason = ["--unattended", "--ink-anyway", os.fsdecode(b"caf\xe9")]
    with plotter_at(folder, 400) as port:
        done = drive(folder, *port, "--section", SECTION, *reason)
        assert "Traceback" not in done.stderr
        assert done.returncode == 0, done.stderr
    words = ["--simulate", "--pace", "400", "--section", "r1c2", "--readings", str(readings)]
    done = drive(folder, *words, *reason)
    assert "Traceback" not in done.stderr
    assert done.returncode == 0, done.stderr
    with open_record(folder / "out" / "rehearsal") as record:
        assert record.readings()
        assert all(kept.source.endswith("readings.csv:2") for kept in record.readings()[:1])
        assert "\\udce9nch" in record.readings()[0].source


def test_an_empty_port_name_is_named_as_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    for empty in ("", " "):
        words = ["drive", "--job", str(tmp_path / "job"), "--unattended", "--port", empty]
        assert main(words) == BAD_INPUT
        assert "an empty name of a port" in capsys.readouterr().err
