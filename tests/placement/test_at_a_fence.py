"""A job at a fence, by the commands: where it is clamped, what is read, what needs no reading."""

from __future__ import annotations

import json
from pathlib import Path

import pypdfium2
import pytest

from devices.commands import main
from tests.job.command_cases import REFUSED

JOB = """schema = 1
units = "in"
[table]
length = "40 in"
width = "20 in"
[hems]
depth = "4 in"
[plotter]
profile = "flatbed-a3"
[fence]
length = "4 ft"
"""
MIDDLE = "r1c2"
"""Between the two ends of the first clamping: it reads no mark."""


@pytest.fixture
def ask(capsys):
    """A command's JSON, in this process."""

    def asked(*words, code=0):
        ended = main([*map(str, words), "--json"])
        told = capsys.readouterr()
        assert ended == code, told
        return json.loads(told.out)

    return asked


@pytest.fixture
def bench(tmp_path, ask):
    """A folder with its marks set out for the fence, what was told of them, and its sections."""
    Path(tmp_path, "job.toml").write_text(JOB, "utf-8")
    told = ask("control", "--job", tmp_path)
    sections = ask("section", "--job", tmp_path)["sections"]
    return tmp_path, told, {one["id"]: one for one in sections}


def readings_of(folder, told, section, marks, shift=(0.0, 0.0)):
    """A file of what the plotter shows over tape marks that stand where they should."""
    at = {one["id"]: one["at"] for one in told["marks"]}
    x0, y0 = section["window"][:2]
    bed = {mark: (at[mark][0] - x0 + shift[0], at[mark][1] - y0 + shift[1]) for mark in marks}
    rows = [f"{section['id']},{mark},{x:.3f},{y:.3f}" for mark, (x, y) in bed.items()]
    path = folder / f"{section['id']}.csv"
    path.write_text("\n".join(["section,mark,x_mm,y_mm", *rows, ""]), "utf-8")
    return path


def test_only_the_ends_of_a_clamping_are_read_and_what_lies_between_needs_no_mark(bench, ask):
    folder, told, sections = bench
    assert [name for name, marks in told["read"].items() if not marks] == [MIDDLE, "r2c2"]
    first = readings_of(folder, told, sections["r1c1"], told["read"]["r1c1"], (0.2, -0.1))
    placed = ask("place", "--job", folder, "--readings", first)
    assert placed["verdict"] == "ink"
    # By the rail it cannot stand far off, whatever two readings say.
    assert abs(placed["pose"]["shift"][0] + 0.2) < 0.2
    ask("place", "--job", folder, "--inked", "r1c1")
    between = ask("place", "--job", folder, "--at-fence", MIDDLE)
    assert between["verdict"] == "ink"
    assert between["residuals"] == []
    # The rail lies where the first section's readings put it, or near that.
    assert abs(between["pose"]["shift"][1] - placed["pose"]["shift"][1]) < 0.1
    assert 0.2 < between["seams"][0]["error"] < 1.0


def test_what_a_fence_and_its_stop_held_is_kept_with_the_ink(bench, ask):
    folder, told, sections = bench
    first = readings_of(folder, told, sections["r1c1"], told["read"]["r1c1"], (0.2, -0.1))
    ask("place", "--job", folder, "--readings", first)
    ask("place", "--job", folder, "--inked", "r1c1")
    by_itself = ask("place", "--job", folder, "--at-fence", MIDDLE)
    ask("place", "--job", folder, "--inked", MIDDLE)
    everything = ask("place", "--job", folder, "--all")
    assert [one["id"] for one in everything["sections"]] == ["r1c1", MIDDLE]
    assert by_itself["covariance"][0][0] > 0


def test_a_device_that_does_not_lie_against_its_fence_is_told_from_a_slip(bench, ask):
    folder, told, sections = bench
    marks = [one["id"] for one in told["marks"] if inside(one["at"], sections["r1c1"])]
    assert len(marks) >= 3
    # All three say that it stands 4 mm from the rail.
    away = readings_of(folder, told, sections["r1c1"], marks, (0.0, -4.0))
    found = ask("place", "--job", folder, "--readings", away, code=REFUSED)
    assert [one["fault"] for one in found["doubts"]] == ["not at the fence"]
    # Of marks that stand by themselves nothing else is wrong but that one more is wanted.
    alone = ask("place", "--job", folder, "--readings", away, "--without-fence", code=REFUSED)
    assert alone["verdict"] == "add a mark"
    assert alone["pose"]["shift"][1] == pytest.approx(4.0, abs=0.2)


def inside(at, section):
    x0, y0, x1, y1 = section["window"]
    return x0 + 2 < at[0] < x1 - 2 and y0 + 2 < at[1] < y1 - 2


def test_a_section_that_no_fence_holds_is_not_placed_by_one(tmp_path, ask, capsys):
    Path(tmp_path, "job.toml").write_text(JOB.partition("[fence]")[0], "utf-8")
    ask("control", "--job", tmp_path)
    assert main(["place", "--job", str(tmp_path), "--at-fence", MIDDLE]) == REFUSED
    assert "control chose its marks without one" in capsys.readouterr().err


def test_control_says_where_to_clamp_it_and_drive_where_to_push_the_device(bench, capsys):
    folder, told, _ = bench
    assert main(["control", "--job", str(folder), "--only-look"]) == 0
    said = capsys.readouterr().out
    assert "Fence 1, from r1c1 on: clamp it with its face" in said
    assert said.count("Fence ") == 2
    first, last = (told["read"][name][0] for name in ("r1c1", "r1c3"))
    assert first in said
    assert last in said


@pytest.mark.parametrize("way", ["", '[ways]\nway = "flatbed-a3"\n'])
def test_marks_set_out_for_a_fence_are_not_read_as_if_it_were_any_other(bench, ask, capsys, way):
    folder, told, sections = bench
    first = readings_of(folder, told, sections["r1c1"], told["read"]["r1c1"])
    kept = JOB if way else JOB.partition("[fence]")[0]
    Path(folder, "job.toml").write_text(kept + way, "utf-8")
    for verb in ("place", "drive"):
        words = [verb, "--job", str(folder), "--readings", str(first)]
        more = [] if verb == "place" else ["--simulate", "--unattended", "--section", "r1c1"]
        assert main([*words, *more]) == REFUSED
        assert "marks that are set out are for a fence" in capsys.readouterr().err


def words_of(path):
    with pypdfium2.PdfDocument(path) as pdf:
        return " ".join(pdf[0].get_textpage().get_text_range().split())


def test_the_sheet_of_marks_for_a_fence_tells_whether_they_hold(bench):
    folder, told, _ = bench
    assert told["forecast"]["holds"]
    said = words_of(folder / "out" / "control.pdf")
    assert "Forecast: HOLDS" in said
    assert "2 clampings of the fence" in said


def test_marks_in_rows_take_the_hours_of_a_job_without_a_fence(tmp_path, capsys):
    hours = []
    for name, keys in (("with", JOB), ("without", JOB.partition("[fence]")[0])):
        Path(tmp_path, name).mkdir()
        Path(tmp_path, name, "job.toml").write_text(keys, "utf-8")
        look = ["control", "--only-look", "--spacing", "6 in", "--job", str(tmp_path / name)]
        main(look)
        said = capsys.readouterr().out.splitlines()
        hours += [line for line in said if line.startswith("By the reckoning")]
    assert hours[0] == hours[1]
