"""What there is to ink on one cover, counted for reckoning: lines, numerals and bands.

It counts; it lays nothing out and knows no machine. Table frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout

STUB = 25.0
"""mm of a cross line that a machine inks beyond a band, to rule on from; our own choice."""


@dataclass(frozen=True)
class Cover:
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
    bands: tuple[tuple[float, float], ...] | None
    """Along y: what of each hem band holds numerals and hem lines, outermost ink first to the
    innermost hem line with a stub of the cross lines beyond; None where they meet."""

    @property
    def cross_lines(self) -> int:
        """Lines to rule right across."""
        return len(self.line_x)


def cover_of(layout: Layout) -> Cover:
    """What `layout` asks to be inked, counted."""
    across = {
        float(stroke.points[0, 0])
        for stroke in layout.strokes
        if stroke.layer in ("cross", "hem") and stroke.points[0, 0] == stroke.points[-1, 0]
    }
    grid = layout.grid
    y = [line.y for line in grid.long_lines]
    return Cover(
        np.sort([*across]),
        len(grid.long_lines),
        len(layout.numerals),
        sum(stroke.layer in ("tick", "bias") for stroke in layout.strokes),
        float(np.ptp(grid.cross_x)),
        max(y) - min(y),
        grid.pitch[0],
        _bands(layout),
    )


def _bands(layout: Layout) -> tuple[tuple[float, float], ...] | None:
    sides: dict[str, list[float]] = {"near": [], "far": []}
    for line in layout.grid.long_lines:
        sides[line.side].append(line.y)
    for placed in layout.numerals:
        if placed.numeral.row in ("margin", "band"):
            sides[placed.numeral.side] += placed.numeral.box_table[1::2]
    if not all(sides.values()):
        return None
    near = min(sides["near"]), max(sides["near"]) + STUB
    far = min(sides["far"]) - STUB, max(sides["far"])
    return (near, far) if near[1] + STUB < far[0] else None
