"""All that one cover takes: canvas, pad, underlay, staples, screws and markers.

Counts follow from spacings that are stated beside them. Millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.cloth.canvas import Canvas, canvas_for
from marking.cloth.underlay import Underlay, underlay_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import Box
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

AT_A_CORNER = 4
"""Staples that a folded corner takes more; common practice, no source."""
SCREWS: Mapping[Units, tuple[float, float, float]] = {
    "in": (304.8, 406.4, 25.4),
    "mm": (300.0, 400.0, 25.0),
}
"""Most from screw to screw along a board and across it, and from its edges; common practice, no
source."""


class Markers(Struct, frozen=True):
    """What the pens of one holder and one width ink, and how many markers that takes."""

    pens: tuple[str, ...]
    """By what they draw."""
    width: float
    ink: float
    """mm of line, its passes counted."""
    lasts: float
    """mm of line that one marker writes; the mean of its ink where its pens are said to differ."""

    @property
    def count(self) -> int:
        """Whole markers."""
        return math.ceil(self.ink / self.lasts - 1e-9)


class Cover(Struct, frozen=True):
    """What to buy for one top."""

    canvas: Canvas
    pad: tuple[float, float]
    """Length and width of the box round the top, to which the pad is then cut."""
    underlay: Underlay
    staples: int
    screws: int
    markers: tuple[Markers, ...]


def cover_for(layout: Layout, job: MarkingJob) -> Cover:
    """What the top of `layout` takes. Raises RefusedError."""
    canvas = canvas_for(layout, job)
    x0, y0, x1, y1 = canvas.top
    underlay = underlay_for(canvas.top, job.hems.depth, job.cover.sheet)
    corners = layout.top.corners_table / layout.slack
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).tolist()
    staples = sum(math.ceil(side / job.cover.staple_spacing) + AT_A_CORNER for side in sides)
    return Cover(
        canvas,
        (x1 - x0, y1 - y0),
        underlay,
        staples,
        sum(_screws(piece.lies, job.units) for piece in underlay.pieces),
        _markers(layout, job),
    )


def _screws(lies: Box, units: Units) -> int:
    """In rows over one board, those at its edges set in from them."""
    x0, y0, x1, y1 = lies
    along, across, inwards = SCREWS[units]
    rows = [
        max(2, math.ceil((side - 2 * inwards) / most) + 1)
        for side, most in (
            (max(x1 - x0, y1 - y0), along),
            (min(x1 - x0, y1 - y0), across),
        )
    ]
    return rows[0] * rows[1]


def _markers(layout: Layout, job: MarkingJob) -> tuple[Markers, ...]:
    """What one pen draws is bought once, by holder and width.

    A pen whose profile does not say how long it lasts lasts as a tip does.
    """
    ink: dict[str, float] = {}
    for stroke in layout.strokes:
        times = stroke.times(job.pens.named(stroke.pen))
        ink[stroke.pen] = ink.get(stroke.pen, 0.0) + stroke.length * times
    alike: dict[tuple[int, float], list[str]] = {}
    for name, pen in job.pens.by_name.items():
        if name in ink:
            alike.setdefault((pen.slot, round(pen.width, 6)), []).append(name)
    return tuple(_marker(names, ink, job) for names in alike.values())


def _marker(names: Sequence[str], ink: Mapping[str, float], job: MarkingJob) -> Markers:
    lasts = {name: job.pens.named(name).ink_length or job.pace.tip for name in names}
    needed = sum(ink[name] for name in names)
    mean = needed / sum(ink[name] / lasts[name] for name in names)
    one = lasts[names[0]] if len({*lasts.values()}) == 1 else mean
    return Markers(tuple(names), job.pens.named(names[0]).width, needed, one)
