"""How a line that lies wrong is struck out: a row of short slashes across it, clear of other ink.

The line is drawn where it belongs beside it. That a drawing is corrected so is common practice, no
source. It knows strokes and pens, no section. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.errors import RefusedError
from marking.layout.layout import Stroke
from marking.sections.plan import Piece

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely import STRtree

    from marking.arrays import FloatArray
    from marking.job.keys import PensTable
    from marking.layout.layout import Layout

_APART = 12.7
"""mm between slashes: half an inch, our choice."""
_HALF = 2.0
"""mm that a slash reaches out on either side of the line, and along it."""
_CLEAR = 0.8
"""mm of bare cloth from a slash to other ink: about a line's width, our choice."""
_STRAIGHT = 2
"""Points of a straight line."""


def struck_out(
    pieces: Sequence[Piece], off: float, layout: Layout, pens: PensTable
) -> tuple[Piece, ...]:
    """The slashes over lines that lie `off` mm from where `pieces` are, with the pen for lines.

    Plus is to the far end for a cross line, to the far edge for a long one. Raises RefusedError
    where a line is not straight, or a slash would touch other ink.
    """
    from shapely import LineString, STRtree

    inked = STRtree(
        [
            LineString(stroke.points).buffer(stroke.ink_width(pens.named(stroke.pen)) / 2)
            for stroke in layout.strokes
        ]
    )
    found: list[Piece] = []
    for piece in pieces:
        if piece.stroke.layer == "numeral" or len(piece.stroke.points) != _STRAIGHT:
            raise RefusedError(
                f"{piece.of} cannot be struck out with room for another beside it: only straight "
                "lines can. Ink it anew over itself (leave --off out), or leave it as it is; "
                "nothing was kept"
            )
        slashes = list(_slashes(piece.stroke.points, off))
        clear = [at for at in slashes if _is_clear(at, inked, pens.lines.width)]
        if not clear:
            raise RefusedError(
                f"{piece.of}: slashes over a line {abs(off):.1f} mm from its place would touch "
                "the line drawn beside it, or other ink, so that nobody could tell which holds. "
                f"That takes {_HALF + _CLEAR + pens.lines.width:.1f} mm from any other line. "
                "Ink it anew over itself (leave --off out), or leave it; nothing was kept"
            )
        found += [
            Piece(Stroke(f"{piece.stroke.id}-slash-{n}", piece.stroke.layer, "lines", at), piece.of)
            for n, at in enumerate(clear, 1)
        ]
    return tuple(found)


def _slashes(line: FloatArray, off: float) -> Iterator[FloatArray]:
    """One every half inch, from half of that behind the beginning of the line (2, 2)."""
    run = line[1] - line[0]
    length = float(np.hypot(*run))
    along = np.abs(run) / length
    # A cross line is off along the table, a long line across it.
    aside = np.array([along[1], along[0]]) * off
    count = max(1, int(length // _APART))
    for n in range(count):
        middle = line[0] + run * (n + 0.5) / count + aside
        yield np.array([middle - _HALF, middle + _HALF])


def _is_clear(slash: FloatArray, inked: STRtree, width: float) -> bool:
    from shapely import LineString

    return not len(inked.query(LineString(slash), "dwithin", distance=_CLEAR + width / 2))
