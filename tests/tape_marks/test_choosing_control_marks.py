"""Which tape marks `control` sets out, what it says would help, and what it never undoes."""

from __future__ import annotations

import json
import re
import shlex
from typing import TYPE_CHECKING, Any

import pytest
from pypdfium2 import PdfDocument

from devices.job import Job
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.allowed_errors import Allowed
from marking.output.error_map import error_map
from marking.sections.plan import divide_into_sections
from marking.tape_marks.choice import MarksChoice, Task, work
from tests.job.command_cases import REFUSED, TABLE, assert_plain, job_in
from tests.output.printed import words_of

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

TIGHT = 'tolerance = "1/20 in"\n' + TABLE
"""Marks every 12 in do not hold a twentieth, on this table with an A3 bed; others do."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return job_in(tmp_path / "bench", TIGHT)


def asked(run_cli: RunCli, folder: Path, *words: str) -> Any:
    done = run_cli("control", "--json", "--job", folder, *words)
    answer = json.loads(done.stdout)
    # 0: it holds; 1: the job cannot be done as asked.
    assert done.returncode == (0 if answer["forecast"]["holds"] else REFUSED), done.stderr
    return answer


def test_what_holds_read_twice_is_asked_for_twice_at_the_table_and_reckoned_so(
    run_cli: RunCli, job: Path
) -> None:
    (job / "job.toml").write_text(f'{TIGHT}\n[plotter]\nprofile = "flatbed-a3"\n', "utf-8")
    once = asked(run_cli, job, "--only-look", "--nodes", "all")
    twice = asked(run_cli, job, "--nodes", "all", "--read-twice")
    assert twice["read"] == {name: [*marks, *marks] for name, marks in once["read"].items()}
    readings = sum(map(len, twice["read"].values()))
    assert (
        f"{readings} readings"
        in run_cli("control", "--only-look", "--nodes", "all", "--read-twice", "--job", job).stdout
    )
    # A card has room for every reading, and the report counts them all.
    assert run_cli("paper", "job", "--job", job).returncode == 0
    section, marks = next(iter(twice["read"].items()))
    pages = PdfDocument(job / "out" / "paper" / "job.pdf")
    text = "\n".join(page.get_textpage().get_text_bounded() for page in pages)
    card = re.search(rf"{section}\W+1 of.*?READ AGAIN", text, re.DOTALL)
    assert card is not None
    assert [*re.findall(r"^([a-z]+\d+)\b", card[0], re.MULTILINE)] == marks
    run_cli("write", "--report", "--job", job)
    assert f"{readings} readings" in (job / "out" / "report.md").read_text("utf-8")


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_remedy_typed_as_it_stands_gives_the_figures_it_promised(
    run_cli: RunCli, job: Path, units: str
) -> None:
    (job / "job.toml").write_text(f'units = "{units}"\n{TIGHT}', "utf-8")
    wide = "12 in" if units == "in" else "300 mm"
    hard = asked(run_cli, job, "--spacing", wide)
    assert not hard["forecast"]["holds"]
    assert len(hard["remedies"]) > 3
    assert any(remedy["holds"] for remedy in hard["remedies"])
    for promised in hard["remedies"][:4]:
        given = asked(run_cli, job, "--only-look", *shlex.split(promised["what"]))["forecast"]
        assert given == promised
    said = run_cli("control", "--spacing", wide, "--job", job).stdout
    first = hard["remedies"][0]
    assert f"  {first['what']}: line {first['worst_line']:.2f} mm" in said
    # A metric job is advised in the millimetres that it sets out by, none of them 76.2.
    assert units == "in" or not re.search(r"\d\.\d+ mm\"", said)


def test_a_map_whose_sections_all_hold_says_why_the_cover_does_not(tmp_path: Path) -> None:
    job = load_job(job_in(tmp_path, TABLE), Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    done = work(Task(layout, plan, Tape(), "in", Allowed(1.0)), MarksChoice(152.4))
    worst = max(section.error for section in done.forecast.sections)
    between = Allowed((worst + done.forecast.worst_line) / 2)
    hard = work(Task(layout, plan, Tape(), "in", between), MarksChoice(152.4))
    assert worst < between.tolerance < hard.forecast.worst_line
    assert not hard.forecast.holds
    marks = [mark.mark for mark in hard.tape_marks.marks]
    heard = [text for text, _ in words_of(error_map(layout, job, plan, hard.forecast, marks))]
    figures = [float(text) for text in heard if re.fullmatch(r"\d\.\d\d", text)]
    assert max(figures) < between.tolerance
    # The whole cover has a figure and a place of its own on the scale, beside the sections'.
    assert heard[heard.index("whole cover") + 1] == f"{hard.forecast.worst_line:.2f} mm!"
    assert [text for text in heard if "may be the one that errs" in text]
    assert "Forecast: DOES NOT HOLD" in heard


def test_marks_that_were_read_are_not_replaced_unless_a_person_says_so(
    run_cli: RunCli, job: Path
) -> None:
    first = asked(run_cli, job, "--spacing", "6 in")
    sheet = (job / "out" / "control.pdf").read_bytes()
    done = run_cli("section", "--json", "--job", job)
    section = json.loads(done.stdout)["sections"][0]
    at = {mark["id"]: mark["at"] for mark in first["marks"]}
    x, y, right, _ = section["window"]
    rows = [
        # Turned a quarter anticlockwise, the device's X runs away from the near edge.
        f"r1c1,{name},{at[name][1] - y:.2f},{right - at[name][0]:.2f}"
        if section["turned"]
        else f"r1c1,{name},{at[name][0] - x:.2f},{at[name][1] - y:.2f}"
        for name in section["control"]
    ]
    assert "r1c1,n6," in "\n".join(rows)
    file = job / "r1c1.csv"
    file.write_text("\n".join(["section,mark,x_mm,y_mm", *rows, ""]), "utf-8")
    # Whether the readings are enough is not the question here.
    assert run_cli("place", "--accept", "--readings", file, "--job", job).returncode == 0
    other = ("control", "--spacing", "12 in", "--job", job)
    assert_plain(run_cli(*other), REFUSED, "n6", "were read already", "--set-out-anew")
    assert (job / "out" / "control.pdf").read_bytes() == sheet
    # Closer marks keep all that were read, and so take nothing away.
    assert run_cli("control", "--spacing", "3 in", "--job", job).returncode in (0, REFUSED)
    assert (job / "out" / "control.pdf").read_bytes() != sheet
    anew = run_cli(*other, "--set-out-anew")
    assert "take" in anew.stderr
    assert "n6" in anew.stderr


def test_another_choice_before_anything_is_read_says_which_marks_to_take_off(
    run_cli: RunCli, job: Path
) -> None:
    asked(run_cli, job, "--spacing", "6 in")
    other = run_cli("control", "--spacing", "12 in", "--job", job)
    assert re.search(r"take \d+ of them off: n6, n18", other.stderr)
