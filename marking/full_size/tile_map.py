"""The first page of the tiles: how to print and lay them, and where on the table each one goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.artwork import Style
from marking.drawing.page import FAINT, INK, RULE, Page
from marking.drawing.typeface import text_width
from marking.measures.counts import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.full_size.parts import Part, Parting
    from marking.job.keys import PaperSize
    from marking.layout.layout import Layout

_EDGE = 13.0
_TEXT = 2.3
_LEFT_OUT = "#dde1e7"


def tile_map(
    layout: Layout,
    title: str,
    parting: Parting,
    inked: Sequence[Part],
    size: PaperSize,
    how: Sequence[str],
    about: str,
) -> Artwork:
    """How to lay the sheets, and the table with all of them; the ones left out are grey."""
    page = Page(size, f"{title}: tiles at true size")
    wide = page.width - 2 * _EDGE
    y = page.height - _EDGE - 5
    page.heading(f"{title}: tiles at true size", _EDGE, y, 4.6)
    y -= 8
    out = len(parting.parts) - len(inked)
    counts = f"{counted(len(inked), 'sheet')} in {counted(parting.rows, 'row')} and "
    counts += counted(parting.columns, "column")
    counts += f"; {out} without ink, grey below, left out." if out else "."
    page.write(counts, _EDGE, y, _TEXT)
    y -= 7
    for number, step in enumerate(how, 1):
        page.write(f"{number}", _EDGE, y, _TEXT)
        y = page.paragraph(step, _EDGE + 5, y, wide - 5, _TEXT) - 1.2
    _draw(page, layout, parting, {part.name for part in inked}, y - 8)
    page.write(about, _EDGE, _EDGE - 5, 1.6, colour=FAINT)
    return page.artwork


def _draw(page: Page, layout: Layout, parting: Parting, inked: set[str], top: float) -> None:
    """The table under its tiles, as large as the page lets it be."""
    first, last = parting.parts[0].core, parting.parts[-1].core
    x0, y0, x1, y1 = first[0], first[1], last[2], last[3]
    scale = min((page.width - 2 * _EDGE) / (x1 - x0), (top - _EDGE - 8) / (y1 - y0))
    left, low = (page.width - scale * (x1 - x0)) / 2, top - scale * (y1 - y0)

    def at(x: float, y: float) -> tuple[float, float]:
        return left + (x - x0) * scale, low + (y - y0) * scale

    grey = page.artwork.layer("left-out", Style(fill=_LEFT_OUT))
    for part in parting.parts:
        if part.name not in inked:
            grey.box((*at(*part.core[:2]), *at(*part.core[2:])))
    faint = page.artwork.layer("marking", Style(stroke=RULE, width=0.1))
    for stroke in layout.strokes:
        if stroke.layer in ("long", "numeral") or stroke.pen == "heavy":
            faint.line([at(x, y) for x, y in stroke.points.tolist()])
    joins = page.artwork.layer("tiles", Style(stroke=INK, width=0.2))
    for part in parting.parts:
        joins.box((*at(*part.core[:2]), *at(*part.core[2:])))
    cell = min(min(p.core[2] - p.core[0] for p in parting.parts) * scale, 40.0)
    high = min(p.core[3] - p.core[1] for p in parting.parts) * scale
    widest = max(text_width(part.name) for part in parting.parts)
    size = min(2.6, 0.75 * cell / widest, 0.5 * high)
    words = page.artwork.layer("names", Style(fill=INK))
    for part in parting.parts:
        x, y = at((part.core[0] + part.core[2]) / 2, (part.core[1] + part.core[3]) / 2)
        words.write(part.name, x, y - size / 2, size, 0.5)
    page.write("near edge", left + scale * (x1 - x0) / 2, low - 4.5, 2.0, align=0.5)
    page.write("zero", left, low - 4.5, 2.0)
