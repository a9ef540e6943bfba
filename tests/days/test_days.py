"""Work over days: whole rows by the evening, and a morning's check that a night is not gone on
without. What canvas does overnight is made up here; the tape's doubt is UK SI 2016/1153's, halved.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from devices.commands import main
from devices.job import Job
from marking.begun.on_the_cover import keep_tape_marks, plan_hash, tape_marks_set_out
from marking.days.morning import judged, keep_morning, last_morning, meant, waits_for
from marking.days.spread import section_seconds, spread, whole_rows
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape, independent_sd, reading_covariance
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from tests.job.command_cases import BAD_INPUT, REFUSED

if TYPE_CHECKING:
    from pathlib import Path

    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

JOB = (
    'schema = 1\n[table]\nlength = "40 in"\nwidth = "30 in"\n[hems]\ndepth = "4 in"\n'
    'folds = ["single 1 in"]\n[plotter]\nprofile = "flatbed-a4"\n[inking]\ntried = "not asked"\n'
)
INCH = 25.4
DEVICE_FAILED = 3
DRIVE = ["--port", "socket://127.0.0.1:1", "--unattended"]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    folder = tmp_path_factory.mktemp("days")
    (folder / JOB_FILE).write_text(JOB, "utf-8")
    return load_job(folder, Job)


@pytest.fixture(scope="module")
def layout(job: Job) -> Layout:
    return lay_out(job)


@pytest.fixture(scope="module")
def plan(job: Job, layout: Layout) -> Plan:
    return divide_into_sections(layout, job, job.plotter.zone)


@settings(max_examples=60)
@given(hours=st.floats(0.05, 12), done=st.integers(0, 40))
def test_every_section_falls_into_one_day_in_order_and_no_day_is_longer_than_it_may_be(
    job: Job, plan: Plan, hours: float, done: int
) -> None:
    order = [section.id for section in plan.sections]
    seconds = {s.id: section_seconds(s, plan, job.pace) for s in plan.sections}
    days = spread(plan, frozenset(order[:done]), seconds, hours * 3600)
    assert [name for day in days for name in day.sections] == order[done:]
    inked = set(order[:done])
    for day in days:
        assert day.seconds <= hours * 3600 or len(day.sections) == 1
        inked |= set(day.sections)
        assert day.whole_rows == whole_rows(plan, inked)
        assert day.last == (inked == set(order))


def test_a_day_that_has_room_for_a_row_and_some_more_ends_with_the_row(
    job: Job, plan: Plan
) -> None:
    """Half a row can be cut by nobody; the next one is begun in the morning."""
    seconds = dict.fromkeys((s.id for s in plan.sections), 60.0)
    row = sum(s.row == 1 for s in plan.sections)
    assert plan.rows > 2
    days = spread(plan, frozenset(), seconds, 60.0 * (row + 1))
    assert [len(day.sections) for day in days[:2]] == [row, row]
    assert [day.whole_rows for day in days[:2]] == [(1,), (1, 2)]


@pytest.fixture
def control(layout: Layout, plan: Plan, tmp_path: Path):
    (tmp_path / JOB_FILE).write_text(JOB, "utf-8")
    found = set_out(layout, 6 * INCH, Tape(), "in")
    with open_record(tmp_path) as record:
        keep_tape_marks(record, layout, plan, found)
    return found


def last_ink(folder: Path, layout: Layout, plan: Plan, ago: timedelta) -> None:
    with open_record(folder, lambda: datetime.now(UTC) - ago) as record:
        record.add_ink(layout, plan.sections[0].id, "begun", plan_hash(plan))
        record.add_ink(layout, plan.sections[0].id, "done", plan_hash(plan))


def test_a_cover_that_lies_as_it_did_goes_on_and_one_that_crept_does_not(
    layout: Layout, control
) -> None:
    true = meant(layout, control)
    along = float(layout.grid.cross_x[-1] - layout.grid.cross_x[0])
    wide = layout.grid.long_lines[-1].y - layout.grid.long_lines[0].y
    assert true["up"] == pytest.approx(np.hypot(along, wide))
    first = judged(true, layout, control, None, "in")
    assert first.wrong == ()
    # The far edge pulled a quarter inch along: one diagonal longer, the other shorter.
    sheared = {
        "base": along,
        "up": float(np.hypot(along + 6, wide)),
        "down": float(np.hypot(along - 6, wide)),
    }
    assert "no longer lies square" in judged(sheared, layout, control, first, "in").wrong[-1]
    # Shrunk by 0.4 % in the dry: both diagonals alike, and shorter than yesterday.
    shrunk = judged({k: v * 0.996 for k, v in true.items()}, layout, control, first, "in")
    assert len(shrunk.wrong) == 3
    assert "the base line" in shrunk.wrong[0]


def test_a_true_cover_is_refused_seldom_and_a_change_sooner_than_an_error(
    layout: Layout, control
) -> None:
    """Scatter as the tape's class allows, its scale alike on both mornings: 1 in 100 each of 4."""
    true = meant(layout, control)
    names = list(true)
    values = np.array([true[name] for name in names])
    rng = np.random.default_rng(5)
    shared = np.linalg.cholesky(reading_covariance(values, control.tape))
    alone = independent_sd(values, control.tape)
    refused = 0
    for _ in range(400):
        one = values + shared @ rng.standard_normal(3)
        two = one + alone * rng.standard_normal(3)
        before = judged(dict(zip(names, one, strict=True)), layout, control, None, "in")
        now = judged(dict(zip(names, two, strict=True)), layout, control, before, "in")
        refused += bool(before.wrong)
        assert len(now.wrong) <= 4
    assert refused / 400 < 0.05


