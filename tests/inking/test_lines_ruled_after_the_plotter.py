"""Bands by machine and lines by hand: a job driven to its end, then its lines ticked off."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from devices.commands import main
from marking.record.record import open_record
from tests.inking.kills import make_job, plotter_at

if TYPE_CHECKING:
    from pathlib import Path

RULED = '[inking]\ncross_lines = "ruled"\n[hems]\ndepth = "3 in"\nfolds = ["single 2 in"]\n'
REFUSED, BAD_INPUT = 1, 2


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(words)
    out, err = capsys.readouterr()
    return code, out, err


def next_lines(capsys: pytest.CaptureFixture[str], folder: Path) -> list[str]:
    code, out, _ = told(capsys, "rule", "--job", str(folder), "--json")
    assert code == 0
    return [one["line"] for one in json.loads(out)["next"]]


def test_bands_are_driven_to_the_end_then_lines_ticked_off_and_drive_says_all_is_done(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "bench"
    make_job(folder, "flatbed-a3", RULED)
    job = ("--job", str(folder))
    with plotter_at(folder, 2000) as port:
        words = ("drive", *job, *port, "--unattended", "--ink-anyway", "a test of the ruled lines")
        code, out, err = told(capsys, *words)
        assert code == 0, err
        assert "25 lines still to rule by hand" in out
        code, out, _ = told(capsys, *words)
        assert (code, out.splitlines()[0]) == (0, "everything asked for is drawn already")

        assert told(capsys, "rule", *job, "--done", "0-11")[0] == 0
        code, out, _ = told(capsys, *words, "--json")
        assert json.loads(out)["lines_to_rule"] == 13
        left = next_lines(capsys, folder)
        assert set(left) == {f"ruled_cross-{n}" for n in range(12, 25)}

        code, out, err = told(capsys, "rule", *job, "--undo", "3")
        assert (code, err) == (0, "")
        assert next_lines(capsys, folder)[0] == "ruled_cross-3"
        code, _, err = told(capsys, "rule", *job, "--done", "2,3,12-24")
        assert code == 0
        assert "1 line of 2,3,12-24 ticked before" in err

        code, out, _ = told(capsys, *words)
        assert (code, out) == (
            0,
            "everything asked for is drawn already, and all lines are ruled\n",
        )
    assert next_lines(capsys, folder) == []


@pytest.fixture
def ticked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    folder = tmp_path / "bench"
    make_job(folder, "flatbed-a3", RULED)
    code, _, err = told(capsys, "rule", "--job", str(folder), "--done", "0-4")
    assert code == 0
    assert "not inked yet" in err, "stubs that the record does not know of are said"
    return folder


def changed(folder: Path, was: str, becomes: str) -> None:
    file = folder / "job.toml"
    assert was in file.read_text()
    file.write_text(file.read_text().replace(was, becomes))


def test_a_ruled_line_is_ink_and_a_change_that_moves_it_is_refused(
    ticked: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (ticked / "job.toml").read_text()
    changed(ticked, 'length = "26 in"', 'length = "28 in"')
    for words in (("layout",), ("rule",), ("rule", "--done", "5")):
        code, out, err = told(capsys, *words, "--job", str(ticked))
        assert code == REFUSED, out
        assert "already inked as 5 lines (ruled_cross-0" in err
    (ticked / "job.toml").write_text(before)
    assert told(capsys, "rule", "--job", str(ticked), "--done", "5")[0] == 0


def test_once_lines_are_ruled_no_plotter_inks_them_whole(
    ticked: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    changed(ticked, '"ruled"', '"device"')
    words = ("drive", "--simulate", "--unattended", "--job", str(ticked))
    code, _, err = told(capsys, *words, "--ink-anyway", "a test", "--pace", "2000")
    assert code == REFUSED
    assert 'inking.cross_lines was "ruled", is "device"' in err
    code, _, err = told(capsys, "rule", "--job", str(ticked))
    assert (code, "ink every line whole" in err) == (REFUSED, True)


def test_ticks_taken_back_are_forgotten_but_not_the_lines_that_stand(
    ticked: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told(capsys, "rule", "--job", str(ticked), "--undo", "0-2")
    code, out, _ = told(capsys, "rule", "--job", str(ticked))
    assert out.splitlines()[:2] == ["2 of 25 lines ruled:", "  3-4"]
    with open_record(ticked) as record:
        assert [kept.event for kept in record.ruled()] == ["ruled"] * 5 + ["undone"] * 3
    assert code == 0


@pytest.mark.parametrize("lines", ["25", "0-25", "cross-1", "", "5-3", "0-99999999999", "²"])
def test_lines_that_are_not_there_are_named_and_nothing_is_ticked(
    ticked: Path, capsys: pytest.CaptureFixture[str], lines: str
) -> None:
    code, _, err = told(capsys, "rule", "--job", str(ticked), f"--done={lines}")
    assert code == BAD_INPUT
    assert "there are 0-24" in err
    with open_record(ticked) as record:
        assert len(record.ruled()) == 5


def test_a_job_whose_lines_the_device_inks_has_none_to_rule(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "bench"
    make_job(folder, "flatbed-a3")
    code, _, err = told(capsys, "rule", "--job", str(folder), "--done", "0")
    assert code == REFUSED
    assert 'inking.cross_lines = "ruled"' in err
    assert not (folder / "job.db").exists()


def test_the_sheet_can_be_had_for_the_left_hand(
    ticked: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("rule", "--job", str(ticked), "--sheet", "--left-handed", "--by-two")
    code, out, err = told(capsys, *words)
    assert code == 0
    assert "ruling.pdf" in err
    assert "next, in this order: 24, 21" in out
    assert b"left-handed" in (ticked / "out" / "ruling.svg").read_bytes()
