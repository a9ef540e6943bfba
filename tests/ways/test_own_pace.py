"""A job's own pace, by records whose clock is set by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from devices.ways.acts_of_plan import section_seconds
from marking.begun.on_the_cover import plan_hash
from marking.job.work_keys import PaceTable
from marking.output.ways_words import timed_said
from marking.record.readings import MarkReading
from marking.record.record import layout_hash, open_record
from marking.ways.own_pace import WorkAsked, at_own_pace, own_pace

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from marking.ways.own_pace import Timed

OURS = PaceTable()


class Worker:
    """Someone at the table: `slower` times as long as assumed, with breaks where told."""

    def __init__(self, slower: float) -> None:
        self.slower = slower
        self.now = datetime(2026, 3, 2, 9, tzinfo=UTC)

    def works(self, seconds: float) -> None:
        self.now += timedelta(seconds=self.slower * seconds)

    def rests(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)

    def clock(self) -> datetime:
        return self.now


@pytest.fixture(scope="module")
def work(millrace: Job, millrace_layout: Layout, millrace_plan: Plan) -> WorkAsked:
    drawing = section_seconds(millrace, millrace_plan)
    return WorkAsked(layout_hash(millrace_layout), plan_hash(millrace_plan), drawing)


def inked(
    folder: Path,
    layout: Layout,
    plan: Plan,
    work: WorkAsked,
    count: int,
    *,
    slower: float = 1.5,
    rests: Sequence[int] = (),
    pace: PaceTable = OURS,
) -> dict[str, Timed]:
    """`count` sections set down, read by four marks or five, and inked; what is timed of them."""
    worker = Worker(slower)
    with open_record(folder, worker.clock) as record:
        for number, section in enumerate(plan.sections[:count]):
            marks = 4 + number % 2
            worker.works(OURS.set_down + marks * OURS.reading)
            worker.rests(3600 if number in rests else 0)
            readings = [
                MarkReading(section.id, f"m{k}", (10.0 * k, number), 0.25, "keys")
                for k in range(marks)
            ]
            record.add_readings(work.layout, readings)
            record.add_ink(layout, section.id, "begun", work.division)
            worker.works(work.drawing[section.id])
            record.add_ink(layout, section.id, "done", work.division)
        return {one.key: one for one in own_pace(record, work, pace)}


def test_set_downs_readings_and_drawing_are_timed_and_an_hour_of_lunch_is_left_out(
    tmp_path: Path, millrace_layout: Layout, millrace_plan: Plan, work: WorkAsked
) -> None:
    timed = inked(tmp_path, millrace_layout, millrace_plan, work, 9, rests=(3, 7))
    assert timed["set_down"].own == pytest.approx(1.5 * 270, abs=1)
    assert timed["reading"].own == pytest.approx(1.5 * 30, abs=1)
    assert timed["draw_speed"].own == pytest.approx(45 / 1.5, abs=0.1)
    # Eight set-downs come after ink; two of them held a break.
    assert timed["set_down"].count == 6
    said = "At your pace: reading 45 s, by 6 times in the record (assumed: 30 s)."
    assert timed_said(timed["reading"]) == said


def test_too_few_times_leave_the_assumption(
    tmp_path: Path, millrace_layout: Layout, millrace_plan: Plan, work: WorkAsked
) -> None:
    timed = inked(tmp_path, millrace_layout, millrace_plan, work, 5)
    assert set(timed) == {"draw_speed"}


def test_a_key_that_is_set_by_hand_wins(
    tmp_path: Path, millrace_layout: Layout, millrace_plan: Plan, work: WorkAsked
) -> None:
    by_hand = PaceTable.model_validate({"reading": "20 s"})
    timed = inked(tmp_path, millrace_layout, millrace_plan, work, 9, pace=by_hand)
    assert set(timed) == {"set_down", "draw_speed"}
    own = at_own_pace(by_hand, timed.values())
    assert own.reading == 20
    assert own.set_down > 270
    assert own.model_fields_set == {"reading"}


def test_lines_are_timed_by_their_ticks_and_a_tick_taken_back_by_none(
    tmp_path: Path, millrace_layout: Layout, work: WorkAsked
) -> None:
    worker = Worker(0.8)
    with open_record(tmp_path, worker.clock) as record:
        for group in range(7):
            lines = [f"cross-{12 * group + k:03}" for k in range(12)]
            worker.works(12 * OURS.line_ruled)
            record.add_ruled(millrace_layout, lines, "ruled", work.division)
        worker.works(5)
        record.add_ruled(millrace_layout, lines[:1], "undone", work.division)
        (timed,) = own_pace(record, work, OURS)
    assert (timed.key, timed.count) == ("line_ruled", 6)
    assert timed.own == pytest.approx(64)


def test_sections_that_were_told_as_inked_without_a_run_say_nothing_of_the_drawing(
    tmp_path: Path, millrace_layout: Layout, millrace_plan: Plan, work: WorkAsked
) -> None:
    """`place --inked` keeps begun and done at one time."""
    worker = Worker(1.0)
    with open_record(tmp_path, worker.clock) as record:
        for section in millrace_plan.sections[:9]:
            worker.works(600)
            record.add_ink(millrace_layout, section.id, "begun", work.division)
            record.add_ink(millrace_layout, section.id, "done", work.division)
        assert own_pace(record, work, OURS) == ()
