"""What a person at the table is told before a section is inked: where to, and what is under it;
in words, and as figures for a page that draws them.

It knows the plan and what the record tells of it; it asks nothing and keeps nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from devices.setting_down.fence_words import at_fence, fence_record
from devices.setting_down.where_it_stands import standing_by
from marking.begun.drying import left_to_dry
from marking.begun.inked import done_sections
from marking.begun.on_the_cover import standing, tape_marks_are_set_out
from marking.measures.durations import format_duration
from marking.measures.lengths import format_length
from marking.network.allowed_errors import allowed_around, allowed_of
from marking.sections.feet_words import board_said, two_people
from marking.sections.mended import section_mended
from marking.sections.set_downs import next_step
from marking.sections.under_the_feet import standings

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.session.session import Workplace
    from devices.setting_down.where_it_stands import Stance
    from marking.network.fence import Clamping
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Section

INK_FOLLOWS = "With yes, ink begins"


def what_to_do(section: Section, place: Workplace) -> Iterator[str]:
    """What is said, in order, before it is asked whether a section's device stands there."""
    units = place.job.units
    x, y = section.window[:2]
    if place.plan.zone.feed is not None:
        fed = format_length((x, y)[place.plan.zone.feed], units)
        yield f"{section.id}: {next_step(place.plan.zone, fed)}"
        return
    yield from under_its_feet(section, place)
    clamping = clamping_of(section, place)
    if clamping is not None:
        yield from _at_fence(section, place)
        return
    turned = ", turned a quarter from its profile," if section.turned else ""
    yield (
        f"{section.id}: set the device down{turned} with "
        f"{place.job.plotter.pointing(turned=section.turned)}, the corner of its reach nearest the "
        f"zero corner {format_length(x, units)} along from the zero end and "
        f"{format_length(y, units)} across from the near edge, by tape from the zero corner"
    )


def set_down_record(
    section: Section, place: Workplace, marks: Sequence[Mark], said: Sequence[str], *, stays: bool
) -> dict[str, Any]:
    """The same as figures, table frame, mm: `marks` are those it will be placed by, `said` the
    words. It `stays` where it is when it was begun there.
    """
    plan, units, (x, y) = place.plan, place.job.units, section.window[:2]
    done = done_sections(place.record, place.layout, plan)
    clamping = None if plan.zone.feed is not None else clamping_of(section, place)
    fence = None if clamping is None else fence_record(section, clamping, place.job.plotter)
    wait, under = (0, []) if stays else _drying(section, place)
    return {
        "section": section.id,
        "number": section.order,
        "of": len(plan.sections),
        "stays": stays,
        "words": list(said),
        "under": []
        if stays or plan.zone.feed is not None
        else list(under_its_feet(section, place)),
        "window": list(section.window),
        "along": format_length(x, units),
        "across": format_length(y, units),
        "turned": section.turned,
        "axes": list(place.job.plotter.standing(turned=section.turned).axes),
        "top": place.layout.top.corners_table.tolist(),
        "sections": [
            {"id": one.id, "core": list(one.core), "done": one.id in done} for one in plan.sections
        ],
        "marks": [{"id": one.id, "at": list(one.at_table)} for one in marks],
        "fence": fence,
        "fed": None if plan.zone.feed is None else "xy"[plan.zone.feed],
        "wait_s": wait,
        "wait_for": under,
    }


def verdict_record(stance: Stance, place: Workplace, said: Sequence[str]) -> dict[str, Any]:
    """Whether a section may be inked where its device stands, mm; `said` is what was told of it.

    Figures are None where no marks were read, or where their readings are in doubt.
    """
    placed = stance.placed
    limits = allowed_of(place.job)
    if section_mended(stance.section.id) is not None:
        limits = allowed_around(limits)
    sure = placed is not None and not placed.doubts and placed.move is None
    inking = placed.inking if placed is not None and sure else None
    joins = inking is not None and bool(inking.joins)
    return {
        "section": stance.section.id,
        "holds": stance.allowed and stance.fits,
        "fits": stance.fits,
        "anyway": place.ink_anyway,
        "words": [stance.advice, *said],
        "again": [] if placed is None else [mark for one in placed.doubts for mark in one.marks],
        "error_mm": None if inking is None else inking.error,
        "error_limit_mm": limits.tolerance,
        "step_mm": inking.step if inking is not None and joins else None,
        "step_limit_mm": limits.step,
        "marks": []
        if placed is None
        else [{"id": one.mark, "off_mm": list(one.misfit)} for one in placed.residuals],
    }


