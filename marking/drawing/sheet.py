"""The marking and its sections as SVG, true to size: one user unit is one millimetre.

Table frame with y turned over, since SVG counts down the page: the near edge is at the bottom.
"""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple
from xml.etree import ElementTree

import numpy as np
import svgwrite
from svgwrite.extensions import Inkscape

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import PensTable
    from marking.layout.layout import Stroke
    from marking.sections.locating_marks import Box

_ONCE, _MORE_THAN_ONCE, _REMOVABLE = "#3f4550", "#000000", "#2b6cb0"
"""Screen colours of ink by how often a line is drawn; the cloth gets what is in the holder."""

_DECIMALS = 4


class Sheet:
    """A page covering `box` of the table frame, and the mapping onto it."""

    def __init__(self, box: Box, title: str, description: str) -> None:
        self.box = box
        width, height = box[2] - box[0], box[3] - box[1]
        # Checking every attribute against the SVG grammar costs more than writing them all.
        self.drawing: Any = svgwrite.Drawing(
            size=(f"{number(width)}mm", f"{number(height)}mm"),
            viewBox=f"0 0 {number(width)} {number(height)}",
            debug=False,
        )
        self.drawing.set_desc(title=title, desc=description)
        self._layers = Inkscape(self.drawing)

    def layer(self, name: str, **attributes: Any) -> Any:
        """A new group that drawing programs show as a layer."""
        group = self._layers.layer(label=name, id=name, **attributes)
        self.drawing.add(group)
        return group

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A table point on the page."""
        return x - self.box[0], self.box[3] - y

    def path(self, points_table: FloatArray) -> str:
        """A polyline of table points as SVG path data."""
        return self.paths([points_table])[0]

    def paths(self, polylines_table: Sequence[FloatArray]) -> list[str]:
        """Many polylines at once, each as SVG path data."""
        if not polylines_table:
            return []
        page = np.concatenate(polylines_table) * (1.0, -1.0) + (-self.box[0], self.box[3])
        # Adding nought turns a minus nought into nought.
        steps = iter((page.round(_DECIMALS) + 0.0).tolist())
        return [
            "M" + "L".join([f"{x!r},{y!r}" for x, y in islice(steps, len(polyline))])
            for polyline in polylines_table
        ]

    def bytes(self) -> bytes:
        """The page as a file, the same on every machine."""
        text = ElementTree.tostring(self.drawing.get_xml(), encoding="unicode")
        return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


class _Path(NamedTuple):
    """A path with an id and nothing else: svgwrite's own takes four times as long to make."""

    id: str
    data: str

    def get_xml(self) -> ElementTree.Element:
        """What svgwrite asks of everything in a group."""
        return ElementTree.Element("path", d=self.data, id=self.id)


def number(value: float) -> str:
    """Millimetres to a tenth of a micrometre, as short as that can be written."""
    return f"{round(value, _DECIMALS) + 0.0}"


def strokes_sheet(
    strokes: Sequence[Stroke], pens: PensTable, box: Box, title: str, description: str
) -> bytes:
    """Strokes as a file a plotter program or an editor opens: a layer for each kind and pen.

    Every stroke stands once, as wide as its ink. A pen's passes make it darker and no wider, so
    the file says in words, and by a darker layer, how often it is drawn.
    """
    drawn = dict.fromkeys((stroke.layer, stroke.pen) for stroke in strokes)
    passes = {f"{layer}-{pen}": pens.named(pen).passes for layer, pen in drawn}
    sheet = Sheet(box, title, description + _over_itself(passes))
    groups: dict[tuple[str, str], Any] = {}
    paths = sheet.paths([stroke.points for stroke in strokes])
    for stroke, path in zip(strokes, paths, strict=True):
        key = stroke.layer, stroke.pen
        if key not in groups:
            groups[key] = sheet.layer(
                f"{stroke.layer}-{stroke.pen}",
                fill="none",
                stroke=_colour(stroke.pen, pens),
                stroke_width=number(pens.named(stroke.pen).width),
                stroke_linecap="round",
                stroke_linejoin="round",
            )
        groups[key].add(_Path(stroke.id, path))
    return sheet.bytes()


def _over_itself(passes: Mapping[str, int]) -> str:
    """Which layers are drawn more than once, as a sentence; nothing when none is."""
    each = [f"{layer} {count} times" for layer, count in passes.items() if count > 1]
    return f" To be drawn over itself, for a darker line: {', '.join(each)}." if each else ""


def _colour(pen: str, pens: PensTable) -> str:
    if pen == "removable":
        return _REMOVABLE
    return _MORE_THAN_ONCE if pens.named(pen).passes > 1 else _ONCE
