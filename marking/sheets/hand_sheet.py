"""Marking by hand as one document: what to have and do, the frame, both sides, ruling in order.

It draws what `marking.hand` works out; frame and ruling are the sheets that other ways have too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.page import number_pages
from marking.hand.top_words import NAMES, top_lines
from marking.hand.words import (
    CAUTIONS,
    expected_lines,
    line_reads,
    needed,
    order_of_work,
    ruling_steps,
)
from marking.layout.edges import off_the_wall
from marking.output.ruling_sheet import LineWords, lines_to_rule_pages
from marking.output.tape_sheet import tape_sheet_pages
from marking.sheets.parts import cautions, headed, notes, section, steps
from marking.sheets.picture_sheet import picture_page
from marking.sheets.side_sheet import side_pages

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.hand.plan import ByHand
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout


def hand_document(
    plan: ByHand, layout: Layout, job: MarkingJob, paper: PaperName
) -> tuple[Artwork, ...]:
    """All its pages, numbered, in the order of work."""
    pages = hand_pages(plan, layout, job, paper)
    number_pages(pages, f"{job.title}, by hand")
    return pages


def hand_pages(
    plan: ByHand, layout: Layout, job: MarkingJob, paper: PaperName
) -> tuple[Artwork, ...]:
    """All its pages in the order of work, not yet numbered."""
    says = tuple(expected_lines(plan.expected, plan.limits, job.units))
    wall = tuple(off_the_wall(job.table))
    frame = tape_sheet_pages(plan.frame, layout, job.title, job.units, paper, notes=wall)
    frame[0].chapter = "Frame: base line, zero line, square"
    sides = [
        page.artwork
        for work in (plan.near, plan.far)
        for page in side_pages(work, plan, layout, job, paper)
    ]
    words = LineWords("ticks", "tape reads", lambda line: line_reads(plan, job.units, line))
    how = ruling_steps(plan, layout, job)
    ruled = lines_to_rule_pages(plan.steps, how, words, job, paper, plan.manner)
    ruled[0].chapter = "Lines to rule"
    looks = picture_page(layout, job, paper)
    return (_first(plan, layout, job, paper, says), looks, *frame, *sides, *ruled)


def _first(
    plan: ByHand, layout: Layout, job: MarkingJob, paper: PaperName, says: tuple[str, ...]
) -> Artwork:
    title = f"{job.title}: marking by hand"
    page, y = headed(paper, title, title, chapter="What to do, in order")
    y = notes(page, [NAMES, *top_lines(layout, job)], y)
    y = section(page, "Have ready", y - 0.5)
    y = notes(page, needed(plan, layout, job), y)
    y = cautions(page, CAUTIONS, y - 3.0)
    y = section(page, "The order of work", y - 1.0)
    y = steps(page, order_of_work(plan, job), y)
    *details, verdict = says
    y = section(page, f"What a careful hand leaves: {verdict}", y - 2.0)
    if layout.slack != (1.0, 1.0):
        details.append("For cloth not yet stretched: every figure here is for the slack cloth.")
    notes(page, details, y)
    return page.artwork
