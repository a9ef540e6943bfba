"""What a begun job works from: the layout and the division that its record keeps.

From the first thing that is set out, read or inked, every verb works from those, whatever this
version would make of the same job.toml. It knows settings by their keys and no machine: who asks
says what its own zone comes from and how it would divide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.begun.on_the_cover import plan_hash
from marking.begun.plain_data import packed, unpacked_division, unpacked_layout
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.job.settings import changes, in_words, job_as_begun, layout_settings
from marking.layout.layout import lay_out
from marking.record.kept import as_kept
from marking.record.record import layout_hash

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from marking.job.keys import MarkingJob
    from marking.job.settings import Settings
    from marking.layout.layout import Layout
    from marking.record.record import Record
    from marking.record.rows import KeptDivision, KeptLayout
    from marking.sections.plan import Plan
    from marking.sections.zones import ZoneName

TO_FINISH = (
    "If job.toml and its profiles are as they were, the job was begun by version 0.1, and this "
    "version marks it out otherwise. Then finish it with that one, installed in an environment of "
    "its own, or draw the rest by hand. Its job.db was left as it is"
)


def layout_in_force(record: Record, job: MarkingJob, *, accept: bool | None) -> Layout:
    """The layout that was begun with; before that, what `job` lays out.

    Settings that move no line may change. Those that do are refused once there is ink, unless
    `accept`, which only a person may say; None where it cannot be said. Raises RefusedError.
    """
    kept = _begun_layouts(record)
    now = layout_settings(job)
    for one in kept:
        if not changes(one.begun_with, now):
            return _layout_of(record, one)
    standing = record.standing_layout()
    # Of what version 0.1 began no layout is kept, and its passes lie one over the other.
    layout = lay_out(job if kept or standing is None else _of_single_passes(job))
    for one in kept:
        if _lines_of(job, one) == layout_hash(layout):
            return _layout_of(record, one)
    if standing in (None, layout_hash(layout)):
        return layout
    try:
        record.guard_layout(layout, accept=bool(accept))
    except RefusedError as fault:
        how = "" if accept is None else ": --despite-ink says so"
        why = [in_words(changes(one.begun_with, now), job.units) for one in kept]
        raise RefusedError(f"{fault}{how}. {why[0] if why else TO_FINISH}") from None
    _keep_layout(record, job, layout)
    return layout


def _of_single_passes(job: MarkingJob) -> MarkingJob:
    pens = {name: pen.model_copy(update={"passes": 1}) for name, pen in job.pens.by_name.items()}
    return job.model_copy(update={"pens": job.pens.model_copy(update=pens)})


def _layout_of(record: Record, kept: KeptLayout) -> Layout:
    try:
        return unpacked_layout(kept.data)
    except BadInputError as fault:
        raise record.damaged("layout", kept.id, str(fault)) from None


def _division_of(record: Record, kept: KeptDivision) -> Plan:
    try:
        return unpacked_division(kept.data)
    except BadInputError as fault:
        raise record.damaged("division", kept.id, str(fault)) from None


def _begun_layouts(record: Record) -> Sequence[KeptLayout]:
    """Those that may be in force, newest first; where there is ink, the one it is under."""
    standing = record.standing_layout()
    return [one for one in reversed(record.layouts()) if standing in (None, one.hash)]


def _lines_of(job: MarkingJob, kept: KeptLayout) -> str | None:
    """The hash of what this version makes of the settings that were kept."""
    try:
        with as_kept(kept.begun_with, "the job that it was begun with"):
            return layout_hash(lay_out(job_as_begun(job, kept.begun_with)))
    except CanvasruleError:
        return None


def division_in_force(
    record: Record,
    layout: Layout,
    zone: ZoneName,
    settings: Settings,
    divide: Callable[[], Plan],
) -> Plan:
    """The division of `layout` for a zone that was begun with; before that, what `divide` makes.

    `settings` are those of the machine. Where they have changed, it is a division of its own,
    unless its sections come out where they were.
    """
    kept = divisions_of(record, layout_hash(layout), zone)
    for one in kept:
        if not changes(one.begun_with, settings):
            return _division_of(record, one)
    plan = divide()
    same = [one for one in kept if one.hash == plan_hash(plan)]
    return _division_of(record, same[0]) if same else plan


def divisions_of(record: Record, layout: str, zone: ZoneName) -> Sequence[KeptDivision]:
    """The kept divisions of a layout for one zone, newest first."""
    found = reversed(record.divisions())
    return [one for one in found if (one.layout, one.zone) == (layout, zone)]


def keep_begun(
    record: Record, job: MarkingJob, layout: Layout, plan: Plan, settings: Settings
) -> None:
    """Keeps what the job is begun with, once: before anything is set out, read or inked."""
    _keep_layout(record, job, layout)
    named, division = layout_hash(layout), plan_hash(plan)
    kept = divisions_of(record, named, plan.zone.name)
    if all(one.hash != division for one in kept):
        record.add_division(division, named, plan.zone.name, dict(settings), packed(plan))


def _keep_layout(record: Record, job: MarkingJob, layout: Layout) -> None:
    named = layout_hash(layout)
    if all(one.hash != named for one in record.layouts()):
        record.add_layout(named, dict(layout_settings(job)), packed(layout))
