"""The cover that is proved: as it was laid out, and as it lies when it is measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from devices.begun import layout_of, plan_of
from devices.history import kept_correction
from devices.machine_zones import divided
from marking.job.keys import ClothTable
from marking.layout.layout import lay_out
from marking.mending.mend import mends
from marking.record.record import open_record

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.mending.mend import Mend
    from marking.sections.plan import Plan
    from marking.sections.zones import ZoneName


class ProvedCover(Struct, frozen=True):
    """A cover, and how it is measured."""

    layout: Layout
    lying: Layout
    """The same while the cover is measured as it was marked."""
    plan: Plan
    """The division of the cover as it lies."""
    zone: ZoneName
    slack: bool
    """Whether a person says that it is not stretched on."""


def proved_cover(folder: Path, job: Job, zone: ZoneName, *, slack: bool) -> ProvedCover:
    """The cover of a job. Raises RefusedError as the layout does."""
    layout, correction = layout_of(folder, job), kept_correction(folder, job)
    if slack or layout.slack == (1.0, 1.0):
        plan = plan_of(folder, zone, job, layout, correction)
        return ProvedCover(layout, layout, plan, zone, slack)
    # A cover marked slack is proved as it lies on the table, unless a person says otherwise.
    stretched = job.model_copy(update={"cloth": ClothTable()})
    lying = lay_out(stretched)
    plan = divided(zone, lying, stretched, correction)
    return ProvedCover(layout, lying, plan, zone, slack)


def mended(folder: Path, job: Job, layout: Layout) -> tuple[Mend, ...]:
    """What of a cover was asked to be inked anew, and not taken back."""
    with open_record(folder) as record:
        if not record.rows("mend"):
            return ()
    plan = plan_of(folder, "plotter", job, layout, kept_correction(folder, job))
    with open_record(folder) as record:
        return tuple(one for one in mends(record, layout, plan) if one.state != "taken back")
