"""`canvasrule ways` as a person and a program meet it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from marking.shipped_files import stock_names
from tests.conftest import MILLRACE

if TYPE_CHECKING:
    from tests.conftest import RunCli

SMALL = """title = "A side table"
[table]
length = "40 in"
width = "30 in"
[hems]
depth = "4 in"
folds = []
"""
KEYS = {
    *("id", "machine", "fence", "cross_lines", "set_downs", "marks", "readings", "rulings"),
    *("sheets", "person_hours", "machine_hours", "worst_line_mm", "worst_step_mm", "holds", "why"),
    *("clock_hours", "people", "tracings", "worst_square_mm", "worst_neighbours_mm"),
}


def job(folder: Path, text: str) -> Path:
    (folder / "job.toml").write_text(text, "utf-8")
    return folder


def reckoned(run_cli: RunCli, folder: Path, *words: str) -> dict[str, Any]:
    done = run_cli("ways", "--job", folder, "--json", *words)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_the_demo_tells_the_plotter_that_it_names_and_the_hand(
    run_cli: RunCli, tmp_path: Path
) -> None:
    found = reckoned(run_cli, job(tmp_path, MILLRACE))
    ways = {way["id"]: way for way in found["ways"]}
    assert set(ways) == {"hand", "hand-strips", "full-size", "flatbed-a3", "flatbed-a3-bands"}
    assert all(set(way) >= KEYS for way in found["ways"])
    holding = [way for way in found["ways"] if way["holds"]]
    assert found["ways"][: len(holding)] == holding
    low = [way["person_hours"][0] for way in holding]
    assert low == sorted(low)
    assert found["best"] == holding[0]["id"]
    assert ways["flatbed-a3"]["set_downs"] == 70
    assert ways["flatbed-a3-bands"]["set_downs"] == 20
    assert ways["flatbed-a3-bands"]["rulings"] == 148
    assert 0 < ways["flatbed-a3"]["machine_hours"] < ways["flatbed-a3"]["person_hours"][0]
    assert "does not print" not in ways["hand-strips"]["why"]


def test_all_tries_every_stock_machine_and_a_usual_fence(run_cli: RunCli, tmp_path: Path) -> None:
    found = reckoned(run_cli, job(tmp_path, SMALL), "--all")
    machines = {way["machine"] for way in found["ways"]}
    assert machines >= {*stock_names("plotters"), *stock_names("projectors"), "hand"}
    fenced = {way["id"] for way in found["ways"] if way["fence"]}
    assert {"flatbed-a3-fence", "flatbed-a3-bands-fence"} <= fenced
    kept = {way["id"] for way in reckoned(run_cli, tmp_path)["ways"]}
    assert kept == {"hand", "hand-strips", "full-size"}


def test_what_is_there_is_what_ways_says_before_what_the_job_names(
    run_cli: RunCli, tmp_path: Path
) -> None:
    text = SMALL + '[plotter]\nprofile = "flatbed-a4"\n[ways]\nhave = ["projector"]\n'
    machines = {way["machine"] for way in reckoned(run_cli, job(tmp_path, text))["ways"]}
    assert machines == {"hand", "ceiling-1080p"}


def test_a_projector_that_cannot_light_the_cover_is_told_as_one(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """Its picture is smaller than one section has to be."""
    text = SMALL + '[projector]\nprofile = "ceiling-1080p"\ndistance = "150 mm"\n'
    (way,) = (
        way
        for way in reckoned(run_cli, job(tmp_path, text))["ways"]
        if way["machine"] == "ceiling-1080p"
    )
    assert way["why"].startswith("cannot be done: ")
    assert way["says"] == "traced from a projector's light"


def test_that_nothing_holds_is_an_answer(run_cli: RunCli, tmp_path: Path) -> None:
    found = reckoned(run_cli, job(tmp_path, 'tolerance = "0.1 mm"\n' + SMALL))
    assert found["best"] is None
    assert not any(way["holds"] for way in found["ways"])
    done = run_cli("ways", "--job", tmp_path)
    assert done.returncode == 0
    assert "No way holds what is allowed" in done.stdout


@pytest.mark.parametrize("asked", ["job", "option"])
def test_a_way_that_is_none_of_them_is_named_with_those_there_are(
    run_cli: RunCli, tmp_path: Path, asked: str
) -> None:
    text = SMALL + ('[ways]\nway = "by-kite"\n' if asked == "job" else "")
    words = ["--way", "by-kite"] if asked == "option" else []
    done = run_cli("ways", "--job", job(tmp_path, text), *words)
    assert done.returncode == 2
    assert "by-kite" in done.stderr
    assert "full-size, hand, hand-strips" in done.stderr


def test_the_way_chosen_is_shown_as_chosen_and_one_way_in_detail(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = job(tmp_path, SMALL + '[ways]\nway = "hand-strips"\n[pace]\nstrip = "90 s"\n')
    told = run_cli("ways", "--job", folder).stdout
    assert "hand-strips: by hand with printed strips (chosen)" in told
    assert "Your own times: strip." in told
    detail = run_cli("ways", "--job", folder, "--way", "hand-strips").stdout
    assert "| strips laid | 8 | 1.5 min | 0.20 |" in detail


def test_times_that_nobody_gave_are_told_as_assumptions(run_cli: RunCli, tmp_path: Path) -> None:
    assert "our own assumptions" in run_cli("ways", "--job", job(tmp_path, SMALL)).stdout


def test_the_readme_tells_the_hours_that_the_demo_prints(run_cli: RunCli, tmp_path: Path) -> None:
    found = reckoned(run_cli, job(tmp_path, MILLRACE))
    readme = Path(__file__).parents[2].joinpath("README.md").read_text("utf-8")
    row = r"^\| `([a-z0-9-]+)`: .*\| ([\d.]+) to ([\d.]+) \| (hold|\w+ [\d.]+ mm) \|$"
    rows = re.findall(row, readme, re.MULTILINE)
    assert [name for name, *_ in rows] == [way["id"] for way in found["ways"]]
    for (*_, low, high, verdict), way in zip(rows, found["ways"], strict=True):
        assert [f"{each:.1f}" for each in way["person_hours"]] == [low, high], way["id"]
        assert way["holds"] if verdict == "hold" else way["why"].startswith(verdict), way["id"]
