"""The sheets to buy and build a cover by: amounts, loose canvas, boards and how to cut them.

It draws what `marking.cloth` works out on pages of `marking.drawing.page`, and computes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.cloth.cover_words import (
    WITH_BOARDS,
    WITH_STAPLES,
    amounts,
    board_notes,
    bought_length,
    steps,
)
from marking.drawing.artwork import Style
from marking.drawing.page import ACCENT, FAINT, INK, RULE, Page
from marking.drawing.typeface import text_width
from marking.measures.lengths import format_length, rough_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box
    from marking.cloth.cover import Cover
    from marking.cloth.underlay import BoardPiece, Underlay
    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.job.keys import HemsTable, MarkingJob
    from marking.measures.lengths import Units

_EDGE = 14.0
_TEXT = 2.2
_SMALL = 1.9
_CAPTION = 2.6
_PALE = "#e8ebf0"
_SHEETS_ABREAST = 3


def cover_pages(
    cover: Cover, job: MarkingJob, paper: PaperName, *, pulled_on: bool
) -> tuple[Artwork, ...]:
    """Amounts and canvas; how it goes on; boards on the top and how each sheet is cut."""
    title = f"{job.title}: what to buy, and how the cover sits"
    buying = Page(paper, title)
    y = _heading(buying, title)
    y = _amounts(buying, cover, job, y)
    _loose_canvas(buying, cover, job.units, y - 4)
    fastening = Page(paper, title)
    _fastening(fastening, cover, job, title, pulled_on=pulled_on)
    boards = _boards(cover, job, paper, title)
    return (buying.artwork, fastening.artwork, *(page.artwork for page in boards))


def _heading(page: Page, text: str) -> float:
    page.heading(text, _EDGE, page.height - _EDGE - 5, 4.0)
    return page.height - _EDGE - 14


def _amounts(page: Page, cover: Cover, job: MarkingJob, y: float) -> float:
    names = 30.0
    for what, much in amounts(cover, job):
        page.box(_EDGE, y - 0.4, _EDGE + 2.8, y + 2.4)
        page.write(what, _EDGE + 5, y, _TEXT)
        y = page.paragraph(much, _EDGE + 5 + names, y, page.width - 2 * _EDGE - 5 - names, _TEXT)
        y -= 1.6
    return y


class _FlatDrawing:
    """A true drawing of something flat on a page: as large as its room lets it be."""

    def __init__(self, page: Page, flat: Box, top: float, most: float) -> None:
        self.page, self.flat = page, flat
        wide = page.width - 2 * _EDGE - 30
        self.scale = min(wide / (flat[2] - flat[0]), most / (flat[3] - flat[1]))
        self.left = (page.width - self.scale * (flat[2] - flat[0])) / 2
        self.low = top - self.scale * (flat[3] - flat[1])

    def at(self, x: float, y: float) -> tuple[float, float]:
        """On the page."""
        return (
            self.left + (x - self.flat[0]) * self.scale,
            self.low + (y - self.flat[1]) * self.scale,
        )

    def box(self, box: Box, colour: str, width: float) -> None:
        """Outlined."""
        x0, y0, x1, y1 = box
        self.line([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], colour, width)

    def fill(self, box: Box, colour: str) -> None:
        """As a tone."""
        (x0, y0), (x1, y1) = self.at(*box[:2]), self.at(*box[2:])
        self.page.artwork.on_top(Style(fill=colour)).box((x0, y0, x1, y1))

    def line(self, ends: Sequence[tuple[float, float]], colour: str, width: float) -> None:
        """A line."""
        self.page.line([self.at(*end) for end in ends], colour, width)

    def dashed(self, ends: Sequence[tuple[float, float]], colour: str, width: float) -> None:
        """A broken line."""
        style = Style(stroke=colour, width=width, dashes=(2.0, 1.2))
        self.page.artwork.on_top(style).line([self.at(*end) for end in ends])


def _loose_canvas(page: Page, cover: Cover, units: Units, top: float) -> None:
    """The canvas before it is stretched: the top under it, and the two lines drawn on it."""
    canvas = cover.canvas
    length, wide = canvas.cut[0], canvas.width
    page.write("The canvas before it is fastened, seen from above", _EDGE, top, _CAPTION)
    plan = _FlatDrawing(page, (0.0, 0.0, length, wide), top - 14, 84.0)
    below = canvas.top_below
    plan.fill(below, _PALE)
    plan.box(below, FAINT, 0.25)
    plan.box(plan.flat, INK, 0.5)
    for at in (canvas.squaring, length - canvas.squaring):
        plan.dashed([(at, 0.0), (at, wide)], INK, 0.25)
    if canvas.seam_on_canvas is not None:
        plan.line([(0.0, canvas.seam_on_canvas), (length, canvas.seam_on_canvas)], INK, 0.6)
    x, y = canvas.squaring + canvas.lines.short_from_end, canvas.lines.long_from_near_side
    plan.line([(0.0, y), (length, y)], ACCENT, 0.5)
    plan.line([(x, 0.0), (x, wide)], ACCENT, 0.5)
    x_mid, y_mid = plan.at((below[0] + below[2]) / 2, (below[1] + below[3]) / 2)
    page.write("far edge", x_mid, plan.at(0, below[3])[1] - 4, _SMALL, align=0.5, colour=FAINT)
    page.write("near edge", x_mid, plan.at(0, below[1])[1] + 2, _SMALL, align=0.5, colour=FAINT)
    page.write("zero end", plan.at(below[0], 0)[0] + 2, y_mid - 0.9, _SMALL, colour=FAINT)
    left, low = plan.at(0.0, 0.0)
    right, high = plan.at(length, wide)
    off_roll = f"{bought_length(length, units)} off the roll"
    _span(page, (left, high + 3.5), (right, high + 3.5), off_roll)
    _span(page, (right + 3.5, low), (right + 3.5, high), rough_length(wide, units))
    _span(page, (left - 3.5, low), (left - 3.5, plan.at(0, y)[1]), rough_length(y, units))
    _span(
        page,
        (plan.at(canvas.squaring, 0)[0], low - 3.5),
        (plan.at(x, 0)[0], low - 3.5),
        rough_length(x - canvas.squaring, units),
    )
    told = (
        "Grey: the top below. The two unbroken lines that run past it are those to draw: they "
        "come to lie on its near edge and through its zero corner. Broken: the drawn threads that "
        "both ends are squared to; the short line is measured from there."
    )
    if canvas.seam is not None:
        told += " The black line along it is the seam of the strip."
    page.paragraph(told, _EDGE, low - 13, page.width - 2 * _EDGE, _SMALL)


def _span(page: Page, start: tuple[float, float], end: tuple[float, float], text: str) -> None:
    """A measured distance, across or up the page, with what it is."""
    (x0, y0), (x1, y1) = start, end
    page.line([start, end], FAINT, 0.2)
    if y0 == y1:
        for x in (x0, x1):
            page.line([(x, y0 - 1), (x, y0 + 1)], FAINT, 0.2)
        if text_width(text) * _SMALL < x1 - x0:
            page.write(text, (x0 + x1) / 2, y0 + 1.6, _SMALL, align=0.5)
        else:
            page.write(text, x0, y0 - 4.0, _SMALL)
        return
    for y in (y0, y1):
        page.line([(x0 - 1, y), (x0 + 1, y)], FAINT, 0.2)
    to_the_left = x0 < page.width / 2
    side = x0 - 1.6 if to_the_left else x0 + 1.6
    page.write(text, side, (y0 + y1) / 2 - 0.9, _SMALL, align=1.0 if to_the_left else 0.0)


def _fastening(page: Page, cover: Cover, job: MarkingJob, title: str, *, pulled_on: bool) -> None:
    """The steps in order, a drawing of the order of the sides, and the cautions."""
    y = _heading(page, f"{title}, in order")
    wide = page.width - 2 * _EDGE
    page.write("How it goes on (common practice, no source)", _EDGE, y, _CAPTION)
    y -= 6
    for number, step in enumerate(steps(cover, job, pulled_on=pulled_on), 1):
        page.box(_EDGE, y - 0.4, _EDGE + 2.8, y + 2.4)
        page.write(f"{number}", _EDGE + 5, y, _TEXT)
        y = page.paragraph(step, _EDGE + 10, y, wide - 10, _TEXT) - 1.2
    if not pulled_on:
        y = _order_of_sides(page, cover, y - 4)
    page.line([(_EDGE, y), (page.width - _EDGE, y)], RULE, 0.2)
    _cautions(page, WITH_STAPLES, y - 5)


def _cautions(page: Page, cautions: Sequence[str], y: float) -> float:
    for caution in cautions:
        y = page.paragraph(caution, _EDGE, y, page.width - 2 * _EDGE, 2.1, colour=ACCENT) - 0.8
    return y


def _order_of_sides(page: Page, cover: Cover, top: float) -> float:
    """Which side is stapled when, from where to where; the y under it."""
    page.write("The order of the sides, and the way along each", _EDGE, top, _CAPTION)
    plan = _FlatDrawing(page, cover.canvas.top, top - 12, 44.0)
    plan.fill(plan.flat, _PALE)
    plan.box(plan.flat, INK, 0.4)
    (x0, y0), (x1, y1) = plan.at(*plan.flat[:2]), plan.at(*plan.flat[2:])
    sides = (
        ("1 near edge", (x0, y0 - 3), (x1, y0 - 3), -4.4),
        ("2 zero end", (x0 - 3, y0), (x0 - 3, y1), -2.0),
        ("3 far edge", (x0, y1 + 3), (x1, y1 + 3), 2.4),
        ("4 far end", (x1 + 3, y0), (x1 + 3, y1), 2.0),
    )
    for name, start, end, off in sides:
        middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        for corner in (start, end):
            _arrow(
                page, corner, (middle[0] * 0.9 + corner[0] * 0.1, middle[1] * 0.9 + corner[1] * 0.1)
            )
        if start[1] == end[1]:
            page.write(name, middle[0], middle[1] + off, _SMALL, align=0.5)
        else:
            page.write(name, middle[0] + off, middle[1] - 0.9, _SMALL, align=float(off < 0))
    return y0 - 13


def _arrow(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Along the page or up it."""
    (x, y), across = end, abs(start[1] - end[1]) < abs(start[0] - end[0])
    back = 1.8 * (1 if (start[0] > x or start[1] > y) else -1)
    page.line([start, end], ACCENT, 0.35)
    head = (
        [(x + back, y - 0.9), end, (x + back, y + 0.9)]
        if across
        else [(x - 0.9, y + back), end, (x + 0.9, y + back)]
    )
    page.line(head, ACCENT, 0.35)


