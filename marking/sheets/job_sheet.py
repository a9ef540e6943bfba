"""The whole job on paper: front page, table, what to buy, marks, cards, ruling, proof, kept page.

It puts pages together that others draw, and draws the front page and where each distance of the
proof runs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.page import ACCENT, FAINT, INK, RULE, Page, number_pages
from marking.drawing.typeface import text_width
from marking.hand.top_words import NAMES, top_lines
from marking.output.report import CAUTIONS, fit_lines
from marking.sheets.parts import (
    EDGE,
    TEXT,
    cautions,
    headed,
    note_depth,
    notes,
    section,
    steps,
    steps_depth,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.proof.places import Distance
    from marking.sections.plan import Plan


def front_pages(
    layout: Layout,
    job: MarkingJob,
    way: str,
    order: Sequence[str],
    still_open: Sequence[str],
    paper: PaperName,
) -> list[Artwork]:
    """The job in words and figures, the order of work, what is still open, the cautions."""
    title = f"{job.title}: job sheet"
    page, y = headed(paper, title, title, chapter="The job")
    y = notes(page, [way], y)
    y = section(page, "The marking", y - 1.0)
    y = notes(page, [NAMES, *top_lines(layout, job)], y)
    said = [line.removeprefix("- ").replace("`", "") for line in fit_lines(layout, job)]
    y = notes(page, [line for line in said if line and not line.startswith(_LEFT_OUT)], y)
    y = cautions(page, CAUTIONS, y - 2.5)
    pages = [page]
    if y - steps_depth(page, order) < EDGE:
        page, y = headed(paper, title, f"{title}, continued")
        pages.append(page)
    y = section(page, "The order of work", y - 1.0)
    y = steps(page, order, y)
    warned = [*still_open, *layout.warnings]
    if warned:
        y = section(page, "Look at these first", y - 1.0)
    for one in warned:
        if y - note_depth(page, one) < EDGE:
            page, y = headed(paper, title, f"{title}, continued")
            pages.append(page)
        y = notes(page, [one], y, ACCENT)
    return [one.artwork for one in pages]


def sections_page(plan: Plan, layout: Layout, title: str, paper: PaperName) -> Artwork:
    """The table with its sections, each with its name and its turn."""
    heading = f"{title}: the table and its sections"
    page = Page(paper, heading, lying=True, chapter="The table and its sections")
    page.heading(heading, EDGE, page.height - EDGE - 5, 4.4)
    corners = layout.top.corners_table
    low_x, low_y = map(float, corners.min(axis=0))
    length, width = map(float, np.ptp(corners, axis=0))
    scale = min((page.width - 2 * EDGE - 4) / length, (page.height - 2 * EDGE - 36) / width)
    left = page.width / 2 - scale * length / 2
    base = page.height - EDGE - 14.0 - scale * width

    def at(x: float, y: float) -> tuple[float, float]:
        return left + scale * (x - low_x), base + scale * (y - low_y)

    rim = [at(x, y) for x, y in corners.tolist()]
    page.line([*rim, rim[0]], INK, 0.5)
    for one in plan.sections:
        (x0, y0), (x1, y1) = at(*one.core[:2]), at(*one.core[2:])
        page.box(x0, y0, x1, y1, FAINT)
        middle, size = (x0 + x1) / 2, min(2.8, (x1 - x0) / 6, (y1 - y0) / 4)
        page.write(one.id, middle, (y0 + y1) / 2 + 0.5 * size, size, align=0.5)
        page.write(f"{one.order}", middle, (y0 + y1) / 2 - 1.5 * size, size, align=0.5)
    page.write("near edge", page.width / 2, base - 6.0, TEXT, align=0.5)
    page.write("zero end", left, base - 6.0, TEXT)
    page.write("far end", left + scale * length, base - 6.0, TEXT, align=1.0)
    said = "Under each name: its turn. Every section has a card of its own on the next pages."
    page.write(said, EDGE, base - 14.0, TEXT)
    return page.artwork


def proof_maps(
    distances: Sequence[Distance], layout: Layout, title: str, paper: PaperName
) -> list[Artwork]:
    """Where each distance of the proof runs, by its id, a dozen to a drawing; threads are paler."""
    titled = f"{title}: proof"
    pages: list[Page] = []
    left = [distances[first : first + _TO_A_MAP] for first in range(0, len(distances), _TO_A_MAP)]
    while left:
        heading = f"{titled}, where each distance runs{', continued' if pages else ''}"
        chapter = "" if pages else "Proof: where each distance runs"
        page, y = headed(paper, titled, heading, chapter=chapter)
        if not pages:
            y = notes(page, _MAP_NOTES, y)
        abreast = min(2, len(distances) // _TO_A_MAP + 1)
        wide = (page.width - 2 * EDGE - (abreast - 1) * _BETWEEN) / abreast
        deep = _map_depth(layout, wide)
        rows = max(1, int((y - EDGE) / deep))
        shown, left = left[: abreast * rows], left[abreast * rows :]
        for place, some in enumerate(shown):
            row, column = divmod(place, abreast)
            _map(page, some, layout, EDGE + column * (wide + _BETWEEN), y - row * deep, wide)
        pages.append(page)
    return [page.artwork for page in pages]


_LEFT_OUT = ("#", "numerals.", "One measurement", "With ", "Held against")
"""How lines of the report begin that are of no use at the table."""
_TO_A_MAP = 12
_BETWEEN = 8.0
_MAP_NOTES = (
    "The table from above, near edge at the bottom, zero end at the left. Ids are those of the "
    "sheet that follows. Beside an id, t is a thread stretched along the grey line: measure from "
    "it to the line at the id.",
)


def _map_depth(layout: Layout, wide: float) -> float:
    length, width = map(float, np.ptp(layout.top.corners_table, axis=0))
    return wide * width / length + 11.0


def _map(
    page: Page, some: Sequence[Distance], layout: Layout, x0: float, top: float, wide: float
) -> None:
    corners = layout.top.corners_table
    low_x, low_y = map(float, corners.min(axis=0))
    length, width = map(float, np.ptp(corners, axis=0))
    scale = wide / length
    base = top - 5.0 - scale * width

    def at(x: float, y: float) -> tuple[float, float]:
        return x0 + scale * (x - low_x), base + scale * (y - low_y)

    page.write(f"{some[0].id} to {some[-1].id}", x0, top - 3.0, 2.2, colour=FAINT)
    rim = [at(x, y) for x, y in corners.tolist()]
    page.line([*rim, rim[0]], RULE, 0.3)
    taken: list[tuple[float, float, float, float]] = []
    named = []
    for one in some:
        ends = [at(*end) for end in (one.ends if one.thread is None else one.thread)]
        spot = at(*one.ends[0]) if one.thread is not None else None
        page.line(ends, INK if one.thread is None else RULE, 0.2 if one.thread is None else 0.5)
        for x, y in [*ends, *([spot] if spot is not None else [])]:
            page.line([(x - 0.7, y), (x + 0.7, y)], INK, 0.25)
            page.line([(x, y - 0.7), (x, y + 0.7)], INK, 0.25)
        named.append((one.id, ends, spot))
    # Over all lines, so that none runs through a name.
    for name, ends, spot in named:
        _label(page, name, ends, spot, taken)


def _label(
    page: Page,
    name: str,
    ends: Sequence[tuple[float, float]],
    spot: tuple[float, float] | None,
    taken: list[tuple[float, float, float, float]],
) -> None:
    """The id on its line, at the first of a few places along it where no other stands."""
    shown = f"{name} t" if spot is not None else name
    wide = 1.9 * text_width(shown) + 0.6
    (x0, y0), (x1, y1) = ends
    shares = (0.5, 0.35, 0.65, 0.25, 0.75, 0.15, 0.85, 0.42, 0.58, 0.08, 0.92)
    spots = [spot] if spot is not None else []
    spots += [(x0 + share * (x1 - x0), y0 + share * (y1 - y0)) for share in shares]
    for lift in (0.7, -2.9, 3.4, -5.6, 6.1):
        for x, y in spots:
            box = (x - wide / 2, y + lift - 0.4, x + wide / 2, y + lift + 2.3)
            if not any(
                box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken
            ):
                taken.append(box)
                x0, y0, x1, y1 = box
                page.area([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], "#ffffff")
                page.write(shown, x, y + lift, 1.9, align=0.5)
                return
    page.write(shown, spots[0][0], spots[0][1], 1.9, align=0.5)


def bound(pages: Sequence[Artwork], title: str) -> tuple[Artwork, ...]:
    """All pages with their numbers, titled as one document."""
    pages[0].title = f"{title}: job sheet"
    number_pages(pages, f"{title}, job sheet")
    return tuple(pages)
