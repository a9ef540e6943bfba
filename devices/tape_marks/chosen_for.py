"""What a job's tape marks are chosen for, and what is said of them beside their forecast."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from devices.history import has_record, kept_check
from devices.plotter.known_errors import with_plotter
from devices.setting_down.fence_words import clamping_lines
from devices.ways.hours_said import hours_said
from marking.begun.on_the_cover import tape_marks_set_out
from marking.job.keys import tape_of
from marking.measures.counts import counted
from marking.network.allowed_errors import allowed_of
from marking.network.error_model import error_model_of
from marking.output.tape_marks_words import forecast_lines
from marking.record.record import open_record
from marking.tape_marks.choice import Task
from marking.tape_marks.wanted import chosen, instead

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.sections.plan import Plan
    from marking.tape_marks.choice import ChosenMarks
    from marking.tape_marks.marks import TapeRow
    from marking.tape_marks.wanted import MarksWanted


class MarksForMachine(Struct, frozen=True):
    """The marks chosen for a job's machine, and what is said of them."""

    marks: ChosenMarks
    tried: tuple[ChosenMarks, ...]
    task: Task
    hours: str
    clamped: list[str]
    """Where the fence is clamped, row by row; nothing without one."""

    def instead(self, told: Callable[[str], None]) -> tuple[ChosenMarks, ...]:
        """What may be asked for where their forecast does not hold; it takes as many forecasts."""
        return instead(self.marks, self.tried, self.task, told)

    def on_sheet(self) -> tuple[str, ...]:
        """What the sheet says beside the marks: work, hours of the whole, and the forecast."""
        marks = self.marks
        forecast = forecast_lines(marks, self.task.units)
        return (
            marks.setting_out.said,
            self.hours,
            *([_where_to_clamp(marks)] if self.clamped else []),
            *(line.strip() for line in forecast),
        )


def choose(
    folder: Path,
    job: Job,
    layout: Layout,
    plan: Plan,
    wanted: MarksWanted,
    told: Callable[[str], None],
) -> MarksForMachine:
    """The tape marks for the job in `folder`; `told` is called before each forecast.

    Raises BadInputError for what cannot be asked together.
    """
    task = _task(folder, job, layout, plan)
    marks, tried = chosen(wanted, task, told)
    # Marks in rows are read without a fence, whether there is one or not.
    fence = job.fence if marks.fences else None
    hours = hours_said(job.model_copy(update={"fence": fence}), layout, plan, marks.setting_out)
    return MarksForMachine(marks, tried, task, hours, _fence_lines(job, plan, marks))


def _task(folder: Path, job: Job, layout: Layout, plan: Plan) -> Task:
    """The job's sections, tape, limits and errors; rows that are set out keep their names."""
    rows = _rows_set_out(folder, layout, job.units)
    check = kept_check(folder, job)
    errors = with_plotter(error_model_of(job.fence), job.plotter, check, turned=plan.zone.turned)
    tape, limits = tape_of(job.tape), allowed_of(job)
    return Task(layout, plan, tape, job.units, limits, rows, job.pace, errors, job.fence)


def _rows_set_out(folder: Path, layout: Layout, units: Units) -> tuple[TapeRow, ...]:
    """The rows of marks that were chosen for this layout before."""
    if not has_record(folder):
        return ()
    with open_record(folder) as record:
        before = tape_marks_set_out(record, layout, units)
    return before.rows if before is not None else ()


def _fence_lines(job: Job, plan: Plan, marks: ChosenMarks) -> list[str]:
    at = {one.mark.id: one.mark.at_table for one in marks.tape_marks.marks}
    return list(clamping_lines(plan.sections, marks.fences or {}, at, job.plotter, job.units))


def _where_to_clamp(marks: ChosenMarks) -> str:
    """What the sheet says of a fence: the places themselves would fill it."""
    moved = counted(len(set((marks.fences or {}).values())), "clamping")
    return f"{moved} of the fence: canvasrule drive says where, and control --only-look lists them."
