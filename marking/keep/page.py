"""The page that a job is made again from: its text, and the same as codes that a phone reads.

It draws lines and codes that are given; page frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.artwork import Shape, Style
from marking.drawing.page import FAINT, INK, RULE, Page
from marking.drawing.typeface import text_width
from marking.keep.codes import QUIET, codes
from marking.keep.lines import kept_lines
from marking.measures.counts import counted
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.job.keys import MarkingJob
    from marking.keep.codes import Code
    from marking.keep.kept_job import KeptJob

CHAPTER = "Keep page"
_EDGE = 13.0
_CODE = 60.0
"""mm of a code's side, white rim included, at most: modules of 0.6 mm."""
_IN_ROW = (3, 4)
"""Codes in a row: as few as may be. Four have modules of 0.4 mm, which phones still read."""
_GAP = 2.0
_TEXT, _ROW = 1.9, 3.9
_SMALL = 1.6
_COLUMNS = 2


def keep_pages(kept: KeptJob, job: MarkingJob, paper: PaperName) -> tuple[Artwork, ...]:
    """One page, or two where the text is long; the first is named in an outline."""
    page = Page(paper, f"{job.title}: keep page", chapter=CHAPTER)
    lines = kept_lines(kept)
    y = _head(page, kept, job, len(lines))
    squares = list(codes(lines))
    wide = page.width - 2 * _EDGE
    # Smaller squares where they bring all onto one page: half of a job is none.
    text = -(-len(lines) // _COLUMNS) * _ROW
    sides = [_side(wide, in_row) for in_row in _IN_ROW]
    fits = [
        side for side in sides if y - _codes_depth(len(squares), wide, side) - text >= _EDGE + _ROW
    ]
    y = _codes(page, squares, y, (fits or sides)[0])
    pages = [page]
    left = _text(page, lines, y)
    while left:
        page = Page(paper, page.artwork.title)
        page.heading(f"{job.title}: keep page, continued", _EDGE, page.height - 20, 4.0)
        left = _text(page, left, page.height - 26)
        pages.append(page)
    return tuple(one.artwork for one in pages)


def _head(page: Page, kept: KeptJob, job: MarkingJob, count: int) -> float:
    y, wide = page.height - _EDGE - 5, page.width - 2 * _EDGE
    page.heading(f"{job.title}: keep page", _EDGE, y, 4.6)
    size = " by ".join(
        format_length(side, job.units) for side in (job.table.length, job.table.width)
    )
    page.write(f"{size}, made by canvasrule {kept.version}", _EDGE, y - 6.5, 2.3)
    page.write(f"marking {kept.layout}", page.width - _EDGE, y - 6.5, 2.3, align=1.0)
    y -= 12.5
    says = (
        "Staple this page under the table, in a sleeve, and write the job's name on the canvas's "
        "wrap. From it the marking is made again when the cover is worn: scan every square below "
        f"with a phone, or type all {counted(count, 'line')}, number and four signs first, into a "
        'file page.txt, in any order. Then run "canvasrule start NEW-FOLDER --from-page page.txt". '
        "A wrong letter names its line, and the marking above is compared with what is made.",
        "It is job.toml without its comments, with every key written out that a line's place hangs "
        "on. What was measured, inked and proved is in job.db, and not here.",
    )
    for one in says:
        y = page.paragraph(one, _EDGE, y, wide, 2.1) - 1.0
    return y


def _side(wide: float, in_row: int) -> float:
    """Of a code, so many of them in a row."""
    return min(_CODE, (wide - (in_row - 1) * _GAP) / in_row)


def _codes_depth(count: int, wide: float, side: float) -> float:
    """mm that so many codes take, with the words under them."""
    return -(-count // int((wide + _GAP + 1e-6) / (side + _GAP))) * (side + 5.0) + 2.0


def _codes(page: Page, squares: Sequence[Code], y: float, side: float) -> float:
    """As many in a row as the page is wide."""
    wide = page.width - 2 * _EDGE
    in_row = int((wide + _GAP + 1e-6) / (side + _GAP))
    for n, code in enumerate(squares):
        row, column = divmod(n, in_row)
        x, top = _EDGE + column * (side + _GAP), y - row * (side + 5.0)
        _draw(page, code, x, top - side, side)
        said = f"lines {code.first} to {code.last}"
        page.write(said, x + side / 2, top - side - 0.6, _SMALL, align=0.5, colour=FAINT)
    return y - _codes_depth(len(squares), wide, side)


def _draw(page: Page, code: Code, x: float, y: float, side: float) -> None:
    """All dark modules as one shape, row by row in runs, so that no hair shows between two."""
    module = side / (len(code.rows) + 2 * QUIET)
    left, top = x + QUIET * module, y + side - QUIET * module
    boxes = []
    for n, row in enumerate(code.rows):
        high, low = top - n * module, top - (n + 1) * module
        for start, end in _runs(row):
            x0, x1 = left + start * module, left + end * module
            boxes.append(np.array([(x0, low), (x1, low), (x1, high), (x0, high)]))
    layer = page.artwork.on_top(Style(fill=INK))
    layer.items.append(Shape(tuple(boxes), closed=True))


def _runs(row: Sequence[bool]) -> list[tuple[int, int]]:
    """Where dark modules begin and end in a row."""
    edges = np.flatnonzero(np.diff([False, *row, False]))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


def _text(page: Page, lines: Sequence[str], top: float) -> Sequence[str]:
    """As many lines as there is room for, in columns; those that are left."""
    rows = int((top - _EDGE) / _ROW)
    if rows < 8:
        return lines
    shown, left = lines[: rows * _COLUMNS], lines[rows * _COLUMNS :]
    # Even columns, where all is on this page.
    rows = -(-len(shown) // _COLUMNS)
    wide = (page.width - 2 * _EDGE) / _COLUMNS
    for n, line in enumerate(shown):
        column, row = divmod(n, rows)
        x, y = _EDGE + column * wide, top - _ROW * (row + 0.8)
        # Of one piece, so that it is copied from the PDF as it is typed.
        page.write(line, x, y, min(_TEXT, (wide - 4.0) / text_width(line)))
        page.line([(x, y - 1.0), (x + wide - 2.5, y - 1.0)], RULE, 0.1)
    return left
