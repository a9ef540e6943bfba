"""Drawings as the pages of one PDF: true to size, type set and not drawn, its face embedded.

It is the same file on every machine: it has no date and no compression.
"""

from __future__ import annotations

import io
import math
from functools import cache
from typing import TYPE_CHECKING, Any

from marking.drawing.artwork import Circle, Shape
from marking.drawing.typeface import FAMILY, em_of_capital, typeface_file

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork, DrawnLayer, Text

POINTS = {"mm": 72 / 25.4, "px": 1.0}
"""PDF points to a unit."""
MOST_UNITS = 14_400
"""The longest side of a page in its own units (ISO 32000-1, annex C): 200 in at 1/72 in a unit."""
_ENDS = {"butt": 0, "round": 1}


def pdf(pages: Sequence[Artwork], points: float | None = None) -> bytes:
    """The drawings as pages, titled like the first of them, `points` to a unit or true to size.

    A page longer than `MOST_UNITS` counts in larger units (UserUnit, PDF 1.6).
    """
    from reportlab.pdfgen.canvas import Canvas

    _embed()
    first, file = pages[0], io.BytesIO()
    units = [user_unit(page, points) for page in pages]
    canvas = Canvas(
        file,
        pageCompression=0,
        invariant=1,
        pdfVersion=(1, 4) if max(units) == 1 else (1, 6),
        lang=first.language,
        # Or the file names a face that is not in it.
        initialFontName=FAMILY,
    )
    canvas.setTitle(first.title)
    canvas.setSubject(first.about)
    canvas.setAuthor("")
    canvas.setCreator("canvasrule")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for number, (page, unit) in enumerate(zip(pages, units, strict=True), 1):
        _PdfPage(canvas, page, (points or POINTS[page.unit]) / unit).draw()
        if page.chapter:
            place = f"page-{number}"
            canvas.bookmarkPage(place)
            canvas.addOutlineEntry(page.chapter, place)
            canvas.showOutline()
        canvas.showPage()
        if unit > 1:
            _count_in(unit, canvas)
    canvas.save()
    return file.getvalue()


def user_unit(page: Artwork, points: float | None = None) -> int:
    """How many 72nds of an inch one unit of the page has to be: 1 up to 200 in of length."""
    longest = max(page.size) * (points or POINTS[page.unit])
    return max(1, math.ceil(longest / MOST_UNITS - 1e-9))


def _count_in(unit: int, canvas: Any) -> None:
    """Has the page just finished count in `unit` 72nds of an inch; ReportLab knows no such key."""
    page = canvas._doc.Pages.pages[-1]
    page.__NoDefault__ = [*page.__NoDefault__, "UserUnit"]
    page.UserUnit = unit


@cache
def _embed() -> None:
    """Tells reportlab of the typeface; a file gets as many of its characters as it uses."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    registerFont(TTFont(FAMILY, str(typeface_file())))


class _PdfPage:
    """One drawing on its way onto a page of `scale` points to a unit."""

    def __init__(self, canvas: Any, page: Artwork, scale: float) -> None:
        self.canvas, self.page, self.scale = canvas, page, scale

    def draw(self) -> None:
        """All of it, the lowest layer first."""
        width, height = (side * self.scale for side in self.page.size)
        self.canvas.setPageSize((width, height))
        if self.page.paper is not None:
            self.canvas.setFillColor(self.page.paper)
            self.canvas.rect(0, 0, width, height, stroke=0, fill=1)
        self.canvas.setLineJoin(1)
        for layer in self.page.layers:
            self._draw_layer(layer)

    def _draw_layer(self, layer: DrawnLayer) -> None:
        canvas, style = self.canvas, layer.style
        canvas.saveState()
        if style.stroke is not None:
            canvas.setStrokeColor(style.stroke, style.opacity)
            canvas.setLineWidth(style.width * self.scale)
            canvas.setLineCap(_ENDS[style.ends])
        if style.dashes:
            canvas.setDash([length * self.scale for length in style.dashes])
        if style.fill is not None:
            canvas.setFillColor(style.fill, style.opacity)
        inked = {"stroke": int(style.stroke is not None), "fill": int(style.fill is not None)}
        for item in layer.items:
            if isinstance(item, Shape):
                self._draw_shape(item, style.opacity, inked)
            elif isinstance(item, Circle):
                canvas.circle(*self._at(item.middle), item.radius * self.scale, **inked)
            else:
                self._set(item)
        canvas.restoreState()

    def _draw_shape(self, shape: Shape, opacity: float, inked: dict[str, int]) -> None:
        if shape.fill is not None:
            self.canvas.setFillColor(shape.fill, opacity)
            inked = {**inked, "fill": 1}
        path = self.canvas.beginPath()
        for line in shape.lines:
            first, *rest = ((line - self.page.box[:2]) * self.scale).tolist()
            path.moveTo(*first)
            for point in rest:
                path.lineTo(*point)
            if shape.closed:
                path.close()
        self.canvas.drawPath(path, **inked)

    def _set(self, text: Text) -> None:
        self.canvas.setFont(FAMILY, text.size * em_of_capital() * self.scale)
        self.canvas.drawString(*self._at(text.at), text.text)

    def _at(self, point: tuple[float, float]) -> tuple[float, float]:
        x, y = point
        return (x - self.page.box[0]) * self.scale, (y - self.page.box[1]) * self.scale
