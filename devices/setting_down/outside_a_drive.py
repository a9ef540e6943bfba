"""Sections placed by hand, outside a drive: whose readings, the placement kept, taken as inked.

It knows the record and placements, no person; it draws nothing and writes no file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from devices.begun import begin
from devices.setting_down.scatter_words import scatter_line
from devices.setting_down.slip_words import slip_report
from devices.setting_down.standstill import still_there
from devices.setting_down.steps_read import steps_before_ink
from devices.setting_down.where_it_stands import (
    drawn_now,
    from_readings,
    ground_of,
    marks_in_reach,
    placed_on,
)
from marking.begun.inked import done_sections
from marking.begun.on_the_cover import belongs, keep_placement, plan_hash
from marking.begun.steps_kept import steps_on_the_cover
from marking.errors import BadInputError, RefusedError
from marking.mending.mend import mends, set_downs
from marking.network.adjustment import adjust
from marking.placement.laid_ink import section_of
from marking.record.readings import read_readings
from marking.record.record import layout_hash
from marking.sections.mended import mended_name

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.setting_down.slip_words import SlipReport
    from devices.setting_down.where_it_stands import Ground
    from marking.begun.on_the_cover import OnTheCover
    from marking.layout.layout import Layout
    from marking.network.adjustment import Adjusted
    from marking.network.error_model import ErrorModel
    from marking.network.pose import PoseKind
    from marking.placement.placement import Placement
    from marking.record.readings import MarkReading
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section


class JobAtHand(Struct, frozen=True):
    """A job with its record open, and what it is inked by."""

    record: Record
    job: Job
    layout: Layout
    plan: Plan
    correction: Correction | None


class PlacingManner(Struct, frozen=True):
    """How a person asks for a section to be placed."""

    kind: PoseKind
    weight: float | None
    """0 true to the table, 1 to meet the ink; None for what shows least."""
    at_fence: bool
    """Whether it is placed by its fence alone."""
    without_fence: bool
    steps: Path | None
    """What verniers show that it has drawn its halves of, where anything."""
    halves: bool
    """Whether its halves are drawn for where it stands."""
    accepted: bool
    """Whether it is taken although more than is allowed is to be expected."""


def every_section(at: JobAtHand) -> Sequence[Section]:
    """The plan's sections, and those that some ink is laid anew in."""
    again = set_downs(at.record, at.layout, at.plan, at.job.pens).values()
    return [*at.plan.sections, *(section for several in again for section, _ in several)]


def section_named(sections: Sequence[Section], name: str) -> Section:
    """The section of that id. Raises BadInputError when there is none."""
    for section in sections:
        if section.id == name:
            return section
    first, last = sections[0].id, sections[-1].id
    raise BadInputError(f"section {name}: there is none; this plan has {first} to {last}")


def readings_from(
    path: Path, wanted: str | None, sections: Sequence[Section]
) -> tuple[Section, tuple[MarkReading, ...]]:
    """The one section that the file, or `wanted`, names, and its readings. Raises BadInputError."""
    readings = read_readings(path, section=wanted)
    named = list(dict.fromkeys(reading.section for reading in readings))
    if wanted is None and len(named) > 1:
        raise BadInputError(
            f"{path}: readings of {len(named)} sections, {', '.join(named[:6])}; say which one "
            "the device stands at with --section"
        )
    name = wanted if wanted is not None else named[0]
    section = section_named(sections, name)
    own = tuple(reading for reading in readings if reading.section == name)
    if not own:
        raise BadInputError(f"{path}: no reading of section {name}; it has {', '.join(named[:6])}")
    return section, own


def refuse_inked(section: Section, left_out: Sequence[str], at: JobAtHand) -> None:
    """Raises BadInputError for a section that is inked; `left_out` are those inked otherwise."""
    if section.id in left_out:
        raise BadInputError(
            f"section {section.id} is inked already, and not as this layout and division place it"
        )
    if section.id in _done(at):
        raise BadInputError(
            f"section {section.id} is inked already; readings for it would place nothing"
        )


def _done(at: JobAtHand) -> frozenset[str]:
    """Ids of what is inked, mends too."""
    again = mends(at.record, at.layout, at.plan)
    mended = {mended_name(name, mend.id) for mend in again for name in mend.done}
    return done_sections(at.record, at.layout, at.plan) | mended


