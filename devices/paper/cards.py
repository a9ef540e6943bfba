"""The cards of a job sheet: where each device goes, what to see to, which marks it reads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.history import has_record, in_force

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.inking.pen_change import Tip
    from devices.job import Job
    from devices.paper.asked import PaperAsked
    from devices.plotter.profile import Plotter
    from marking.output.report import InForce
    from marking.sections.plan import Plan, Section
    from marking.sheets.cards import Card
    from marking.tape_marks.marks import TapeMarks

_VERDICTS = ("INK", "READ AGAIN", "MOVE", "ADD A MARK")


def set_out_marks(asked: PaperAsked) -> TapeMarks | None:
    """The tape marks that were chosen for this cover."""
    if not has_record(asked.folder):
        return None
    from marking.begun.on_the_cover import tape_marks_set_out
    from marking.record.record import open_record

    with open_record(asked.folder) as record:
        return tape_marks_set_out(record, asked.layout, asked.job.units)


def cards_of(asked: PaperAsked, plan: Plan) -> Iterator[Card]:
    """A card for every set-down in inking order, and one for the check on each morning between."""
    from marking.sections.feet_words import board_said, two_people, wait_said
    from marking.sections.set_downs import set_down_readings
    from marking.sections.under_the_feet import standings
    from marking.sheets.cards import Card

    job = asked.job
    kept = in_force(asked.folder, job, asked.layout, plan)
    stood = standings(plan.zone, plan.sections, asked.layout, job)
    on_cover = plan.zone.feed is None
    against = _at_fences(asked, plan)
    pens = _pens_asked_for(plan, job) if plan.zone.manner.holds_pens else {}
    mornings = _mornings(asked, plan, kept) if plan.zone.name == "plotter" else {}
    for section in plan.sections:
        if section.id in mornings:
            yield mornings[section.id]
        care = []
        footing = plan.zone.footing
        if footing is not None and footing.takes_two:
            care.append(two_people(footing) if section.order == 1 else "Two people lift it.")
        under = stood.get(section.id)
        if under is not None:
            waits = wait_said(under.wet, job.inking)
            care += [f"{waits[0].upper()}{waits[1:]}."] if waits else []
            care += [
                f"{board_said(foot, job.units).capitalize()}: put a board of the table's height "
                "under it, and try it with the hand's weight first."
                for foot in under.in_air
            ]
        beam = plan.zone.name == "beam"
        if section.order % 4 == 1:
            care.append(_CARE["beam" if beam else "plotter"])
        along, across = set_down_readings(section, plan, job.units)
        where = [f"{plan.zone.manner.part.capitalize()} begins {along} along, {across} across."]
        if not on_cover:
            where = [f"Feed or draw the canvas to {(along, across)[plan.zone.feed or 0]}."]
        elif section.turned:
            where.append(
                "Turned a quarter anticlockwise from its profile, "
                f"{job.plotter.pointing(turned=True)}."
            )
        where += against.get(section.id, ())
        yield Card(
            section.id,
            f"{section.order} of {len(plan.sections)}",
            tuple(where),
            tuple(care),
            () if beam else _reads(section, kept),
            () if beam else ("x, mm", "y, mm"),
            pens.get(section.id, ()),
            ("TRUED UP", "CHECKED", "TRACED") if beam else _VERDICTS,
        )


def lying_said(plan: Plan, plotter: Plotter) -> tuple[str, ...]:
    """How the device lies at every set-down, to stand above the cards; nothing of what is fed in
    or traced."""
    if plan.zone.name != "plotter" or plan.zone.feed is not None:
        return ()
    turned = plan.zone.turned
    quarter = ", turned a quarter anticlockwise from its profile," if turned else ""
    return (
        f"Set the device down{quarter} with {plotter.pointing(turned=turned)}, seen from "
        "above; each card says where the corner of its reach nearest the zero corner comes.",
    )


def _at_fences(asked: PaperAsked, plan: Plan) -> dict[str, list[str]]:
    """By section, where its fence is clamped and what its device is pushed against."""
    if plan.zone.name != "plotter" or set_out_marks(asked) is None:
        return {}
    from devices.setting_down.fence_words import at_fence
    from marking.begun.on_the_cover import standing
    from marking.record.record import open_record

    job = asked.job
    with open_record(asked.folder) as record:
        stands = standing(record, asked.layout, plan, job.units)
    at = {one.mark.id: one.mark.at_table for one in stands.tape_marks.marks}
    return {
        section.id: [
            f"{said.removeprefix(f'{section.id}: ')[:1].upper()}"
            f"{said.removeprefix(f'{section.id}: ')[1:]}."
            for said in at_fence(section, plan.sections, stands.fences, at, job.plotter, job.units)
        ]
        for section in plan.sections
    }


_CARE = {
    "plotter": "Hands, hair and sleeves clear before it moves; know its stop. Nobody climbs on the "
    "table.",
    "beam": "Do not look into the beam. Nobody climbs on the table.",
}


def _reads(section: Section, kept: InForce) -> tuple[str, ...]:
    """The marks of a section in reading order: those asked for, or else all in sight."""
    if section.id in kept.read:
        return tuple(kept.read[section.id])
    inside = kept.tape_marks.get(section.id, ())
    return tuple(dict.fromkeys((*(mark.id for mark in section.locating_marks), *inside)))


def _pens_asked_for(plan: Plan, job: Job) -> dict[str, tuple[str, ...]]:
    """By section, the pens that a person is asked to put in, in the words in which a run asks.

    A pen whose profile does not say how long it lasts lasts as a tip does, as where it is bought.
    """
    from devices.dialects.writer import PenUse
    from devices.inking.pen_change import left_after, stretches

    pens = job.pens.model_copy(
        update={
            name: pen.model_copy(update={"ink_length": pen.ink_length or job.pace.tip})
            for name, pen in job.pens.by_name.items()
        }
    )
    found: dict[str, tuple[str, ...]] = {}
    left: dict[Tip, float] = {}
    last: dict[int, str] = {}
    for section in plan.sections:
        strokes = [piece.stroke for piece in section.pieces]
        todo = [PenUse(stroke.id, stroke.pen, (), joined=False) for stroke in strokes]
        asked = [
            question.removesuffix(" Is it in?")
            for stretch in stretches(section, todo, pens, left, last)
            for question in stretch.questions
        ]
        found[section.id] = tuple(asked)
        left = left_after(strokes, pens, left)
        last |= {pens.named(stroke.pen).slot: stroke.pen for stroke in strokes}
    return found


def _mornings(asked: PaperAsked, plan: Plan, kept: InForce) -> dict[str, Card]:
    """By the section that a day begins with, the check of the cover before it; not on the first
    day, whose marks were just set out."""
    tape_marks = set_out_marks(asked)
    if tape_marks is None:
        return {}
    from marking.days.morning import CHECKS, meant
    from marking.days.spread import HOURS, section_seconds, spread
    from marking.measures.tape import as_taped
    from marking.sheets.cards import Card

    job = asked.job
    seconds = {
        section.id: section_seconds(section, plan, job.pace, _readings(section, kept))
        for section in plan.sections
    }
    should = meant(asked.layout, tape_marks)
    listed = "; ".join(
        f"{name}, {said}: {as_taped(should[name], tape_marks.tape, job.units)}"
        for name, said in CHECKS.items()
    )
    days = spread(plan, frozenset(), seconds, HOURS * 3600)
    return {
        day.sections[0]: Card(
            f"Morning of day {count}",
            f"at {HOURS:g} h a day",
            (
                "After any night, before the device is set down, by the same tape as ever. "
                f"{listed}.",
                "canvasrule days --morning keeps them in this order, and a run waits for it.",
            ),
            (),
            tuple(CHECKS),
            ("tape shows",),
            (),
            ("AS IT WAS", "HAS MOVED"),
        )
        for count, day in enumerate(days, 1)
        if count > 1
    }


def _readings(section: Section, kept: InForce) -> int | None:
    return len(kept.read[section.id]) if section.id in kept.read else None