def test_after_a_night_no_ink_is_laid_before_the_morning_s_check(
    layout: Layout, plan: Plan, control, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drive = ["drive", "--job", str(tmp_path), *DRIVE]
    last_ink(tmp_path, layout, plan, timedelta(hours=9))
    assert main(drive) == REFUSED
    told = capsys.readouterr().err
    assert "base line and both diagonals" in told
    assert "nothing was inked" in told
    shown = meant(layout, control)
    words = [f"{shown[name]:.2f} mm" for name in ("base", "up", "down")]
    days = ["days", "--job", str(tmp_path)]
    assert main([*days, "--morning", words[0], f"{shown['up'] + 12:.2f} mm", words[2]]) == REFUSED
    assert "DO NOT INK" in capsys.readouterr().out
    assert main(drive) == REFUSED
    assert "this morning's check says" in capsys.readouterr().err
    assert main([*days, "--morning", *words]) == 0
    assert main(drive) == DEVICE_FAILED


def test_a_reason_goes_on_without_the_check_and_an_afternoon_needs_none(
    layout: Layout, plan: Plan, control, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    last_ink(tmp_path, layout, plan, timedelta(hours=2))
    drive = ["drive", "--job", str(tmp_path), *DRIVE]
    assert main(drive) == DEVICE_FAILED
    with open_record(tmp_path) as record:
        at = datetime.now(UTC) + timedelta(hours=8)
        assert waits_for(record, layout, plan, "in", at) is not None
        keep_morning(record, layout, judged(meant(layout, control), layout, control, None, "in"))
        assert waits_for(record, layout, plan, "in", at - timedelta(hours=4)) is None
        assert last_morning(record, layout) is not None
        assert tape_marks_set_out(record, layout, "in") is not None
    assert main([*drive, "--ink-anyway", "checked by eye"]) == DEVICE_FAILED


def test_by_command_the_days_are_told_with_what_each_evening_leaves(
    layout: Layout, plan: Plan, control, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    days = ["days", "--job", str(tmp_path)]
    assert main([*days, "--hours", "2"]) == 0
    told = capsys.readouterr().out
    assert "left overnight" in told or "leave it overnight" in told
    assert "That evening: the whole cover" in told
    assert "row 1 and row" in told
    assert "diagonal from the zero line at the far line" in told
    assert main([*days, "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)["days"]
    assert [n for day in shown for n in day["sections"]] == [s.id for s in plan.sections]
    for hours in ("30", "a day", "nan"):
        assert main([*days, "--hours", hours]) == BAD_INPUT
    capsys.readouterr()
    assert main([*days, "--morning", "1 in", "two", "3"]) == BAD_INPUT
    up, down = capsys.readouterr().err.splitlines()
    assert "--morning UP 'two': " in up
    assert "--morning DOWN '3': no unit" in down


def test_without_tape_marks_there_is_no_base_line_to_check(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / JOB_FILE).write_text(JOB, "utf-8")
    words = ["days", "--job", str(tmp_path), "--morning", "1 in", "2 in", "3 in"]
    assert main(words) == REFUSED
    assert "canvasrule control first" in capsys.readouterr().err