def _boards(cover: Cover, job: MarkingJob, paper: PaperName, title: str) -> list[Page]:
    """Boards on the top, the sheets that they are cut from, and their sizes."""
    board, units = cover.underlay, job.units
    page = Page(paper, title)
    pages = [page]
    y = _heading(page, f"{title}: underlay")
    y = _cautions(page, WITH_BOARDS, y)
    for note in board_notes(cover, job.units):
        y = page.paragraph(note, _EDGE, y, page.width - 2 * _EDGE, _TEXT) - 0.8
    y = _boards_on_top(page, cover, job.hems, y - 3)
    y = _heading_of_sheets(page, board, units, y)
    for row in _abreast(_alike(board)):
        deep = _sheet_scale(page, board.sheet) * min(board.sheet) + 13
        if y - deep < _EDGE:
            page = Page(paper, title)
            pages.append(page)
            y = _heading_of_sheets(page, board, units, _heading(page, f"{title}: underlay"))
        for place, (numbers, pieces) in enumerate(row):
            _sheet(page, board.sheet, numbers, pieces, place, y)
        y -= deep
    names = [_size_words(number, piece, units) for number, piece in enumerate(board.pieces, 1)]
    for first in range(0, len(names), 2):
        if y < _EDGE + 4:
            page = Page(paper, title)
            pages.append(page)
            y = _heading(page, f"{title}: underlay")
        for place, name in enumerate(names[first : first + 2]):
            page.write(name, _EDGE + place * (page.width - 2 * _EDGE) / 2, y, _SMALL)
        y -= 4.4
    return pages


