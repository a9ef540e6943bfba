"""The way that [ways] chooses, as every verb follows it."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import pytest

from devices.commands import main
from marking.record.record import open_record

if TYPE_CHECKING:
    from pathlib import Path

SMALL = """title = "A side table"
tolerance = "1/8 in"
[table]
length = "40 in"
width = "36 in"
[hems]
depth = "4 in"
folds = []
"""
A3 = '[plotter]\nprofile = "flatbed-a3"\n'
FENCE = '[fence]\nlength = "4 ft"\n'


def job(folder: Path, way: str | None, more: str = "") -> Path:
    chosen = f'[ways]\nway = "{way}"\n' if way is not None else ""
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text(SMALL + more + chosen, "utf-8")
    return folder


def told(capsys: pytest.CaptureFixture[str], *words: object) -> Any:
    capsys.readouterr()
    assert main([*map(str, words), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_sections_are_those_of_the_machine_and_the_lines_that_the_way_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each as if job.toml had been written for it by hand."""
    for way, keys in (
        ("flatbed-a4", '[plotter]\nprofile = "flatbed-a4"\n'),
        ("flatbed-a3-bands", A3 + '[inking]\ncross_lines = "ruled"\n'),
        ("ceiling-1080p-ends", '[inking]\ncross_lines = "ruled"\n'),
        ("hand-strips", ""),
    ):
        zone = {"c": "beam", "h": "reach"}.get(way[0], "plotter")
        chosen = told(capsys, "section", "--job", job(tmp_path / way, way))
        by_hand = job(tmp_path / f"{way}-keys", None, keys)
        written = told(capsys, "section", "--job", by_hand, "--for", zone)
        assert chosen["zone"] == zone
        assert chosen == written


@pytest.mark.parametrize(
    ("way", "more", "said"),
    [
        ("flatbed-a4", A3, r"\[plotter\] names the flatbed-a3"),
        ("flatbed-a3-fence", A3, r"there is no \[fence\]"),
        ("flatbed-a3-bands", '[inking]\ncross_lines = "device"\n', "leave that key out"),
        ("hand", '[inking]\ncross_lines = "ruled"\n', "no machine that would ink their ends"),
        # A desk plotter draws loose canvas: it does not stand on a band.
        ("desk-a3-bands", "", "one of full-size, hand, hand-strips would do"),
        ("flatbed-a3-bands-too", A3, "flatbed-a3, flatbed-a3-bands, full-size, hand"),
    ],
)
def test_what_other_keys_say_against_it_and_an_id_that_is_none_are_told_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], way: str, more: str, said: str
) -> None:
    folder = job(tmp_path / "job", way, more)
    assert main(["section", "--job", str(folder)]) == 2
    error = capsys.readouterr().err
    assert way in error
    assert re.search(said, error), error


def test_what_is_not_there_cannot_be_chosen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = job(tmp_path / "job", None)
    with (folder / "job.toml").open("a") as file:
        file.write('[ways]\nhave = ["projector"]\nway = "flatbed-a3"\n')
    assert main(["control", "--job", str(folder)]) == 2
    assert "ways.have does not name one" in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["drive", "place", "beam"])
def test_a_verb_that_the_way_has_nothing_for_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    words = ["--all"] if verb == "place" else []
    assert main([verb, "--job", str(job(tmp_path / "job", "hand")), *words]) == 1
    assert "is by hand" in capsys.readouterr().err


def test_a_fence_that_the_way_leaves_out_counts_for_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = job(tmp_path / "plain", None, A3)
    without = job(tmp_path / "without", "flatbed-a3", A3 + FENCE)
    along = job(tmp_path / "along", "flatbed-a3-fence", A3 + FENCE)
    look = ["control", "--only-look", "--nodes"]
    marks = [
        len(told(capsys, *look, nodes, "--job", folder)["marks"])
        for folder, nodes in ((plain, "all"), (without, "all"), (along, "ends"))
    ]
    assert marks[0] == marks[1] > marks[2]


def test_control_and_sections_tell_the_hours_that_ways_tells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = job(tmp_path / "job", "flatbed-a3-bands")
    ways = {way["id"]: way for way in told(capsys, "ways", "--job", folder)["ways"]}
    low, high = ways["flatbed-a3-bands"]["person_hours"]
    said = f"By the reckoning of canvasrule ways {low:.1f} to {high:.1f} person-hours"
    assert main(["control", "--job", str(folder)]) == (
        0 if ways["flatbed-a3-bands"]["holds"] else 1
    )
    assert said in capsys.readouterr().out
    # Marks are set out now: sections and report know what there is to read.
    assert main(["section", "--job", str(folder)]) == 0
    assert said in capsys.readouterr().out
    assert main(["write", "--report", "--job", str(folder)]) == 0
    assert said in (folder / "out" / "report.md").read_text("utf-8")


def test_a_begun_job_keeps_its_division_whatever_way_is_chosen_later(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = job(tmp_path / "job", "flatbed-a3-bands")
    main(["control", "--job", str(folder)])
    with open_record(folder) as record:
        (begun,) = record.divisions()
    assert begun.begun_with["inking.cross_lines"] == "ruled"
    # The same choice said by other keys goes on with it.
    job(folder, None, A3 + '[inking]\ncross_lines = "ruled"\n')
    assert main(["rule", "--done", "0", "--job", str(folder)]) == 0
    # Lines ruled, it is no other way any more.
    job(folder, "flatbed-a3")
    capsys.readouterr()
    assert main(["drive", "--simulate", "--unattended", "--job", str(folder)]) == 1
    assert "cross_lines" in capsys.readouterr().err
