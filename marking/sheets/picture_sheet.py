"""What the cover comes to look like: the whole of it, and the zero corner large.

It draws the marking itself, so that a person with the sheets alone knows what is meant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.artwork import Style
from marking.drawing.page import FAINT, INK, RULE
from marking.measures.lengths import rough_length
from marking.output.table_picture import spread
from marking.sections.cutting import cut
from marking.sheets.parts import EDGE, SMALL, TEXT, headed, notes, section

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.drawing.artwork import Artwork
    from marking.drawing.page import Page, PaperName
    from marking.job.keys import MarkingJob, NumeralsTable, PensTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

_CORNER_DEEP, _CORNER_SCALE = 84.0, 1 / 2
"""mm of page that the corner is high at most, and how large it is drawn at most."""
_BESIDE = 24.0
"""mm right of the corner for the distances of its lines."""
_APART = 3.2
"""mm from one such distance to the next, at least."""
_INSIDE = (1, 1)
"""The middle cell of a lattice of two joins each way."""


def picture_page(layout: Layout, job: MarkingJob, paper: PaperName) -> Artwork:
    """One page: the table from above, and its zero corner as seen from the near edge."""
    title = f"{job.title}: what it comes to look like"
    page, y = headed(paper, title, title, chapter="What it comes to look like")
    y = section(page, "The whole cover, the near edge at the bottom, the zero end at the left", y)
    corners = layout.top.corners_table
    low, high = corners.min(axis=0), corners.max(axis=0)
    wide = page.width - 2 * EDGE
    scale = min(wide / (high[0] - low[0]), 100.0 / (high[1] - low[1]))
    y = _drawn(page, layout, job.pens, (*low.tolist(), *high.tolist()), scale, y)
    y = section(page, "The corner of zero end and near edge", y - 8.0)
    said = (
        "Grey: the table's edges. The numbers beside it tell how far each line lies from the near "
        "edge. Cross lines end on the first long lines, and long lines on the zero line and on "
        f"the last one: nothing but {_in_the_margins(job.numerals)} in the margins."
    )
    y = notes(page, [said], y)
    deep = min(job.grid.margin + job.hems.depth + 2 * job.grid.pitch, float(high[1] - low[1]))
    scale = min(_CORNER_DEEP / deep, _CORNER_SCALE)
    long = min((wide - _BESIDE) / scale, float(high[0] - low[0]))
    x0, y0 = low.tolist()
    end = _between_numerals(layout, x0 + long, y0 + deep)
    foot = _drawn(page, layout, job.pens, (x0, y0, end, y0 + deep), scale, y)
    _distances(page, layout, job.units, (EDGE + (end - x0) * scale + 3.0, foot, y0, deep), scale)
    return page.artwork


def _in_the_margins(numerals: NumeralsTable) -> str:
    if numerals.other_unit == "none":
        return "numerals stands"
    return f"numerals, and on the {numerals.other_unit} side its short ticks, stands"


def _between_numerals(layout: Layout, end: float, top: float) -> float:
    """`end`, or as much less as it takes to cut through no numeral below `top`."""
    boxes = [one.numeral.box_table for one in layout.numerals]
    for x0, low, x1, _ in sorted(boxes, reverse=True):
        if low < top and x0 < end < x1:
            end = x0 - 1.0
    return end


def _drawn(
    page: Page,
    layout: Layout,
    pens: PensTable,
    window: tuple[float, float, float, float],
    scale: float,
    top: float,
) -> float:
    """What of the marking lies in a window of the table; the y of its foot."""
    x0, y0, x1, y1 = window
    foot = top - scale * (y1 - y0)

    def at(points: FloatArray) -> FloatArray:
        placed: FloatArray = (points - (x0, y0)) * scale + (EDGE, foot)
        return placed

    def inside(points: FloatArray) -> list[FloatArray]:
        pieces = cut(points, (x0 - 1e-6, x1 + 1e-6), (y0 - 1e-6, y1 + 1e-6))
        return [piece for cell, piece in pieces if cell == _INSIDE]

    rim = np.vstack([layout.top.corners_table, layout.top.corners_table[:1]])
    edge = page.artwork.layer("table-edge", Style(stroke=FAINT, width=0.4))
    for piece in inside(rim):
        edge.line(at(piece))
    for pen in pens.by_name:
        strokes = [stroke for stroke in layout.strokes if stroke.pen == pen]
        width = max(0.1, scale * pens.named(pen).width)
        ink = page.artwork.layer(f"ink-{pen}", Style(stroke=INK, width=width))
        for stroke in strokes:
            for piece in inside(stroke.path):
                ink.line(at(piece))
    return foot


def _with_room(ups: Sequence[float], apart: float) -> list[float]:
    """Of rising `ups` the first, and each that is so far from the last one taken."""
    taken: list[float] = []
    for up in ups:
        if not taken or up - taken[-1] >= apart:
            taken.append(up)
    return taken


def _distances(
    page: Page,
    layout: Layout,
    units: Units,
    beside: tuple[float, float, float, float],
    scale: float,
) -> None:
    """How far each long line of the corner lies from the near edge, with leaders where lines
    stand closer than the figures; where there are too many, as many as have room."""
    x, foot, low, deep = beside
    ups = [up for line in layout.grid.long_lines if (up := line.y - low) <= deep]
    if len(ups) * _APART > deep * scale:
        ups = _with_room(ups, _APART / scale)
    shown = [foot + up for up in spread([up * scale for up in ups], _APART)]
    for up, y in zip(ups, shown, strict=True):
        page.line([(x - 2.0, foot + up * scale), (x + 1.0, y)], RULE, 0.15)
        page.write(rough_length(up, units), x + 2.0, y - SMALL / 2, SMALL)
    page.write("near edge", EDGE, foot - 4.2, TEXT, colour=FAINT)
