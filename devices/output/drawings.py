"""A job's marking, sections, picture, sheets and report as files, by name.

It says what each file holds; how it is drawn is `marking.output`'s.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.mending.mend import Mend
    from marking.output.report import InForce
    from marking.ruling.order import WhoRules
    from marking.sections.plan import Plan, Section


def marking_svg(job: Job, layout: Layout, plan: Plan) -> bytes:
    """The whole marking; lines that are ruled by hand in layers of their own."""
    from marking.output.strokes_svg import strokes_svg
    from marking.sections.ruled import inked_strokes

    about = "True to size, the table's near edge at the bottom and its zero end at the left."
    if plan.ruled:
        about += " Layers named ruled are ruled by hand; leave them out of what a device draws."

    corners = layout.top.corners_table
    low, high = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    return strokes_svg(
        inked_strokes(layout, plan.ruled),
        job.pens,
        (low[0], low[1], high[0], high[1]),
        f"{job.title}: the whole marking",
        about,
        [line.stroke for line in plan.ruled],
    )


def section_svg(job: Job, section: Section) -> bytes:
    """What one section inks, over its window."""
    from marking.output.strokes_svg import strokes_svg

    x, y = section.window[:2]
    return strokes_svg(
        [piece.stroke for piece in section.pieces],
        job.pens,
        section.window,
        f"{job.title}: section {section.id}",
        f"True to size. The lower left corner lies {x:.2f} mm along and {y:.2f} mm across from "
        "the table's zero corner.",
    )


def ruling_files(job: Job, layout: Layout, plan: Plan, manner: WhoRules) -> dict[str, bytes]:
    """The sheet for a plan with ruled lines, by file name: SVG of its first page, and PDF."""
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.job.keys import paper_of
    from marking.output.ruling_sheet import ruling_pages

    pages = ruling_pages(plan, layout, job, paper_of(job), manner)
    return {"ruling.svg": svg(pages[0]), "ruling.pdf": pdf(pages)}


def mend_ruling(job: Job, layout: Layout, plan: Plan, mend: Mend) -> bytes:
    """PDF of the sheet by which lines of a mend are ruled anew."""
    from marking.drawing.pdf import pdf
    from marking.job.keys import paper_of
    from marking.mending.words import across_said, how_to_rule
    from marking.output.ruling_sheet import LineWords, lines_to_rule_pages
    from marking.ruling.order import WhoRules, ruling_order
    from marking.ruling.words import how_to
    from marking.sections.ruled import RuledLine

    stubs = {line.of: line.sections for line in plan.ruled}
    pieces = {piece.stroke.id: piece for piece in mend.by_hand}
    lines = [RuledLine(piece.stroke, piece.of, stubs[piece.of]) for piece in mend.by_hand]
    manner = WhoRules()
    how = (*how_to_rule(mend, job.units), *how_to(lines, layout, job, manner))
    words = LineWords(
        "stubs",
        "off the near edge",
        lambda line: across_said(pieces[line.id], job.units),
        f"lines to rule anew, {mend.id}",
    )
    steps = ruling_order(lines, job, manner)
    return pdf(lines_to_rule_pages(steps, how, words, job, paper_of(job), manner))


def report_files(job: Job, layout: Layout, plan: Plan, kept: InForce | None) -> Mapping[str, bytes]:
    """The report, for a person and for a program, with what `kept` adds to the plan."""
    from marking.output.report import InForce, markdown, record

    kept = kept or InForce()
    data = json.dumps(record(layout, job, plan, kept), indent=1)
    return {
        "report.md": markdown(layout, job, plan, kept).encode(),
        "report.json": f"{data}\n".encode(),
    }
