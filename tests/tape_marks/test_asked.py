"""The few readings asked for: enough by a model that shares nothing with what chose them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from marking.begun.on_the_cover import keep_tape_marks, standing
from marking.job.work_keys import FenceTable
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.allowed_errors import Allowed
from marking.network.error_model import ErrorModel
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.choice import ChosenMarks, MarksChoice, Task, work
from marking.tape_marks.clampings import clampings, stretches
from marking.tape_marks.visible import sights
from tests.job.command_cases import TABLE, job_in
from tests.tape_marks.as_cover_plan import as_cover_plan
from tests.ways.cover_model import Errors
from tests.ways.plans import told

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

RAIL = "6 ft"
SHORT = "3 ft"


@pytest.fixture(scope="module")
def small(make_job) -> Task:
    """60 x 40 in for an A3 bed: 4 sections along and 4 across."""
    job = make_job(
        {"table": {"length": "60 in", "width": "40 in"}, "plotter": {"profile": "flatbed-a3"}}
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    return Task(layout, plan, Tape(), "in", Allowed(25.4 / 16, 1.1), errors=ErrorModel())


def _with(task: Task, fence: FenceTable | None) -> tuple[Task, ChosenMarks]:
    task = Task(
        task.layout, task.plan, task.tape, task.units, task.limits, errors=task.errors, fence=fence
    )
    return task, work(task, MarksChoice(at_nodes="all" if fence is None else "ends"))


@pytest.mark.parametrize("rail", [None, RAIL, SHORT])
def test_the_marks_and_readings_hold_by_an_independent_model(small: Task, rail: str | None) -> None:
    """`tests/ways`: whole covers by a model written without knowledge of the program's."""
    fence = None if rail is None else FenceTable(length=rail)
    task, done = _with(small, fence)
    marks = [one.mark for one in done.tape_marks.marks if one.line == "row"]
    seen = sights(task.plan, task.layout.grid, marks, read=dict(done.tape_marks.read))
    fences = clampings(task.plan, fence, marks) if fence is not None else None
    plan = as_cover_plan(task.layout, task.plan, done.tape_marks, seen, fences)
    assert len(plan.readings) == done.setting_out.readings
    assert len(plan.marks) == done.setting_out.marks
    figures, slip = told(plan, Errors(), 150, seed=3, follow=0.3)
    assert figures["total"] < task.limits.total
    assert figures["square"] < task.limits.total
    assert figures["step"] < task.limits.step
    # It tests each coordinate by itself; we test points, which takes a little more.
    assert slip <= done.slip <= 1.15 * slip
    assert slip < 3.0


def test_a_section_without_ink_beside_it_reads_four_marks_and_the_others_two(small: Task) -> None:
    _, done = _with(small, None)
    taped = {one.mark.id for one in done.tape_marks.marks}
    for name, marks in done.tape_marks.read:
        assert len(set(marks)) == len(marks) >= 4
        assert len(taped.intersection(marks)) >= (4 if name.endswith("c1") else 2)


def test_against_a_fence_only_the_ends_of_a_clamping_read(small: Task) -> None:
    task, done = _with(small, FenceTable(length=RAIL))
    ends = {one.id for here in stretches(task.plan, 6 * 12 * 25.4) for one in (here[0], here[-1])}
    read = dict(done.tape_marks.read)
    assert {name for name, marks in read.items() if marks} == ends
    assert len(ends) < len(task.plan.sections)


def test_what_each_section_is_to_read_is_kept_with_the_marks(small: Task, tmp_path: Path) -> None:
    _, done = _with(small, None)
    with open_record(tmp_path) as record:
        keep_tape_marks(record, small.layout, small.plan, done.tape_marks)
        found = standing(record, small.layout, small.plan, "in")
    assert found.tape_marks == done.tape_marks
    assert dict(found.sights.seen) == dict(done.tape_marks.read)
    assert {one.mark.id for one in done.tape_marks.marks} <= set(found.sights.targets)


def test_the_list_of_sections_says_what_to_read_and_what_is_in_reach(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = job_in(tmp_path / "bench", TABLE)
    chosen = json.loads(run_cli("control", "--json", "--nodes", "all", "--job", folder).stdout)
    told = json.loads(run_cli("section", "--json", "--job", folder).stdout)["sections"]
    assert {one["id"]: one["read"] for one in told} == chosen["read"]
    for section in told:
        laid = {mark["id"] for mark in section["witness"]}
        assert set(section["read"]) <= laid | set(section["control"])
    assert sum(len(one["read"]) for one in told) == chosen["forecast"]["readings"]
