"""Removable ticks and permanent ink in one holder: no file may draw a tick in ink.

The written HP-GL is read by ezdxf's HPGL/2 interpreter, which no one here wrote.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from ezdxf.addons.hpgl2 import api as hpgl2

from devices.dialects.writer import inkings
from devices.driving.machine import setting
from devices.inking.pen_change import last_by_slot, left_by_tip, stretches
from devices.job import Job
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.record.rows import KeptStroke
from marking.sections.plan import divide_into_sections
from tests.inking.kills import make_job, plotter_at
from tests.job.command_cases import BAD_INPUT, REFUSED, assert_plain

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from tests.conftest import RunCli

HEMS = '[hems]\ndepth = "3 in"\nfolds = ["single 2 in"]\n'
UNIT = 0.025
"""mm: the A4 flat bed's, from its profile."""


def drawn(path: Path, origin: tuple[float, float], *, turned: bool) -> list[NDArray[np.float64]]:
    """What an interpreter draws from a file, on the table; it wants the escape first.

    A device that is set down `turned` has its X across the table and its Y back along it.
    """
    axes = np.array([(0, 1), (-1, 0)] if turned else [(1, 0), (0, 1)])
    data = b"\x1b%1B" + path.read_bytes()
    player = hpgl2.record_plotter_output(data, hpgl2.MergeControl.NONE)
    return [
        np.array([(at.x, at.y) for at in line.vertices()]) @ axes * UNIT + origin
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
        ink = drawn(job / "out" / name, files[name]["origin"], turned=section["turned"])
        assert not any(lies_in(ink, tick) for tick in ticks)
        assert len(ink) > 0
        if ticks:
            assert files[own]["section"] == section["id"]
            alone = drawn(job / "out" / own, files[own]["origin"], turned=section["turned"])
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


GANTRY = '[table]\nlength = "60 in"\nwidth = "40 in"\n{pens}[plotter]\nprofile = "gantry-gcode"\n'


def text_job(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(text, "utf-8")
    return folder


def test_a_gantry_begun_by_its_own_defaults_goes_all_the_way(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = tmp_path / "job"
    words = ["--length", "60 in", "--width", "40 in", "--plotter", "gantry-gcode"]
    assert run_cli("start", folder, *words).returncode == 0
    for verb in ("layout", "section", "write", "trial"):
        done = run_cli(verb, "--job", folder)
        assert done.returncode == 0, done.stderr
    written = {path.name for path in (folder / "out" / "sections").iterdir()}
    assert {"r1c1.gcode", "r1c1-removable.gcode"} <= written
    assert (folder / "out" / "trial.gcode").exists()
    driven = run_cli(
        "drive", "--job", folder, "--simulate", "--unattended", "--pace", "5000", "--json"
    )
    assert driven.returncode == 0, driven.stderr
    ended = [section["ended"] for section in json.loads(driven.stdout)["sections"]]
    assert ended == ["done"] * 4


@pytest.mark.parametrize("pens", ["", '[pens]\nlines = { width = "1 mm" }\n'])
def test_a_pen_that_nobody_placed_stands_in_the_one_holder(tmp_path: Path, pens: str) -> None:
    one = load_job(text_job(tmp_path / "one", GANTRY.format(pens=pens)), Job)
    assert one.pens.removable.slot == 1
    assert one.pens.removable.width == 0.5
    two = GANTRY.format(pens=pens).replace("gantry-gcode", "flatbed-a4")
    assert load_job(text_job(tmp_path / "two", two), Job).pens.removable.slot == 2


@pytest.mark.parametrize("verb", ["section", "control", "write", "trial", "drive"])
def test_a_second_holder_named_for_a_pen_is_refused_where_there_is_one(
    run_cli: RunCli, tmp_path: Path, verb: str
) -> None:
    pens = '[pens]\nremovable = { slot = 2, width = "0.5 mm" }\n'
    folder = text_job(tmp_path / "job", GANTRY.format(pens=pens))
    words = ["--simulate", "--unattended", "--pace", "5000"] if verb == "drive" else []
    done = run_cli(verb, "--job", folder, *words)
    assert_plain(done, REFUSED, "pens.removable.slot = 2", "one pen holder", "Give slot = 1")
    assert not list(folder.glob("out/**/*.gcode"))
    assert not any(path.read_bytes() for path in folder.glob("out/cloth/*"))


@pytest.mark.parametrize(
    ("profile", "keys", "said"),
    [
        ("gantry-gcode", "slots = 2", "G-code"),
        ("flatbed-a3", 'instructions = ["IN", "IW", "PA", "PU", "PD"]', '"SP"'),
    ],
)
def test_a_machine_that_cannot_change_pens_has_one_holder(
    run_cli: RunCli, tmp_path: Path, profile: str, keys: str, said: str
) -> None:
    text = GANTRY.format(pens="").replace('"gantry-gcode"', f'"{profile}"\n{keys}')
    folder = text_job(tmp_path / "job", text)
    done = run_cli("write", "--job", folder)
    assert_plain(done, BAD_INPUT, "plotter", "slots = ", said, "one" if "G" in said else "pen")
    assert "Give slots = 1" in done.stderr
    # What the message says would do, does.
    keys = keys.replace("slots = 2", "") + "\nslots = 1"
    text = GANTRY.format(pens="").replace('"gantry-gcode"', f'"{profile}"\n{keys}')
    assert run_cli("write", "--hpgl", "--job", text_job(folder, text)).returncode == 0


def test_ink_after_the_removable_pen_is_asked_for_in_a_section_of_ink_alone(
    tmp_path: Path,
) -> None:
    folder = text_job(tmp_path / "job", GANTRY.format(pens=""))
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    first, last = plan.sections[0], plan.sections[-1]
    ticks = [piece.stroke.id for piece in first.pieces if piece.stroke.pen == "removable"]
    assert ticks
    assert not any(piece.stroke.pen == "removable" for piece in last.pieces)
    bed = setting(last, job.plotter, job.pens).bed
    todo = inkings(last, job.pens.by_name, bed)

    def asked(*drawn: str) -> list[str]:
        kept = [KeptStroke(datetime.now(UTC), 1, first.id, name, "drawn") for name in drawn]
        held = last_by_slot(plan.sections, job.pens, kept)
        turns = stretches(last, todo, job.pens, {}, held)
        return [question for turn in turns for question in turn.questions]

    ink = next(piece.stroke.id for piece in first.pieces if piece.stroke.pen == "lines")
    assert asked() == asked(ink) == []
    (question,) = asked(ink, ticks[0])
    assert "Holder 1 needs the pen for" in question


def test_each_pen_in_a_holder_lasts_as_long_as_its_own_profile_says(tmp_path: Path) -> None:
    folder = text_job(tmp_path / "job", GANTRY.format(pens=""))
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = plan.sections[0]
    bed = setting(section, job.plotter, job.pens).bed
    todo = inkings(section, job.pens.by_name, bed)
    total = dict.fromkeys(job.pens.by_name, 0.0)
    for piece in section.pieces:
        pen = job.pens.named(piece.stroke.pen)
        total[piece.stroke.pen] += piece.stroke.length * piece.stroke.times(pen)
    inks = [name for name in total if total[name] and name != "removable"]
    assert total["removable"]
    assert len(inks) > 1

    def new_pens(fillings: dict[str, float], *, drawn: bool = False) -> int:
        """How many are asked for where the section takes so much of each pen's filling."""
        lasts = {
            name: pen.model_copy(update={"ink_length": total[name] / fillings[name]})
            for name, pen in job.pens.by_name.items()
            if name in fillings
        }
        pens = job.pens.model_copy(update=lasts)
        now = datetime.now(UTC)
        kept = [KeptStroke(now, 1, section.id, one.id, "drawn") for one in todo if drawn]
        left = left_by_tip(plan.sections, pens, kept)
        turns = stretches(section, todo, pens, left, {})
        return sum("new pen" in question for turn in turns for question in turn.questions)

    # The removable pen is another pen, though it stands in the same holder.
    assert new_pens({inks[0]: 0.99, "removable": 0.99}) == 0
    assert new_pens({inks[0]: 0.99, "removable": 0.3}, drawn=True) == 1
    # One pen that lasts longer for some lines than for others is used up by all of them.
    assert new_pens(dict.fromkeys(inks, 0.99 / len(inks))) == 0
    assert new_pens(dict.fromkeys(inks, 0.6)) == 1
