"""Removable ticks and permanent ink in one holder: no file may draw a tick in ink.

The written HP-GL is read by ezdxf's HPGL/2 interpreter, which no one here wrote.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from ezdxf.addons.hpgl2 import api as hpgl2
from kills import make_job, plotter_at

from marking.record import open_record

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli
    from numpy.typing import NDArray

HEMS = '[hems]\ndepth = "3 in"\nfolds = ["single 2 in"]\n'
UNIT = 0.025
"""mm: the A4 flat bed's, from its profile."""


def drawn(path: Path, origin: tuple[float, float]) -> list[NDArray[np.float64]]:
    """What an interpreter draws from a file, on the table; it wants the escape first."""
    data = b"\x1b%1B" + path.read_bytes()
    player = hpgl2.record_plotter_output(data, hpgl2.MergeControl.NONE)
    return [
        np.array([(at.x, at.y) for at in line.vertices()]) * UNIT + origin
        for _, _, line in player.recordings()
    ]


def lies_in(lines: list[NDArray[np.float64]], points: list[list[float]]) -> bool:
    """Whether a straight stroke is one of the drawn lines, to a unit of the plotter."""
    ends = np.array(points)
    return any(
        len(line) == 2 and min(np.abs(line - ends).max(), np.abs(line[::-1] - ends).max()) <= UNIT
        for line in lines
    )


@pytest.fixture
def job(tmp_path: Path) -> Path:
    make_job(tmp_path / "job", "flatbed-a4", HEMS)
    return tmp_path / "job"


def test_ticks_that_share_the_holder_of_the_ink_are_files_of_their_own(
    run_cli: RunCli, job: Path
) -> None:
    done = run_cli("write", "--job", job, "--hpgl", "--json")
    assert done.returncode == 0, done.stderr
    assert "for the removable pen alone, which shares holder 1" in done.stderr
    files = {file["path"]: file for file in json.loads(done.stdout)["files"]}
    cut: dict[str, Any] = json.loads(run_cli("section", "--job", job, "--json").stdout)
    ticked = 0
    for section in cut["sections"]:
        ticks = [one["points"] for one in section["strokes"] if one["pen"] == "removable"]
        name, own = f"sections/{section['id']}.hpgl", f"sections/{section['id']}-removable.hpgl"
        assert (own in files) == bool(ticks)
        ink = drawn(job / "out" / name, files[name]["origin"])
        assert not any(lies_in(ink, tick) for tick in ticks)
        assert len(ink) > 0
        if ticks:
            assert files[own]["section"] == section["id"]
            alone = drawn(job / "out" / own, files[own]["origin"])
            assert all(lies_in(alone, tick) for tick in ticks)
            assert len(alone) == len(ticks)
            ticked += 1
    assert ticked


def test_a_holder_of_its_own_needs_no_second_file(run_cli: RunCli, job: Path) -> None:
    text = (job / "job.toml").read_text("utf-8").replace("slot = 1", "slot = 2")
    (job / "job.toml").write_text(text, "utf-8")
    done = run_cli("write", "--job", job, "--hpgl", "--json")
    assert done.returncode == 0, done.stderr
    assert "removable pen alone" not in done.stderr
    paths = [file["path"] for file in json.loads(done.stdout)["files"]]
    assert paths
    assert not [path for path in paths if "-removable" in path]


@pytest.mark.parametrize("plotter", ["gantry-gcode", "flatbed-a4"])
def test_nobody_there_to_change_pens_inks_nothing(
    run_cli: RunCli, tmp_path: Path, plotter: str
) -> None:
    folder = tmp_path / plotter
    make_job(folder, plotter, HEMS)
    if plotter == "gantry-gcode":
        # Wide enough for its bed to be set down twice, so that one set-down leaves ticks.
        text = (folder / "job.toml").read_text("utf-8")
        (folder / "job.toml").write_text(
            text.replace('"26 in"', '"60 in"').replace('"17 in"', '"40 in"')
        )
    with plotter_at(folder, 400) as port:
        words = ["drive", "--job", folder, *port, "--unattended", "--ink-anyway", "a trial"]
        done = run_cli(*words, "--section", "r1c1")
    assert done.returncode == 1, done.stderr
    assert "nobody is here to change pens" in done.stderr
    assert (folder / "cloth.ink").read_bytes() == b""
    with open_record(folder) as record:
        assert record.ink() == record.runs() == ()
