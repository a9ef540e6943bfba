"""A rehearsal shows what a drive would do, and leaves the job as it was."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import numpy as np
import pytest

from devices.driving.machine import setting
from devices.history import device_name, kept_correction
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.plotter.correction import check_record, solve_square, within_reach
from devices.trial.sheet import scrap_sheet
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.record.record import RECORD_FILE, open_record
from marking.sections.plan import divide_into_sections
from tests.inking.kills import SECTION, cloth_faults, make_job, plotter_at

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

REHEARSE = ["--simulate", "--unattended", "--pace", "400"]
SAMPLING = 0.06
"""mm: cloth and strokes are compared at points this far apart."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    make_job(tmp_path / "job", "flatbed-a4")
    return tmp_path / "job"


def all_rows(folder: Path) -> list[str]:
    """Everything that the job's record holds, as SQLite itself dumps it."""
    with closing(sqlite3.connect(folder / RECORD_FILE)) as record:
        return list(record.iterdump())


def test_a_rehearsal_of_a_new_job_makes_it_no_record(run_cli: RunCli, job: Path) -> None:
    done = run_cli("drive", "--job", job, *REHEARSE, "--most", "1", "--json")
    assert done.returncode == 0, done.stderr
    assert '"rehearsal": true' in done.stdout
    assert "A rehearsal: no cloth was inked, and nothing of it is kept" in done.stderr
    assert not (job / RECORD_FILE).exists()
    assert (job / "out" / "cloth.png").stat().st_size > 1000


def test_a_rehearsal_goes_on_from_the_real_ink_and_is_forgotten(run_cli: RunCli, job: Path) -> None:
    words = ["drive", "--job", job, "--unattended", "--most", "1"]
    with plotter_at(job, 400) as port:
        assert run_cli(*words, *port, "--ink-anyway", "the first, by tape").returncode == 0
    before = all_rows(job)
    for _ in range(2):
        done = run_cli("drive", "--job", job, *REHEARSE, "--most", "1")
        assert done.returncode == 0, done.stderr
        assert "r1c2: done" in done.stdout
    assert all_rows(job) == before
    # Only what was rehearsed lies on the simulated cloth.
    assert [path.name for path in (job / "out" / "cloth").iterdir()] == ["r1c2.ink"]
    # Nothing rehearsed stands in the way of another layout.
    done = run_cli("drive", "--job", job, *REHEARSE, "--section", SECTION)
    assert "everything asked for is drawn already" in done.stdout


def test_a_rehearsed_section_bars_no_change_of_the_layout(run_cli: RunCli, job: Path) -> None:
    assert run_cli("drive", "--job", job, *REHEARSE, "--most", "1").returncode == 0
    text = (job / "job.toml").read_text("utf-8")
    (job / "job.toml").write_text(text + '[grid]\npitch = "2 in"\n', "utf-8")
    assert run_cli("layout", "--job", job).returncode == 0
    assert run_cli("drive", "--job", job, *REHEARSE, "--most", "1").returncode == 0


def test_a_rehearsal_of_a_corrected_plotter_clips_nothing(run_cli: RunCli, job: Path) -> None:
    """Where it draws 1.5 % short, it is told more than it covers: here, more than its window."""
    text = (job / "job.toml").read_text("utf-8")
    # On a table of this length, lines come near to the bed's edge.
    (job / "job.toml").write_text(text.replace('"26 in"', '"20 in"'), "utf-8")
    wanted = load_job(job, Job)
    side = scrap_sheet(wanted.plotter, wanted.pens).side * 0.985
    runs = dict.fromkeys(("AB", "BC", "CD", "DA"), side)
    runs |= {run: float(side * np.sqrt(2)) for run in ("AC", "BD")}
    check = solve_square(runs, side / 0.985, Tape())
    with open_record(job) as record:
        record.add_check("", "device", device_name(wanted.plotter), check_record(check))
    correction = kept_correction(job, wanted)
    assert correction is not None

    layout = lay_out(wanted)
    plan = divide_into_sections(layout, wanted, within_reach(wanted.plotter, correction).zone)
    told = {
        section.id: setting(section, wanted.plotter, wanted.pens, correction)
        for section in plan.sections
    }
    # One whose lines come near enough to the edge to tell.
    section = next(
        section
        for section in plan.sections
        for uncorrected in [bed_of(section, wanted.plotter)]
        for paths in [[stroke.path for stroke in told[section.id].strokes]]
        if (np.concatenate(paths).max(axis=0) > uncorrected.high).any()
    )
    corrected = told[section.id]
    done = run_cli("drive", "--job", job, *REHEARSE, "--section", section.id)
    assert done.returncode == 0, done.stderr
    assert max(cloth_faults(job, corrected, f"out/cloth/{section.id}.ink")) <= SAMPLING


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["drive", "--simulate", "--pace", "nan"], "--pace nan"),
        (["drive", "--simulate", "--pace", "inf"], "--pace inf"),
        (["drive", "--simulate", "--pace", "-1"], "--pace -1"),
        (["drive", "--simulate", "--most", "-1"], "--most -1"),
        (["drive", "--simulate", "--most", "0"], "--most 0"),
        (["simulate", "--pace", "nan"], "--pace nan"),
        (["simulate", "--listen", "256.0.0.1:5000"], "--listen 256.0.0.1:5000: cannot listen"),
        (["simulate", "--listen", "192.0.2.1:5000"], "--listen 192.0.2.1:5000: cannot listen"),
    ],
)
def test_a_figure_that_cannot_be_is_named(
    run_cli: RunCli, job: Path, words: list[str], named: str
) -> None:
    """192.0.2.0/24 is kept for documentation by RFC 5737: no computer has it."""
    done = run_cli(*words, "--job", job)
    assert done.returncode == 2
    assert named in done.stderr
    assert "Traceback" not in done.stderr
    assert not (job / RECORD_FILE).exists()