def _boards_on_top(page: Page, cover: Cover, hems: HemsTable, top: float) -> float:
    page.write("Where each board lies; pale: under the hem bands", _EDGE, top, _CAPTION)
    x0, y0, x1, y1 = cover.canvas.top
    plan = _FlatDrawing(page, cover.canvas.top, top - 5, 78.0)
    for low, high in ((y0, y0 + hems.depth), (y1 - hems.depth, y1)):
        plan.fill((x0, low, x1, high), _PALE)
    for number, piece in enumerate(cover.underlay.pieces, 1):
        plan.box(piece.lies, INK, 0.4)
        _name(page, f"{number}", number, piece.lies, plan)
    page.write("near edge", page.width / 2, plan.low - 4.5, _SMALL, align=0.5, colour=FAINT)
    middle = plan.at(x0, (y0 + y1) / 2)[1] - 0.9
    page.write("zero end", plan.left - 2, middle, _SMALL, align=1.0, colour=FAINT)
    return plan.low - 13


def _name(page: Page, name: str, number: int, box: Box, plan: _FlatDrawing) -> None:
    """In the middle; on a narrow board off it along the board, each third board alike."""
    (x0, y0), (x1, y1) = plan.at(*box[:2]), plan.at(*box[2:])
    off = (number % 3 - 1) * 4.0
    x = (x0 + x1) / 2 + (off if y1 - y0 < 6 <= x1 - x0 else 0.0)
    y = (y0 + y1) / 2 + (off if x1 - x0 < 6 <= y1 - y0 else 0.0)
    page.write(name, x, y - 1.1, 2.2, align=0.5)


