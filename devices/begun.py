"""How every verb comes by layout and division: those the job was begun with, else made anew.

It brings the record and the machines together; a job without a record is laid out as it is, and
looking never writes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.history import has_record, kept_correction

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.projector.desk.beam_work import BeamWork
    from marking.layout.layout import Layout
    from marking.record.record import Record
    from marking.sections.plan import Plan
    from marking.sections.zones import ZoneName


def layout_of(folder: Path, job: Job, *, despite_ink: bool | None = None) -> Layout:
    """The job's layout. Raises RefusedError when it moves a line once ink has been laid.

    `despite_ink` says that a person takes it all the same; None where a verb has no such option.
    """
    if not has_record(folder):
        from marking.layout.layout import lay_out

        return lay_out(job)
    from marking.begun.layout_and_division import layout_in_force
    from marking.record.record import open_record

    with open_record(folder) as record:
        return layout_in_force(record, job, accept=despite_ink)


def plan_of(
    folder: Path, zone: ZoneName, job: Job, layout: Layout, correction: Correction | None
) -> Plan:
    """The sections of the job's layout for the zone named."""
    from devices.machine_zones import divided, division_settings

    def divide() -> Plan:
        return divided(zone, layout, job, correction)

    if not has_record(folder):
        return divide()
    from marking.begun.layout_and_division import division_in_force
    from marking.record.record import open_record

    settings = division_settings(zone, job, correction)
    with open_record(folder) as record:
        plan = division_in_force(record, layout, zone, settings, divide)
    if zone != "plotter":
        return plan
    # Feet divide nothing: what is known of them today goes, and not what was when it was begun.
    footing = job.plotter.footing
    if footing is not None and plan.zone.turned:
        footing = footing.turned
    return replace(plan, zone=replace(plan.zone, footing=footing))


def warned_of(plan: Plan, job: Job) -> Plan:
    """The plan with what its device adds to the warnings; it is told so, and not kept so."""
    if plan.zone.name == "plotter":
        from devices.plotter.holders import shared_holder_warnings

        used = {piece.stroke.pen for section in plan.sections for piece in section.pieces}
        more = shared_holder_warnings(used, job.pens, job.plotter)
        return replace(plan, warnings=(*plan.warnings, *more))
    if plan.zone.name != "beam":
        return plan
    from devices.projector.trueup.forecast import height_warnings

    return replace(plan, warnings=(*plan.warnings, *height_warnings(job, plan)))


def layout_warned_of(layout: Layout, job: Job, zone: ZoneName) -> Layout:
    """The layout with what the plotter adds to the warnings where its zone is the one marked by.

    It is told so, and not kept so; beside a plan, `warned_of` tells it.
    """
    if zone != "plotter":
        return layout
    from devices.plotter.holders import shared_holder_warnings

    used = {stroke.pen for stroke in layout.strokes}
    more = shared_holder_warnings(used, job.pens, job.plotter)
    return replace(layout, warnings=(*layout.warnings, *more))


def work_of(folder: Path, job: Job) -> BeamWork:
    """What the projector's page works on. Raises RefusedError."""
    from devices.projector.desk.beam_work import BeamWork

    layout = layout_of(folder, job)
    return BeamWork(job, layout, plan_of(folder, "beam", job, layout, None))


def guard_division(
    record: Record, job: Job, layout: Layout, plan: Plan, correction: Correction | None
) -> None:
    """Refuses a division that is not the one sections are inked by, naming what has changed."""
    from devices.job import Job
    from devices.machine_zones import division_settings
    from marking.begun.inked import guard_division

    settings = division_settings(plan.zone.name, job, correction)
    guard_division(record, layout, plan, settings, job.units, Job)


def guard_sections(
    folder: Path, job: Job, layout: Layout, *, despite_ink: bool, otherwise: str
) -> None:
    """Refuses to go by another division than the inked one, unless a person says so.

    `otherwise` is what the verb does then.
    """
    if despite_ink or not has_record(folder):
        return
    from marking.errors import RefusedError
    from marking.record.record import open_record

    with open_record(folder) as record:
        if not record.ink():
            return
    correction = kept_correction(folder, job)
    plan = plan_of(folder, "plotter", job, layout, correction)
    with open_record(folder) as record:
        try:
            guard_division(record, job, layout, plan, correction)
        except RefusedError as fault:
            raise RefusedError(f"{fault}. --despite-ink {otherwise} all the same") from None


def begin(
    record: Record, job: Job, layout: Layout, plan: Plan, correction: Correction | None
) -> None:
    """Keeps what the job is begun with, before anything is set out, read or inked."""
    from devices.machine_zones import division_settings
    from marking.begun.layout_and_division import keep_begun

    keep_begun(record, job, layout, plan, division_settings(plan.zone.name, job, correction))
