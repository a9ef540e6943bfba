"""The whole job on paper, for the way that is chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.begun import plan_of, warned_of
from devices.history import has_record, kept_correction
from devices.paper.asked import Printed, as_pdf
from devices.paper.cards import cards_of, lying_said, set_out_marks
from devices.paper.keep import keep_pages_of
from devices.paper.proof import proof_of
from marking.layout.edges import off_the_wall

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.paper.asked import PaperAsked
    from marking.drawing.artwork import Artwork
    from marking.sections.plan import Plan
    from marking.sections.zones import ZoneName

_PLACED = {"plotter": "placed by readings", "beam": "trued up by its targets"}


def job(asked: PaperAsked) -> Printed:
    """the job sheet: the whole job on paper for the way chosen"""
    from marking.job.keys import paper_of
    from marking.sheets.job_sheet import bound, front_pages

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
    front = front_pages(
        asked.layout, asked.job, f"{said} ({way}).", order, still_open, paper_of(asked.job)
    )
    bought = _bought(asked)
    kept[0].chapter = "To keep under the table"
    return Printed(
        (as_pdf("job", "job", bound((*front, *bought, *pages, *kept), asked.job.title)),)
    )


def _way(asked: PaperAsked) -> tuple[ZoneName, PaperAsked]:
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


def _bought(asked: PaperAsked) -> tuple[Artwork, ...]:
    from marking.cloth.cover import cover_for
    from marking.job.keys import paper_of
    from marking.output.cover_sheet import cover_pages
    from marking.stretching.words import is_pulled_on

    job, layout = asked.job, asked.layout
    pulled_on = is_pulled_on(layout, drawn_through=not job.plotter.on_cover)
    pages = cover_pages(cover_for(layout, job), job, paper_of(job), pulled_on=pulled_on)
    pages[0].chapter = "What to buy, and how the cover sits"
    return pages


def _pages(asked: PaperAsked, zone: ZoneName) -> tuple[list[Artwork], list[str], list[str]]:
    """All between what to buy and the kept page; the order of work; what is still to be done."""
    from marking.job.keys import paper_of
    from marking.sheets.job_sheet import sections_page

    job, layout = asked.job, asked.layout
    correction = kept_correction(asked.folder, job) if zone == "plotter" else None
    plan = warned_of(plan_of(asked.folder, zone, job, layout, correction), job)
    order = ["Buy what the sheets list; put the cover on, or mark it first where they say so."]
    order += _tried_first(asked, zone)
    proof = proof_of(asked, plan)
    still_open = [*plan.warnings, *proof.still_open]
    if zone == "reach":
        marked = _by_hand(asked)
        order.append("Mark by hand, by the sheets in their order.")
    else:
        marked, marks_open = _by_machine(asked, zone, plan, order)
        marked = [sections_page(plan, layout, job.title, paper_of(job)), *marked]
        still_open += marks_open
    order.append(
        "Prove the cover: run canvasrule prove, which keeps the names of the distances, measure "
        "them, and let it judge."
    )
    order.append("Staple the last page under the table; write the job's name on the wrap.")
    return [*marked, *proof.pages], order, still_open


def _tried_first(asked: PaperAsked, zone: ZoneName) -> Iterator[str]:
    """What is tried on scrap before anything is laid for good, as far as it was not."""
    if zone == "plotter" and kept_correction(asked.folder, asked.job) is None:
        yield (
            "Check the plotter on scrap of the same canvas: canvasrule trial. Then run canvasrule "
            "write again: what it corrects changes every file."
        )
    if asked.job.inking.tried != "not asked" and _ink_is_untried(asked):
        yield (
            "Try the ink on scrap of the same canvas, dry for a day, then rubbed and ironed under "
            "white cotton: canvasrule trial --ink says how, and keeps what you saw."
        )


def _ink_is_untried(asked: PaperAsked) -> bool:
    if not has_record(asked.folder):
        return True
    from marking.fastness.tried import waits_for
    from marking.record.record import open_record

    with open_record(asked.folder) as record:
        return waits_for(record, asked.job.pens) is not None


def _by_hand(asked: PaperAsked) -> list[Artwork]:
    from marking.hand.plan import by_hand
    from marking.job.keys import paper_of
    from marking.ruling.order import WhoRules
    from marking.sheets.hand_sheet import hand_pages

    manner = WhoRules("left" if asked.left_handed else "right", asked.by_two)
    plan = by_hand(asked.layout, asked.job, manner)
    return list(hand_pages(plan, asked.layout, asked.job, paper_of(asked.job)))


def _by_machine(
    asked: PaperAsked, zone: ZoneName, plan: Plan, order: list[str]
) -> tuple[list[Artwork], list[str]]:
    from marking.job.keys import paper_of
    from marking.output.ruling_sheet import ruling_pages
    from marking.output.tape_sheet import tape_sheet_pages
    from marking.ruling.order import WhoRules
    from marking.sheets.cards import card_pages
    from marking.sheets.locating_sheet import locating_pages

    job, layout, paper = asked.job, asked.layout, paper_of(asked.job)
    pages: list[Artwork] = []
    still_open: list[str] = []
    tape_marks = set_out_marks(asked)
    if tape_marks is not None:
        wall = tuple(off_the_wall(job.table))
        sheets = tape_sheet_pages(tape_marks, layout, job.title, job.units, paper, notes=wall)
        sheets[0].chapter = "Tape marks"
        pages += sheets
        order.append("Set out the tape marks, each ticked on its sheet.")
        order.append(
            "After any night, before the device is set down: base line and both diagonals by "
            "tape, as the cards for mornings ask. canvasrule days --morning keeps them."
        )
    elif zone == "plotter" and plan.zone.feed is None:
        still_open.append(
            "No tape marks are chosen yet: run canvasrule control first, then print this "
            "sheet again; its cards then ask for their readings."
        )
    cards = list(cards_of(asked, plan))
    read = {mark for card in cards for mark in card.reads}
    located = locating_pages(plan, read, job.units, job.title, paper)
    set_down = card_pages(cards, job.title, paper, "Set-downs", lying_said(plan, job.plotter))
    pages += [page.artwork for page in (*located, *set_down)]
    order.append(f"Section after section, each {_PLACED[zone]} and inked, by its card.")
    if plan.ruled:
        manner = WhoRules("left" if asked.left_handed else "right", asked.by_two)
        ruled = ruling_pages(plan, layout, job, paper, manner)
        ruled[0].chapter = "Lines to rule"
        pages += ruled
        order.append("Rule the lines between the stubs, in the order of their sheet.")
    return pages, still_open
