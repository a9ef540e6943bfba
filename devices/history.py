"""What the verbs ask of a job's record: the kept correction, and what it adds to a plan.

A job without a record has no history; reading it never makes one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction, DeviceCheck
    from devices.plotter.profile import Plotter
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout
    from marking.output.report import InForce
    from marking.record.record import Record
    from marking.sections.plan import Plan
    from marking.ways.own_pace import Timed


def has_record(folder: Path) -> bool:
    """Whether anything was ever kept in this job."""
    from marking.job.folder import RECORD_FILE

    return (folder / RECORD_FILE).exists()


def device_name(plotter: Plotter) -> str:
    """What a check of the device is kept under: another unit is another device."""
    return f"{plotter.name}, {plotter.unit:g} mm a unit"


def kept_check(folder: Path, job: Job) -> DeviceCheck | None:
    """The last check of the job's plotter that was kept; None when there was none."""
    if not has_record(folder):
        return None
    from marking.record.record import open_record

    with open_record(folder) as record:
        return check_kept(record, job)


def check_kept(record: Record, job: Job) -> DeviceCheck | None:
    """The last check of the job's plotter in its record; None when there was none."""
    from devices.plotter.correction import check_from

    checks = record.checks("device", device_name(job.plotter))
    return check_from(checks[-1].result) if checks else None


def kept_correction(folder: Path, job: Job) -> Correction | None:
    """What the last check of the job's plotter says to draw with; None when there was none."""
    check = kept_check(folder, job)
    return check.applied if check is not None else None


def own_pace(folder: Path, job: Job, layout: Layout, plan: Plan) -> tuple[Timed, ...]:
    """The acts that the job's record times, where enough of them were; nothing before ink."""
    if not has_record(folder) or plan.zone.name != "plotter":
        return ()
    from devices.ways.acts_of_plan import by_two, section_seconds
    from marking.begun.on_the_cover import plan_hash
    from marking.record.record import layout_hash, open_record
    from marking.ways.own_pace import Key, WorkAsked, own_pace

    key: Key = "set_down_by_two" if by_two(job.plotter) else "set_down"
    if job.fence is not None:
        key = "set_down_at_fence"
    with open_record(folder) as record:
        if not record.ink() and not record.ruled():
            return ()
        drawing = section_seconds(job, plan)
        work = WorkAsked(layout_hash(layout), plan_hash(plan), drawing, key)
        return own_pace(record, work, job.pace)


def at_own_pace(folder: Path, job: Job, layout: Layout, plan: Plan) -> Job:
    """`job` with the pace that its record knows in place of what is assumed."""
    timed = own_pace(folder, job, layout, plan)
    if not timed:
        return job
    from marking.ways.own_pace import at_own_pace

    return job.model_copy(update={"pace": at_own_pace(job.pace, timed)})


def inked_anew(folder: Path, layout: Layout, plan: Plan) -> dict[str, list[FloatArray]]:
    """The lines (n, 2) of each mend that was not taken back, by its name; table frame, mm."""
    if not has_record(folder) or plan.zone.name != "plotter":
        return {}
    from marking.mending.mend import mends
    from marking.record.record import open_record

    with open_record(folder) as record:
        kept = [one for one in mends(record, layout, plan) if one.state != "taken back"]
    return {one.id: [piece.stroke.points for piece in one.every_piece] for one in kept}


def in_force(folder: Path, job: Job, layout: Layout, plan: Plan) -> InForce:
    """What the job's record adds to a plan: the plotter's correction, the tape marks."""
    from devices.ways.hours_said import drawing, hours_said
    from marking.output.report import InForce

    job = at_own_pace(folder, job, layout, plan)
    draws = drawing(job, plan)
    if not has_record(folder):
        return InForce(hours=hours_said(job, layout, plan, None), drawing=draws)
    from devices.plotter.correction import correction_said
    from marking.begun.on_the_cover import readings_asked_for, tape_marks_set_out
    from marking.mending.mend import mends
    from marking.mending.words import mended_said
    from marking.record.record import open_record
    from marking.tape_marks.time_to_set_out import setting_out_of
    from marking.tape_marks.visible import sights, within

    correction = kept_correction(folder, job) if plan.zone.name == "plotter" else None
    with open_record(folder) as record:
        tape_marks = tape_marks_set_out(record, layout, job.units)
        asked = readings_asked_for(record, layout, plan, job.units)
        anew = tuple(mended_said(one, layout, job.units) for one in mends(record, layout, plan))
    marks = [mark.mark for mark in tape_marks.marks] if tape_marks is not None else []
    reached = {
        section.id: [mark.id for mark in marks if within(mark.at_table, section, plan)]
        for section in plan.sections
        if marks
    }
    said = correction_said(correction) if correction is not None else None
    if tape_marks is None:
        hours = hours_said(job, layout, plan, None)
        return InForce(said, reached, hours=hours, drawing=draws, anew=anew)
    # Only a plotter's pen is brought onto marks.
    read = sights(plan, layout.grid, marks, read=asked).seen if plan.zone.name == "plotter" else {}
    readings = sum(map(len, read.values())) if read else None
    asks = setting_out_of(tape_marks, readings, job.pace)
    hours = hours_said(job, layout, plan, asks)
    return InForce(said, reached, asks, read, hours, draws, anew)
