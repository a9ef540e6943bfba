"""Inks of two widths in one holder: one pen draws them all, and whoever lays out is told so."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from devices.dialects.writer import inkings
from devices.driving.machine import setting
from devices.inking.pen_change import stretches
from devices.job import Job
from devices.machine_zones import divided
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.output.report import markdown
from tests.bench.benches import unwatched

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from tests.conftest import MakeJob, RunCli

SMALL = 'table = { length = "26 in", width = "20 in" }\nhems = { depth = "3 in", folds = [] }\n'
DIFFER = "One pen draws all that is inked from holder 1, and nobody is asked to change it: "
WIDTHS = "pens.lines.width = 1 mm, pens.heavy.width = 1 mm, pens.numerals.width = 0.8 mm."
ONE_WIDTH = '[pens]\nnumerals = { slot = 1, width = "1 mm" }\n'


def told(run_cli: RunCli, folder: Path, text: str, verb: str = "layout") -> list[str]:
    """What is warned of holders by a verb, of a job with `text` beside the table."""
    folder.mkdir(exist_ok=True)
    (folder / JOB_FILE).write_text(SMALL + text, "utf-8")
    found = json.loads(run_cli(verb, "--job", folder, "--json").stdout)
    return [one for one in found["warnings"] if "holder" in one]


@pytest.mark.parametrize("plotter", ["flatbed-a3", "flatbed-a4", "gantry-gcode"])
def test_no_run_asks_for_a_second_ink_in_a_holder(make_job: MakeJob, plotter: str) -> None:
    """Which is why it is warned of, on a plotter that changes its pens and on one that cannot."""
    job = make_job(f'{SMALL}[plotter]\nprofile = "{plotter}"\n')
    plan = divided("plotter", lay_out(job), job, None)
    pens = job.pens
    seen = set[str]()
    for section in plan.sections:
        bed = setting(section, job.plotter, pens, None, None).bed
        made = inkings(section, pens.by_name, bed)
        seen |= {one.pen for one in made}
        asked = [one.pen for each in stretches(section, made, pens, {}, {}) for one in each.asked]
        inks = {one.pen for one in made} - {"removable"}
        # The removable pen is asked for where ink shares its holder; then ink once more.
        assert len(set(asked) & inks) <= 1
        assert not asked or pens.removable.slot == 1
    assert {"lines", "heavy", "numerals"} <= seen


@pytest.mark.parametrize(
    ("plotter", "would_do"),
    [
        (
            "flatbed-a3",
            " Give them one width, or a holder of its own to what differs: pens.numerals.slot.",
        ),
        ("gantry-gcode", " Give them one width: this plotter has one holder."),
    ],
)
def test_inks_of_two_widths_in_one_holder_are_warned_of(
    run_cli: RunCli, tmp_path: Path, plotter: str, would_do: str
) -> None:
    """With what and where, and what would do: by every verb that tells how the marking fits."""
    text = f'plotter = {{ profile = "{plotter}" }}\n'
    warning = DIFFER + WIDTHS + would_do
    assert told(run_cli, tmp_path, text) == [warning]
    assert f"- {warning}\n" in run_cli("layout", "--job", tmp_path).stdout
    assert told(run_cli, tmp_path, text, "section") == [warning]
    done = run_cli("write", "--job", tmp_path, "--report")
    assert done.returncode == 0, done.stderr
    report = (tmp_path / "out" / "report.md").read_text("utf-8")
    assert report.count(warning) == 1
    assert json.loads((tmp_path / "out" / "report.json").read_text("utf-8"))["warnings"].count(
        warning
    )
    # What is kept of the layout when a job is begun knows nothing of it.
    job = load_job(tmp_path, Job)
    assert "holder 1" not in markdown(lay_out(job), job, None)


@pytest.mark.parametrize(
    "text",
    [
        ONE_WIDTH,
        # 1/32 in is 0.79375 mm, however it is written.
        '[pens]\nlines = { width = "1/32 in" }\nheavy = { width = "0.79375 mm", passes = 2 }\n'
        'numerals = { width = "1/32 in" }\n',
        '[pens]\nnumerals = { slot = 3, width = "0.8 mm" }\n',
        # A run asks for the removable pen, and then for the ink again.
        f'{ONE_WIDTH}removable = {{ slot = 1, width = "0.5 mm" }}\n',
        # Nothing is drawn with the numerals' pen, or by no plotter.
        "numerals = { sides = [] }\n",
        'ways = { way = "hand" }\n',
        'ways = { way = "ceiling-1080p" }\n',
    ],
)
def test_nothing_is_said_where_each_line_is_drawn_by_the_pen_it_was_laid_out_for(
    run_cli: RunCli, tmp_path: Path, text: str
) -> None:
    assert told(run_cli, tmp_path, text) == []


def test_each_holder_is_told_of_by_itself(run_cli: RunCli, tmp_path: Path) -> None:
    pens = """[pens]
lines = { slot = 2, width = "1 mm" }
heavy = { slot = 2, width = "2 mm" }
numerals = { slot = 1, width = "0.8 mm" }
"""
    (said,) = told(run_cli, tmp_path, pens)
    assert "from holder 2" in said
    assert "numerals" not in said
    assert said.endswith("pens.heavy.slot.")


def test_the_page_tells_of_it_while_a_pen_is_typed(tmp_path: Path) -> None:
    (tmp_path / JOB_FILE).write_text(SMALL, "utf-8")
    page = unwatched(tmp_path)

    def holders(found: Mapping[str, Any]) -> list[str]:
        return [one for one in found["warnings"] if "holder" in one]

    (said,) = holders(page.told())
    assert "“Line width of numerals” = 0.8 mm" in said
    assert said.endswith("what differs: “Numerals: holder”.")
    assert holders(json.loads(page.tried("pens.numerals.width", "1 mm"))) == []
    assert holders(json.loads(page.tried("pens.numerals.slot", 3))) == []
    assert holders(json.loads(page.tried("ways.way", "hand"))) == []
