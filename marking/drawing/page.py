"""A printed page of strokes: lettering, rules and boxes, as SVG and as PDF from the same lines.

Page frame: millimetres, origin at the lower left, y up. Lettering is strokes, so that no font is
needed and the page looks the same everywhere. It knows no table.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.drawing.sheet import Sheet, number
from marking.lettering.glyphs import STOCK_FACE, face, letter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.measures.lengths import Units

Paper = Literal["a4", "letter"]
PAPERS: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216, and ANSI A."""
INK, FAINT, ACCENT = "#1d2129", "#9aa3af", "#a4400f"
_CAPITALS = 21.0
"""Height of a capital in the face's own units."""
_POINTS = 72 / 25.4


def paper_for(units: Units) -> Paper:
    """The sheet that people who measure in these units have in the printer."""
    return "letter" if units == "in" else "a4"


@dataclass(frozen=True)
class Drawn:
    """One polyline (n, 2) of a page, its colour and its width in mm."""

    points: FloatArray
    colour: str
    width: float


class Page:
    """A page under construction."""

    def __init__(self, paper: Paper, title: str) -> None:
        self.width, self.height = PAPERS[paper]
        self.title = title
        self.drawn: list[Drawn] = []

    def line(
        self, points: Sequence[tuple[float, float]], colour: str = INK, width: float = 0.25
    ) -> None:
        """A polyline."""
        self.drawn.append(Drawn(np.array(points, dtype=float), colour, width))

    def box(self, x0: float, y0: float, x1: float, y1: float, colour: str = INK) -> None:
        """A rectangle."""
        self.line([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], colour)

    def write(
        self, text: str, x: float, y: float, size: float, *, align: float = 0.0, colour: str = INK
    ) -> float:
        """Text on the baseline y, capitals `size` mm high; its width in mm.

        Its left edge (align 0), middle (0.5) or right edge (1) stands at x.
        """
        drawn = letter(text)
        scale = size / _CAPITALS
        left = x - align * drawn.width * scale
        middle = (left + drawn.width * scale / 2, y + _middle_height(text) * scale)
        self.drawn += [
            Drawn(stroke * scale + middle, colour, max(size / 11, 0.16)) for stroke in drawn.strokes
        ]
        return drawn.width * scale

    def paragraph(
        self, text: str, x: float, y: float, width: float, size: float, colour: str = INK
    ) -> float:
        """Text broken into lines no wider than `width`; the baseline after its last line."""
        words, line = text.split(), ""
        for word in words:
            longer = f"{line} {word}".strip()
            if line and letter(longer).width * size / _CAPITALS > width:
                self.write(line, x, y, size, colour=colour)
                y -= 1.75 * size
                longer = word
            line = longer
        self.write(line, x, y, size, colour=colour)
        return y - 1.75 * size


def _middle_height(text: str) -> float:
    """Height above the baseline of the middle of what is drawn, in face units."""
    glyphs = face(STOCK_FACE).glyphs
    heights = [
        stroke[:, 1]
        for character in text
        if character in glyphs
        for stroke in glyphs[character].strokes
    ]
    if not heights:
        return 0.0
    joined = np.concatenate(heights)
    return float(joined.min() + joined.max()) / 2


def page_svg(page: Page) -> bytes:
    """The page as SVG, true to size."""
    sheet = Sheet((0.0, 0.0, page.width, page.height), page.title, "A sheet to print at 100 %.")
    paper = sheet.drawing.rect((0, 0), ("100%", "100%"), fill="#ffffff")
    sheet.drawing.add(paper)
    groups: dict[tuple[str, float], list[str]] = {}
    for drawn in page.drawn:
        groups.setdefault((drawn.colour, drawn.width), []).append(sheet.path(drawn.points))
    for (colour, width), paths in groups.items():
        sheet.drawing.add(
            sheet.drawing.path(
                d="".join(paths),
                fill="none",
                stroke=colour,
                stroke_width=number(width),
                stroke_linecap="round",
                stroke_linejoin="round",
            )
        )
    return sheet.bytes()


def pages_pdf(pages: Sequence[Page]) -> bytes:
    """The pages as one PDF, the same bytes on every machine: no date, and no compression."""
    from reportlab.pdfgen.canvas import Canvas

    file = io.BytesIO()
    canvas = Canvas(file, pageCompression=0, invariant=1, pdfVersion=(1, 4))
    canvas.setTitle(pages[0].title)
    canvas.setCreator("canvasrule")
    for page in pages:
        canvas.setPageSize((page.width * _POINTS, page.height * _POINTS))
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        for drawn in page.drawn:
            canvas.setStrokeColor(drawn.colour)
            canvas.setLineWidth(drawn.width * _POINTS)
            path = canvas.beginPath()
            first, *rest = (drawn.points * _POINTS).tolist()
            path.moveTo(*first)
            for point in rest:
                path.lineTo(*point)
            canvas.drawPath(path)
        canvas.showPage()
    canvas.save()
    return file.getvalue()