def place_and_keep(
    section: Section, readings: tuple[MarkReading, ...], at: JobAtHand, manner: PlacingManner
) -> tuple[Placement, Ground]:
    """The placement, kept with its readings, and what was known round it.

    Raises RefusedError and BadInputError; nothing is kept then.
    """
    known = at.plan, at.layout, at.job, at.record, at.correction
    ground = ground_of(section, *known, at_fence=not manner.without_fence)
    if manner.at_fence and ground.against is None:
        raise RefusedError(
            f"section {section.id} is not pushed against a fence: control chose its marks without "
            "one. Read its marks, and give them with --readings"
        )
    taken = None
    if manner.steps is not None:
        work = at.record, at.job.pens, at.layout, at.plan
        taken = steps_before_ink(manner.steps, section, *work)
    placed = placed_on(
        ground,
        section,
        readings,
        at.job,
        at.correction,
        kind=manner.kind,
        weight=manner.weight,
        steps=taken,
    )
    begin(at.record, at.job, at.layout, at.plan, at.correction)
    at.record.add_readings(layout_hash(at.layout), readings)
    drawn = drawn_now(at.job, at.record, at.plan)
    how = {"accepted": manner.accepted, "halves": manner.halves}
    keep_placement(at.record, at.layout, at.plan, placed, drawn, **how)
    return placed, ground


def scatters(ground: Ground, at: JobAtHand) -> str | None:
    """What readings that scatter more than declared mean for the rest; None where they do not."""
    if ground.scatter is None:
        return None
    return scatter_line(ground.scatter, at.record, at.layout, at.plan, at.job)


def slips(placed: Placement, ground: Ground, section: Section, at: JobAtHand) -> SlipReport | None:
    """How far the readings check each other; None where they contradict each other already, or
    where there are none."""
    if placed.doubts or placed.move is not None or not placed.residuals:
        return None
    in_sight = [
        mark.id for mark in marks_in_reach(section, at.plan, at.layout, at.job.units, at.record)
    ]
    setup = placed.inking.setup
    return slip_report(ground, section, setup.readings, in_sight, setup.kind)


def begun_still_there(
    section: Section, readings: tuple[MarkReading, ...], at: JobAtHand, manner: PlacingManner
) -> Placement | str:
    """Whether the device of a section that is begun still stands where it inked, in words.

    Where the readings contradict each other, the placement by them instead. It keeps nothing:
    what is left of the section is for a drive to ink. Raises RefusedError where it moved, or has
    only its fence to tell by.
    """
    if manner.at_fence:
        raise RefusedError(
            f"section {section.id} is begun, and no reading tells whether its device was moved. Go "
            "on with it by canvasrule drive, or give readings of its marks with --readings"
        )
    known = at.plan, at.layout, at.job, at.record, at.correction
    stance = from_readings(section, readings, *known, at_fence=not manner.without_fence)
    if stance.placed is not None and stance.placed.doubts:
        return stance.placed
    return still_there(section, readings, stance, at.record)


def may_be_inked(verdict: str, *, accepted: bool) -> bool:
    """Whether a section may be inked as it is."""
    return verdict == "ink" or (accepted and verdict == "add a mark")


def take_as_inked(wanted: str, at: JobAtHand, *, accepted: bool) -> str:
    """Keeps the section as inked where it was last placed; returns its id.

    Raises BadInputError and RefusedError where it was not to be inked so.
    """
    name, division = section_named(every_section(at), wanted).id, plan_hash(at.plan)
    if name in _done(at):
        raise BadInputError(f"section {name} is inked already, and was kept as inked")
    placements = at.record.placements(name)
    if not placements:
        raise RefusedError(f"section {name} was never placed; read its marks and place it first")
    last = placements[-1]
    if not belongs(last, layout_hash(at.layout), division):
        raise RefusedError(
            f"section {name} was placed under another layout or division; read its marks "
            "and place it"
        )
    verdict = last.detail["verdict"]
    accepted = accepted or last.detail["accepted"] is True
    if not may_be_inked(verdict, accepted=accepted):
        raise RefusedError(
            f"section {name} was not to be inked as it was last placed ({verdict}): "
            f"{last.detail['advice']}"
        )
    at.record.add_ink(at.layout, name, "begun", division)
    at.record.add_ink(at.layout, name, "done", division)
    return name


def adjusted_together(
    stands: OnTheCover, errors: ErrorModel, at: JobAtHand
) -> tuple[Adjusted, list[Section]]:
    """Every reading of every inked section adjusted together; with the ink laid, set-down by
    set-down. Raises RefusedError where nothing is inked."""
    if not stands.setups:
        raise RefusedError("no section is inked yet, so there is nothing to adjust")
    steps = steps_on_the_cover(at.record, at.layout, at.plan, stands.begun)
    adjusted = adjust(stands.sights.targets.values(), stands.laid, stands.datum, errors, steps)
    sections = {section.id: section for section in at.plan.sections}
    return adjusted, [
        replace(sections[section_of(one.section)], id=one.section) for one in stands.laid
    ]
