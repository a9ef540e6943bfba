"""The marking and its sections as drawings that a plotter program or an editor opens.

Table frame: the near edge is at the bottom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.artwork import Artwork, Style
from marking.drawing.svg import svg

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import Box
    from marking.drawing.artwork import DrawnLayer
    from marking.job.keys import PensTable
    from marking.layout.layout import Stroke

_ONCE, _MORE_THAN_ONCE, _REMOVABLE = "#3f4550", "#000000", "#2b6cb0"
"""Screen colours of ink by how often a line is drawn; the cloth gets what is in the holder."""
_RULED = "#9aa1ac"
"""Of lines that no device inks."""


def strokes_svg(
    strokes: Sequence[Stroke],
    pens: PensTable,
    box: Box,
    title: str,
    description: str,
    ruled: Sequence[Stroke] = (),
) -> bytes:
    """The drawing of `strokes_artwork` as SVG."""
    return svg(strokes_artwork(strokes, pens, box, title, description, ruled))


def strokes_artwork(
    strokes: Sequence[Stroke],
    pens: PensTable,
    box: Box,
    title: str,
    description: str,
    ruled: Sequence[Stroke] = (),
) -> Artwork:
    """Strokes over `box` of the table: a layer for each kind and pen, and such layers for what is
    `ruled` by hand.

    Every stroke stands once, all its passes side by side. Passes over one line make it darker and
    no wider, so the file says in words, and by a darker layer, how often it is drawn.
    """
    drawn = dict.fromkeys((stroke.layer, stroke.pen) for stroke in strokes)
    passes = {
        f"{stroke.layer}-{stroke.pen}": pens.named(stroke.pen).passes
        for stroke in strokes
        if not stroke.beside
    }
    artwork = Artwork(box, title, description + _over_itself(passes), paper=None)
    layers: dict[tuple[str, str], DrawnLayer] = {
        (layer, pen): artwork.layer(
            f"{layer}-{pen}", Style(stroke=ink_colour(pen, pens), width=pens.named(pen).width)
        )
        for layer, pen in drawn
    }
    for stroke in strokes:
        layers[stroke.layer, stroke.pen].line(stroke.path, name=stroke.id)
    for layer, pen in dict.fromkeys((stroke.layer, stroke.pen) for stroke in ruled):
        style = Style(stroke=_RULED, width=pens.named(pen).width)
        by_hand = artwork.layer(f"ruled-{layer}-{pen}", style)
        for stroke in ruled:
            if (stroke.layer, stroke.pen) == (layer, pen):
                by_hand.line(stroke.points, name=stroke.id)
    return artwork


def _over_itself(passes: Mapping[str, int]) -> str:
    """Which layers are drawn more than once, as a sentence; nothing when none is."""
    each = [f"{layer} {count} times" for layer, count in passes.items() if count > 1]
    return f" To be drawn over itself, for a darker line: {', '.join(each)}." if each else ""


def ink_colour(pen: str, pens: PensTable) -> str:
    """What a pen's ink is drawn in: black where it goes over its lines more than once."""
    if pen == "removable":
        return _REMOVABLE
    return _MORE_THAN_ONCE if pens.named(pen).passes > 1 else _ONCE