def clamping_of(section: Section, place: Workplace) -> Clamping | None:
    """The clamping of a fence that the section's device is pushed against, where there is one."""
    if not tape_marks_are_set_out(place.record, place.layout):
        return None
    stands, _ = standing_by(place.record, place.layout, place.plan, place.job)
    return stands.fences.get(section.id)


def _at_fence(section: Section, place: Workplace) -> Iterator[str]:
    """Where the fence goes, at the first section of a clamping, and the device against it."""
    stands = standing(place.record, place.layout, place.plan, place.job.units)
    at = {one.mark.id: one.mark.at_table for one in stands.tape_marks.marks}
    plotter, units = place.job.plotter, place.job.units
    yield from at_fence(section, place.plan.sections, stands.fences, at, plotter, units)


def question(section: Section, place: Workplace) -> str:
    """What is asked then."""
    clamping = clamping_of(section, place)
    if clamping is not None:
        stop = " and its stop" if clamping.stopped else ""
        return f"Is the device against fence {clamping.name}{stop} for {section.id}?"
    if place.plan.zone.feed is None:
        return f"Is the device set down for {section.id}?"
    moved = "drawn up" if place.plan.zone.own_bed else "fed in"
    return f"Is the canvas {moved} for {section.id}?"


def with_what_follows(asked: str, place: Workplace, *, ink: bool) -> str:
    """The same question, and that `ink` follows a yes, where nothing more is asked before it."""
    return f"{asked} {INK_FOLLOWS}" if ink and not place.outline else asked


def unread_mend(section: Section) -> str:
    """What to do where nothing tells where a device stands that is to ink anew."""
    if not section.locating_marks:
        return (
            "No crossing that stays lies in its reach: ink fewer lines anew at once, so that some "
            "around them stay to be read, or do it by hand along a rule"
        )
    named = ", ".join(mark.id for mark in section.locating_marks)
    return (
        f"Read the crossings {named} under the pen (leave --unattended out), or give their "
        "readings by --readings FILE"
    )


def under_its_feet(section: Section, place: Workplace) -> Iterator[str]:
    """Two people once, ink to let dry first, and boards to stand feet on."""
    zone = place.plan.zone
    if zone.footing is not None and zone.footing.takes_two and section.order == 1:
        yield two_people(zone.footing)
    said = _still_wet(section, place)
    if said:
        yield said
    stood = standings(zone, place.plan.sections, place.layout, place.job).get(
        section_mended(section.id) or section.id
    )
    for foot in () if stood is None else stood.in_air:
        yield (
            f"{section.id}: {board_said(foot, place.job.units)}: put a board of the table's "
            "height under it, and try it with the hand's weight first"
        )


def _still_wet(section: Section, place: Workplace) -> str:
    """How long to wait for ink that a foot comes to stand on, in words."""
    left, under = _drying(section, place)
    if not under:
        return ""
    return (
        f"{section.id}: wait {format_duration(left)} before you set the device down: a foot comes "
        f"to stand on the ink of {' and '.join(under)}, which dries for "
        f"{format_duration(place.job.inking.drying)}"
    )


def _drying(section: Section, place: Workplace) -> tuple[int, Sequence[str]]:
    job = place.job
    return left_to_dry(section, place.plan, place.record, job.inking.drying, job.pens)


def height_too(place: Workplace) -> str:
    """A pen that a screw holds counts its height from where it stood when power came."""
    plotter = place.job.plotter
    if plotter.dialect != "gcode" or plotter.pen_down[0] != "Z":
        return ""
    return (
        f". Set the pen's height anew too, so that it just inks at {plotter.pen_down} and is clear "
        f"of the cloth at {plotter.pen_up}: else it may draw in the air, and be told as drawn"
    )
