"""The card of one kind of panel, to pin over the table: what to cut, and where each fold goes.

It draws what `marking.cloth` works out on a page of `marking.drawing.page`, and computes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.cloth.hem_words import CAUTIONS, notes, place_name, sizes, steps, zero_line
from marking.cloth.hems import counted_from
from marking.drawing.artwork import Style
from marking.drawing.page import ACCENT, FAINT, INK, LEADING, RULE, Page, shortened_to
from marking.drawing.typeface import text_width
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.cloth.hems import HemLaid, HemPlan
    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout

_EDGE = 14.0
_FOOT = 10.0
"""mm that stay free below the notes: no page number stands there."""
_LEAST_TITLE = 30.0
"""mm beside the card's name that are worth the job's title."""
_TEXT = 2.2
_SMALL = 1.9
_CAPTION = 2.6
_PALE = "#e8ebf0"
_DRAWN_HIGH = (56.0, 46.0, 36.0)
"""mm that the table is drawn high at most, and at most where the card has much to say."""
_ROW = 4.2
"""From one name beside the drawing to the next."""


def hem_card(
    plan: HemPlan, layout: Layout, job: MarkingJob, name: str, paper: PaperName, *, inked: bool
) -> tuple[Artwork, ...]:
    """The card: its drawing smaller where that keeps all on one page, else a second page."""
    for high in _DRAWN_HIGH:
        pages = _pages(plan, layout, job, name, paper, high, inked=inked)
        if len(pages) == 1:
            return pages
    return _pages(plan, layout, job, name, paper, _DRAWN_HIGH[0], inked=inked)


def _pages(
    plan: HemPlan,
    layout: Layout,
    job: MarkingJob,
    name: str,
    paper: PaperName,
    high: float,
    *,
    inked: bool,
) -> tuple[Artwork, ...]:
    """The card with a drawing no higher than `high` mm."""
    page = Page(paper, f"{job.title}: {name}")
    pages = [page]
    wide = page.width - 2 * _EDGE
    page.heading(name, _EDGE, page.height - _EDGE - 6, 5.0)
    left = wide - 5.0 * text_width(name) - 5.0
    of = shortened_to(left / _TEXT, job.title) if left > _LEAST_TITLE else ""
    page.write(of, page.width - _EDGE, page.height - _EDGE - 6, _TEXT, align=1.0)
    y = page.height - _EDGE - 15
    for line in sizes(plan, job.units):
        y = page.paragraph(line, _EDGE, y, wide, _TEXT) - 0.5
    y = _on_the_table(page, plan, layout, job, y - 2, high)
    for title, moves in steps(plan, job):
        if y < _EDGE + 40:
            page = _next_page(pages, paper, name)
            y = page.height - _EDGE - 15
        page.write(title, _EDGE, y, _CAPTION)
        y -= 5.2
        for number, move in enumerate(moves, 1):
            page.write(f"{number}", _EDGE + 2, y, _TEXT)
            y = page.paragraph(move, _EDGE + 8, y, wide - 8, _TEXT) - 0.7
        y -= 2
    told = [*notes(plan, layout, job, inked=inked), *CAUTIONS]
    if y < _FOOT + sum(_deep(line, wide) for line in told):
        page = _next_page(pages, paper, name)
        y = page.height - _EDGE - 15
    page.line([(_EDGE, y + 2), (page.width - _EDGE, y + 2)], RULE, 0.2)
    y -= 3
    for line in told:
        y = page.paragraph(line, _EDGE, y, wide, 2.1, colour=ACCENT) - 0.7
    return tuple(one.artwork for one in pages)


def _deep(text: str, wide: float) -> float:
    """At most how high a note stands on the page."""
    return LEADING * 2.1 * (1 + text_width(text) * 2.1 // (0.9 * wide)) + 0.7


def _next_page(pages: list[Page], paper: PaperName, name: str) -> Page:
    page = Page(paper, pages[0].artwork.title)
    page.heading(f"{name}, continued", _EDGE, page.height - _EDGE - 6, 4.0)
    pages.append(page)
    return page


def _on_the_table(
    page: Page, plan: HemPlan, layout: Layout, job: MarkingJob, top: float, most: float
) -> float:
    """The table from above with the lines that this panel uses; the y under it."""
    corners = layout.top.corners_table / layout.slack
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    names_beside = 40.0
    wide = page.width - 2 * _EDGE - names_beside
    scale = min(wide / (x1 - x0), most / (y1 - y0))
    along = [one for one in plan.laid if one.edge in ("bottom", "top")]
    near = [one for one in plan.laid if one.edge == "near side"]
    far = [one for one in plan.laid if one.edge == "far side"]
    zero = float(layout.grid.cross_x[0]) / layout.slack[0]
    marked = _distinct(along)
    above = 1.0 + 3.0 * _levels(marked, scale, job)
    high = scale * (y1 - y0)
    # On a narrow table the names of both sides need more room than the table has.
    spread = max(0.0, 2 * _ROW * max(len(near), len(far)) + 1.0 - high)
    low: float = top - above - high - 3
    left = _EDGE

    def at(x: float, y: float) -> tuple[float, float]:
        return left + (x - x0) * scale, low + (y - y0) * scale

    tone = page.artwork.on_top(Style(fill=_PALE))
    end = min(zero + plan.cut.length, zero + plan.longest)
    first = {"near": counted_from(layout, "near"), "far": counted_from(layout, "far")}
    tone.box((*at(zero, first["near"]), *at(end, min(first["near"] + plan.cut.width, y1))))
    page.line([at(*corner) for corner in [*corners.tolist(), corners[0].tolist()]], INK, 0.45)
    for every, number in enumerate(layout.grid.cross_x / layout.slack[0]):
        if job.grid.heavy_every and every % job.grid.heavy_every == 0:
            page.line([at(number, y0), at(number, y1)], RULE, 0.15)
    for level, one in _levelled(marked, scale, job):
        x = zero + one.at
        colour = INK if one.line is not None else ACCENT
        _used(page, [at(x, y0), at(x, y1)], one)
        foot, head = at(x, y1), at(x, y1)[1] + 3.0 + 3.0 * level
        page.line([foot, (foot[0], head)], colour, 0.15)
        page.write(_short(one, job), foot[0] + 0.6, head - 1.2, _SMALL, colour=colour)
    right = at(x1, 0.0)[0]
    for folds, side, up in ((near, y0 + first["near"], 1), (far, y1 - first["far"], -1)):
        beside = low - spread if up > 0 else low + high
        for place, one in enumerate(folds):
            y = side + up * one.at
            colour = INK if one.line is not None else ACCENT
            _used(page, [at(x0, y), at(x1, y)], one)
            to = beside + up * (0.2 + _ROW * place) - (0.0 if up > 0 else 1.4)
            page.line([at(x1, y), (right + 4, to + 0.7)], colour, 0.15)
            page.write(f"{one.what}, {_short(one, job)}", right + 5, to, _SMALL, colour=colour)
    low -= spread
    page.write("near edge", (left + right) / 2, low - 4, _SMALL, align=0.5, colour=FAINT)
    told = (
        "Grey: the cloth as it is cut. Lines: where its edges and folds go; broken: no line there."
    )
    if plan.shift_to_cut is not None or plan.shift_to_head is not None:
        told += f" Past a shift, from its marks on {zero_line(job.numerals)}."
    page.write(told, left, low - 8.4, _SMALL, colour=FAINT)
    return low - 16


def _used(page: Page, ends: Sequence[tuple[float, float]], one: HemLaid) -> None:
    """A line that the panel is laid to; broken where the table has none."""
    style = Style(stroke=INK, width=0.4)
    if one.line is None:
        style = Style(stroke=ACCENT, width=0.4, dashes=(2.0, 1.2))
    page.artwork.on_top(style).line(ends)


def _distinct(along: Sequence[HemLaid]) -> list[HemLaid]:
    """One for each place along the table, from the zero line on."""
    found: dict[float, HemLaid] = {}
    for one in along:
        found.setdefault(round(one.at, 3), one)
    return [found[at] for at in sorted(found)]


def _levelled(
    marked: Sequence[HemLaid], scale: float, job: MarkingJob
) -> Iterator[tuple[int, HemLaid]]:
    """Each with its row over the table: a name stands right of its leader, over those that it
    reaches across, so that no leader runs through a name."""
    levels: list[tuple[float, int]] = []
    for one in reversed(marked):
        x, wide = one.at * scale, text_width(_short(one, job)) * _SMALL + 1.5
        level = 1 + max((n for other, n in levels if other < x + wide), default=-1)
        levels.append((x, level))
        yield level, one


def _levels(marked: Sequence[HemLaid], scale: float, job: MarkingJob) -> int:
    return max(level for level, _ in _levelled(marked, scale, job)) + 1


def _short(one: HemLaid, job: MarkingJob) -> str:
    """A place in a word or two."""
    if one.edge in ("bottom", "top") and one.line is not None and one.line.id.startswith("cross-"):
        return place_name(one, job).removeprefix("line ")
    return format_length(one.at, job.units)
