"""What there is to ink on one cover, counted for reckoning: lines and numerals.

It counts; it lays nothing out and knows no machine. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout


class InkCount(Struct, frozen=True):
    """The marking of one cover in counts and lengths."""

    line_x: FloatArray
    """x of every upright line across the table, fold lines too."""
    long_lines: int
    numerals: int
    short: int
    """Ticks and bias lines."""
    length: float
    """From the zero line to the last cross line."""
    width: float
    """From the first long line of the near side to that of the far side."""
    pitch: float

    @property
    def cross_lines(self) -> int:
        """Lines to rule right across."""
        return len(self.line_x)


def cover_of(layout: Layout) -> InkCount:
    """What `layout` asks to be inked, counted."""
    across = {
        float(stroke.points[0, 0])
        for stroke in layout.strokes
        if stroke.layer in ("cross", "hem") and stroke.points[0, 0] == stroke.points[-1, 0]
    }
    grid = layout.grid
    y = [line.y for line in grid.long_lines]
    return InkCount(
        np.sort([*across]),
        len(grid.long_lines),
        len(layout.numerals),
        sum(stroke.layer in ("tick", "bias") for stroke in layout.strokes),
        float(np.ptp(grid.cross_x)),
        max(y) - min(y),
        grid.pitch[0],
    )