def _heading_of_sheets(page: Page, board: Underlay, units: Units, y: float) -> float:
    size = " by ".join(format_length(side, units) for side in board.sheet)
    page.write(f"How each sheet of {size} is cut; grey is left over", _EDGE, y, _CAPTION)
    return y - 5


Alike = list[tuple[list[int], list[tuple[int, "BoardPiece"]]]]
"""Sheets that are cut alike, by their numbers, and the pieces of the first."""


def _alike(board: Underlay) -> Alike:
    found: dict[tuple[Box, ...], tuple[list[int], list[tuple[int, BoardPiece]]]] = {}
    for sheet in range(1, board.sheets + 1):
        pieces = [(n, one) for n, one in enumerate(board.pieces, 1) if one.sheet == sheet]
        numbers, held = found.setdefault(tuple(sorted(one.cut for _, one in pieces)), ([], []))
        numbers.append(sheet)
        held += pieces
    return list(found.values())


def _abreast(sheets: Alike) -> list[Alike]:
    return [sheets[n : n + _SHEETS_ABREAST] for n in range(0, len(sheets), _SHEETS_ABREAST)]


def _sheet_scale(page: Page, sheet: tuple[float, float]) -> float:
    return ((page.width - 2 * _EDGE) / _SHEETS_ABREAST - 5) / max(sheet)


def _sheet(
    page: Page,
    sheet: tuple[float, float],
    numbers: Sequence[int],
    pieces: Sequence[tuple[int, BoardPiece]],
    place: int,
    top: float,
) -> None:
    """One sheet, or several that are cut alike: each place then carries all their pieces."""
    scale = _sheet_scale(page, sheet)
    left = _EDGE + place * (page.width - 2 * _EDGE) / _SHEETS_ABREAST
    long, wide = max(sheet) * scale, min(sheet) * scale
    plan = _FlatDrawing(page, (0.0, 0.0, max(sheet), min(sheet)), top, wide)
    plan.scale, plan.left, plan.low = scale, left, top - wide
    plan.fill(plan.flat, "#c9ced6")
    by_cut: dict[Box, list[int]] = {}
    for number, piece in pieces:
        by_cut.setdefault(piece.cut, []).append(number)
    for box, held in by_cut.items():
        plan.fill(box, "#ffffff")
        plan.box(box, INK, 0.4)
        _name(page, _listed(held), held[0], box, plan)
    plan.box(plan.flat, INK, 0.5)
    one = f"sheet {numbers[0]}" if len(numbers) == 1 else f"sheets {_listed(numbers)}"
    page.write(one, left + long / 2, top - wide - 4.6, _SMALL, align=0.5)


def _listed(numbers: Sequence[int]) -> str:
    """All where there is room for them, else the first and how many more."""
    if len(numbers) <= 4:
        return ", ".join(map(str, numbers))
    return f"{numbers[0]}, {numbers[1]} and {len(numbers) - 2} more"


def _size_words(number: int, piece: BoardPiece, units: Units) -> str:
    x0, y0, x1, y1 = piece.lies
    long, wide = (rough_length(side, units) for side in (x1 - x0, y1 - y0))
    return f"{number}: {long} along the table, {wide} across; sheet {piece.sheet}"
