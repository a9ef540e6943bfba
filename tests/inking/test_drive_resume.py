"""Whatever ends a drive, the cloth gets every stroke, none elsewhere, and little of it twice."""

from __future__ import annotations

import contextlib
import io
import random
import sqlite3
from typing import TYPE_CHECKING

import pytest

from tests.inking.kills import cloth_faults, drive_with_kills, made, make_job, plotter_at

if TYPE_CHECKING:
    from pathlib import Path

from devices.commands import main
from marking.record.record import RECORD_FILE, open_record

KILLS = 17
HEMS = '[hems]\ndepth = "3 in"\nfolds = ["single 2 in"]\n'
SAMPLING = 0.06
"""mm: cloth and strokes are compared at points this far apart."""


@pytest.mark.parametrize(
    ("plotter", "shortest"), [("flatbed-a4", 14), ("flatbed-a3", 14), ("gantry-gcode", 30)]
)
def test_kills_of_driver_plotter_and_cable_leave_every_stroke_on_the_cloth_and_none_displaced(
    tmp_path: Path, plotter: str, shortest: int
) -> None:
    rng = random.Random(f"{plotter} 1")
    kills, section = 0, None
    for round_number in range(KILLS):
        if kills >= KILLS:
            break
        folder = tmp_path / f"job{round_number}"
        make_job(folder, plotter)
        section = section or made(folder)
        # A gantry that loses its power loses its place, and asks for readings: test_lost_place.
        kinds = ("driver", "cable") if "gantry" in plotter else ("driver", "plotter", "cable")
        tally = drive_with_kills(folder, rng, KILLS - kills, kinds)
        kills += tally.kills
        missing, displaced = cloth_faults(folder, section)
        assert missing <= SAMPLING
        assert displaced <= SAMPLING
        assert tally.worst_retraced <= section.limits.buffer_bytes // shortest
    assert kills >= KILLS


def test_removable_ticks_and_ink_in_one_holder_wait_for_the_person_to_change_pens(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    make_job(tmp_path / "job", "flatbed-a4", HEMS)
    section = made(tmp_path / "job")
    assert {"removable", "lines"} <= {stroke.pen for stroke in section.strokes}
    # Set down, take the planned place, then answer each change of pens.
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 6))
    job = str(tmp_path / "job")
    drive = ["drive", "--job", job, "--simulate", "--section", "r1c1", "--pace", "400"]
    assert main(drive) == 0
    said = capsys.readouterr().err
    assert said.count("Holder 1 needs the pen for") == 2
    assert "Holder 1 needs the pen for removable. Is it in?" in said


def test_marks_that_nobody_can_read_are_not_waited_for(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    drive = ["drive", "--job", str(tmp_path / "job"), "--simulate", "--section", "r1c2"]
    assert main(drive) == 2
    assert "--readings" in capsys.readouterr().err


def driven(folder: Path, port: list[str]) -> list[str]:
    """The command that inks one section without readings."""
    words = ["drive", "--job", str(folder), "--section", "r1c1"]
    return [*words, *port, "--ink-anyway", "a test's cloth"]


def test_an_outline_that_is_not_agreed_to_leaves_no_trace_in_the_record(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    monkeypatch.setattr("sys.stdin", io.StringIO("y\nn\n"))
    with plotter_at(tmp_path / "job") as port:
        main([*driven(tmp_path / "job", port), "--outline"])
    assert "not allowed" in capsys.readouterr().out
    with open_record(tmp_path / "job") as record:
        assert not record.runs()
        assert not record.ink()
        assert not record.strokes()


def test_an_outline_with_nothing_left_to_draw_is_no_fault(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    folder = tmp_path / "job"
    with plotter_at(folder) as port:
        drive = driven(folder, port)
        assert main([*drive, "--unattended"]) == 0
        with contextlib.closing(sqlite3.connect(folder / RECORD_FILE)) as connection:
            # As after a power cut between the last stroke and the row that says it is done.
            connection.execute("DELETE FROM ink WHERE event = 'done'")
            connection.commit()
        laid = (folder / "cloth.ink").read_bytes()
        assert main([*drive, "--unattended", "--outline"]) == 0
        assert "r1c1: done" in capsys.readouterr().out
        assert (folder / "cloth.ink").read_bytes() == laid


def test_a_dry_pass_round_the_section_ends_where_it_began_and_ink_follows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    drive = ["drive", "--job", str(tmp_path / "job"), "--simulate", "--section", "r1c1"]
    assert main([*drive, "--unattended", "--outline", "--pace", "400"]) == 0
    assert "r1c1: done" in capsys.readouterr().out
    missing, displaced = cloth_faults(
        tmp_path / "job", made(tmp_path / "job"), "out/cloth/r1c1.ink"
    )
    assert max(missing, displaced) <= SAMPLING
