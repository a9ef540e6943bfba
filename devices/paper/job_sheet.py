"""The whole job on paper, for the way that is chosen."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from devices.begun import plan_of, warned_of
from devices.history import has_record, in_force, kept_correction
from devices.paper.asked import Printed, as_pdf
from devices.paper.keep import keep_pages_of
from marking.layout.edges import off_the_wall

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.job import Job
    from devices.paper.asked import Asked
    from marking.drawing.artwork import Artwork
    from marking.output.report import InForce
    from marking.proof.places import Distance
    from marking.sections.plan import Plan, Section
    from marking.sections.zones import ZoneName
    from marking.sheets.cards import Card
    from marking.tape_marks.marks import Control

_VERDICTS = ("INK", "READ AGAIN", "MOVE", "ADD A MARK")
_PLACED = {"plotter": "placed by readings", "beam": "trued up by its targets"}


def job(asked: Asked) -> Printed:
    """the job sheet: the whole job on paper for the way chosen"""
    from marking.job.keys import paper_of
    from marking.sheets.job_sheet import bound, front_page

    # The kept page is of the job as it is written, whatever its way makes of it.
    kept = keep_pages_of(asked)
    zone, asked = _way(asked)
    way = asked.job.ways.way or "no way is chosen under [ways]"
    said = {
        "reach": "Marked by hand",
        "plotter": f"By plotter, {asked.job.plotter.name}",
        "beam": f"From a projector's light, {asked.job.projector.name}",
    }[zone]
    pages, order, still_open = _pages(asked, zone)
    front = front_page(
        asked.layout, asked.job, f"{said} ({way}).", order, still_open, paper_of(asked.job)
    )
    bought = _bought(asked)
    kept[0].chapter = "To keep under the table"
    return Printed((as_pdf("job", "job", bound((front, *bought, *pages, *kept), asked.job)),))


def _way(asked: Asked) -> tuple[ZoneName, Asked]:
    """What limits a section in the way chosen, or else with what is there; and the job as it is in
    that way. Raises BadInputError for a way that the job does not have."""
    from devices.ways.chosen import chosen_way, followed
    from devices.ways.reckoned import machines

    way = chosen_way(asked.folder, asked.job)
    if way is not None:
        return way.zone, replace(asked, job=followed(asked.folder, asked.job))
    there = [one for one in machines(asked.folder, asked.job, every=False) if one.own]
    if not there:
        return "reach", asked
    return ("plotter" if there[0].kind == "plotter" else "beam"), asked


def _bought(asked: Asked) -> tuple[Artwork, ...]:
    from marking.cloth.cover import cover_for
    from marking.job.keys import paper_of
    from marking.output.cover_sheet import cover_pages
    from marking.stretching.words import is_pulled_on

    job, layout = asked.job, asked.layout
    pulled_on = is_pulled_on(layout, drawn_through=not job.plotter.on_cover)
    pages = cover_pages(cover_for(layout, job), job, paper_of(job), pulled_on=pulled_on)
    pages[0].chapter = "What to buy, and how the cover sits"
    return pages


def _pages(asked: Asked, zone: ZoneName) -> tuple[list[Artwork], list[str], list[str]]:
    """All between what to buy and the kept page; the order of work; what is still to be done."""
    from marking.job.keys import paper_of
    from marking.sheets.job_sheet import sections_page

    job, layout = asked.job, asked.layout
    correction = kept_correction(asked.folder, job) if zone == "plotter" else None
    plan = warned_of(plan_of(asked.folder, zone, job, layout, correction), job)
    order = ["Buy what the sheets list; put the cover on, or mark it first where they say so."]
    still_open = list(plan.warnings)
    if zone == "reach":
        marked = _by_hand(asked)
        order.append("Mark by hand, by the sheets in their order.")
    else:
        marked, marks_open = _by_machine(asked, zone, plan, order)
        marked = [sections_page(plan, layout, job, paper_of(job)), *marked]
        still_open += marks_open
    order.append(
        "Prove the cover: run canvasrule prove, which keeps the names of the distances, measure "
        "them, and let it judge."
    )
    order.append("Staple the last page under the table; write the job's name on the wrap.")
    return [*marked, *_proof(asked, plan)], order, still_open


def _by_hand(asked: Asked) -> list[Artwork]:
    from marking.hand.plan import by_hand
    from marking.job.keys import paper_of
    from marking.ruling.order import Manner
    from marking.sheets.hand_sheet import hand_pages

    manner = Manner("left" if asked.left_handed else "right", asked.by_two)
    plan = by_hand(asked.layout, asked.job, manner)
    return list(hand_pages(plan, asked.layout, asked.job, paper_of(asked.job)))


def _by_machine(
    asked: Asked, zone: ZoneName, plan: Plan, order: list[str]
) -> tuple[list[Artwork], list[str]]:
    from marking.job.keys import paper_of
    from marking.output.ruling_sheet import ruling_pages
    from marking.output.tape_sheet import tape_sheet_pages
    from marking.ruling.order import Manner
    from marking.sheets.cards import card_pages

    job, layout, paper = asked.job, asked.layout, paper_of(asked.job)
    pages: list[Artwork] = []
    still_open: list[str] = []
    control = _set_out(asked)
    if control is not None:
        wall = tuple(off_the_wall(job.table))
        sheets = tape_sheet_pages(control, layout, job.title, job.units, paper, notes=wall)
        sheets[0].chapter = "Tape marks"
        pages += sheets
        order.append("Set out the tape marks, each ticked on its sheet.")
    elif zone == "plotter" and plan.zone.feed is None:
        still_open.append(
            "No tape marks are chosen yet: run canvasrule control first, then print this "
            "sheet again; its cards then ask for their readings."
        )
    cards = card_pages(list(_cards(asked, plan)), job.title, paper, "Set-downs")
    pages += [page.artwork for page in cards]
    order.append(f"Section after section, each {_PLACED[zone]} and inked, by its card.")
    if plan.ruled:
        manner = Manner("left" if asked.left_handed else "right", asked.by_two)
        ruled = ruling_pages(plan, layout, job, paper, manner)
        ruled[0].chapter = "Lines to rule"
        pages += ruled
        order.append("Rule the lines between the stubs, in the order of their sheet.")
    return pages, still_open


def _set_out(asked: Asked) -> Control | None:
    """The tape marks that were chosen for this cover."""
    if not has_record(asked.folder):
        return None
    from marking.begun.on_the_cover import tape_marks_set_out
    from marking.record.record import open_record

    with open_record(asked.folder) as record:
        return tape_marks_set_out(record, asked.layout, asked.job.units)


def _cards(asked: Asked, plan: Plan) -> Iterator[Card]:
    from marking.sections.feet_words import board_said, two_people, wait_said
    from marking.sections.set_downs import set_down_readings
    from marking.sections.standing import standings
    from marking.sheets.cards import Card

    job = asked.job
    kept = in_force(asked.folder, job, asked.layout, plan)
    stood = standings(plan.zone, plan.sections, asked.layout, job)
    on_cover = plan.zone.feed is None
    last: str | None = None
    against = _at_fences(asked, plan)
    for section in plan.sections:
        care = []
        footing = plan.zone.footing
        if footing is not None and footing.takes_two:
            care.append(two_people(footing) if section.order == 1 else "Two people lift it.")
        under = stood.get(section.id)
        if under is not None:
            waits = wait_said(under.wet, job)
            care += [f"{waits[0].upper()}{waits[1:]}."] if waits else []
            care += [
                f"{board_said(foot, job.units).capitalize()}: put a board of the table's height "
                "under it, and try it with the hand's weight first."
                for foot in under.in_air
            ]
        beam = plan.zone.name == "beam"
        if section.order % 4 == 1:
            care.append(_CARE["beam" if beam else "plotter"])
        along, across = set_down_readings(section, plan, job)
        where = [f"{plan.zone.manner.part.capitalize()} begins {along} along, {across} across."]
        if not on_cover:
            where = [f"Feed or draw the canvas to {(along, across)[plan.zone.feed or 0]}."]
        elif section.turned:
            where.append("Turned a quarter anticlockwise from its profile.")
        where += against.get(section.id, ())
        pens, last = _pens(section, job, last) if plan.zone.manner.holds_pens else ((), last)
        yield Card(
            section.id,
            f"{section.order} of {len(plan.sections)}",
            tuple(where),
            tuple(care),
            () if beam else _reads(section, kept),
            () if beam else ("x, mm", "y, mm"),
            pens,
            ("TRUED UP", "CHECKED", "TRACED") if beam else _VERDICTS,
        )


def _at_fences(asked: Asked, plan: Plan) -> dict[str, list[str]]:
    """By section, where its fence is clamped and what its device is pushed against."""
    if plan.zone.name != "plotter" or _set_out(asked) is None:
        return {}
    from devices.setting_down.fence_words import at_fence
    from marking.begun.on_the_cover import standing
    from marking.record.record import open_record

    job = asked.job
    with open_record(asked.folder) as record:
        stands = standing(record, asked.layout, plan, job.units)
    at = {one.mark.id: one.mark.at_table for one in stands.control.marks}
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
    inside = kept.control.get(section.id, ())
    return tuple(dict.fromkeys((*(mark.id for mark in section.locating_marks), *inside)))


def _pens(section: Section, job: Job, last: str | None) -> tuple[tuple[str, ...], str | None]:
    """What is put into a holder before and while a section is inked; the pen that is in last."""
    said = []
    for piece in section.pieces:
        pen = piece.stroke.pen
        tip = "removable" if pen == "removable" else "ink"
        shared = job.pens.removable.slot in {
            job.pens.named(name).slot for name in ("lines", "heavy", "numerals")
        }
        if shared and last is not None and tip != last:
            said.append(f"Pen change: {pen} into holder {job.pens.named(pen).slot}.")
        last = tip
    return tuple(dict.fromkeys(said)), last


def _proof(asked: Asked, plan: Plan) -> Sequence[Artwork]:
    """The proof's distances, by the names that the last sheet gave them; none for a cover that is
    marked slack, which is measured as it lies once it is on."""
    from marking.job.keys import paper_of, tape_of
    from marking.output.proof_sheet import proof_pages
    from marking.proof.distances import plan_proof
    from marking.proof.limits import limits_of
    from marking.sheets.job_sheet import proof_maps

    job, layout, paper = asked.job, asked.layout, paper_of(asked.job)
    if layout.slack != (1.0, 1.0):
        return ()
    tape = tape_of(job.tape)
    limits, begun = limits_of(job.tolerance, job.allowed), _asked_before(asked, plan)
    found = plan_proof(layout, plan, tape, limits, job.units, begun=begun)
    wall = tuple(off_the_wall(job.table))
    pages = proof_pages(found, (), tape, job.title, job.units, paper, job.numerals, wall)
    pages[0].chapter = "Distances to measure"
    return [*proof_maps(found.distances, layout, job, paper), *pages]


def _asked_before(asked: Asked, plan: Plan) -> tuple[Distance, ...]:
    """The distances of the last proof sheet of this very cover."""
    if not has_record(asked.folder):
        return ()
    from marking.begun.on_the_cover import COVER, plan_hash
    from marking.proof.places import distances_from
    from marking.record.record import layout_hash, open_record

    with open_record(asked.folder) as record:
        sheets = record.checks("proof sheet", COVER)
    last = sheets[-1] if sheets else None
    if last is None or last.layout != layout_hash(asked.layout):
        return ()
    same = last.result.get("division") == plan_hash(plan) and not last.result.get("slack")
    return distances_from(last.result["distances"]) if same else ()
