"""The picture of a table before anything is drawn on it: room, words, the top and its four sides.

What else a picture shows is drawn on it by others. Table frame, millimetres.
"""

from __future__ import annotations

import math
from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np

from marking.drawing.artwork import Artwork, Style
from marking.drawing.typeface import text_width
from marking.layout.top_shape import SIDES
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box
    from marking.drawing.artwork import DrawnLayer
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.sections.plan import Plan
    from marking.stretching.ticks import PullTick

TABLE_INK, NOTE_INK = "#8a7a5c", "#333333"
_WALL = 0.9
"""Of a letter's height: how deep a wall is hatched."""


class Picture:
    """One picture under construction: artwork with a border, and a size for its words."""

    def __init__(
        self,
        layout: Layout,
        job: MarkingJob,
        plan: Plan | None,
        in_air: Sequence[Box] = (),
        ticks: Sequence[PullTick] = (),
        notes: int = 0,
    ) -> None:
        """`notes` are lines of the legend beyond what every picture has."""
        corners = layout.top.corners_table
        low, high = corners.min(axis=0), corners.max(axis=0)
        if plan is not None:
            # A bed may stand out over the edge; its corner is still drawn.
            low = np.minimum(low, [min(s.window[k] for s in plan.sections) for k in (0, 1)])
        self.layout, self.job, self.plan = layout, job, plan
        self.letters = max(float(high[0] - low[0]) / 180, 4.0)
        self.in_air, self.ticks = in_air, ticks
        for foot in self.in_air:
            low, high = np.minimum(low, foot[:2]), np.maximum(high, foot[2:])
        # Room for the labels at the four sides and the legend below, in letter heights.
        rows = 14 + 3 * bool(self.in_air) + 3 * bool(self.ticks) + 2 * notes
        left, below, right, above = (self.letters * room for room in (18, rows, 38, 9))
        labels = hem_labels(layout, job.units).values()
        right = max([right, *(self.letters * 4 + self.width(label) for label in labels)])
        box: Box = (
            float(low[0]) - left,
            float(low[1]) - below,
            float(high[0]) + right,
            float(high[1]) + above,
        )
        self.artwork = Artwork(
            box, f"{job.title}: the marking", "The table seen from above, near edge at the bottom."
        )

    def write(
        self,
        layer: DrawnLayer,
        text: str,
        x: float,
        y: float,
        align: float = 0.0,
        size: float = 1.0,
    ) -> None:
        """Text with its left edge (align 0), middle (0.5) or right edge (1) at table x.

        Capitals are `size` times `letters` high, and their middle is at y.
        """
        high = size * self.letters
        layer.write(text, x, y - high / 2, high, align)

    def width(self, text: str, size: float = 1.0) -> float:
        """How wide `text` is written, in mm."""
        return text_width(text) * size * self.letters

    def words(self, name: str, colour: str) -> DrawnLayer:
        """A layer for text of one colour."""
        return self.artwork.layer(name, Style(fill=colour))

    def lines(self, name: str, colour: str, weight: float, fill: str | None = None) -> DrawnLayer:
        """A layer for lines, `weight` times `letters` wide."""
        return self.artwork.layer(name, Style(colour, weight * self.letters, fill))


def draw_table(picture: Picture) -> None:
    """The table's real top."""
    table = picture.lines("table", TABLE_INK, 1 / 5, fill="#fbf8f1")
    table.area(picture.layout.top.corners_table)
    if picture.job.table.against_wall:
        _draw_wall(picture)


def _draw_wall(picture: Picture) -> None:
    """A wall along the far edge, hatched behind as plans of rooms have it."""
    letters = picture.letters
    start, end = picture.layout.top.corners_table[[3, 2]] + (0.0, 0.5 * letters)
    wall = picture.lines("wall", NOTE_INK, 1 / 5)
    wall.line([start.tolist(), end.tolist()])
    hatched = picture.lines("wall-hatching", NOTE_INK, 1 / 12)
    count = max(1, int((end[0] - start[0]) / (2 * letters)))
    for part in np.linspace(0, 1, count, endpoint=False):
        foot = start + part * (end - start)
        hatched.line([foot.tolist(), (foot + (_WALL * letters, _WALL * letters)).tolist()])


def draw_dimensions(picture: Picture) -> None:
    """The lengths of the top's four sides, beside them, as the person gave them."""
    layout, units, letters = picture.layout, picture.job.units, picture.letters
    words = picture.words("dimensions", TABLE_INK)
    sides = {
        "near edge": (0.5, 0.0, -2.4),
        "far edge": (0.5, 1.0, 1.6),
        "zero end": (0.0, 0.5, -1.0),
        "far end": (1.0, 0.5, 1.0),
    }
    length, width = layout.top.corners_table[2].tolist()
    taken = _taken_beyond(picture, length, width)
    given = _sides_as_given(picture)
    for (name, (along, across, away)), side in zip(sides.items(), given, strict=True):
        x, y = length * along, width * across
        end = along != 0.5
        wall = picture.job.table.against_wall and name == "far edge"
        picture.write(
            words,
            f"{name} {format_length(side, units)}{', against a wall' if wall else ''}",
            x + (away * letters + math.copysign(taken[name], away)) * end,
            y + (away * letters + math.copysign(taken[name], away)) * (not end),
            align=0.5 if not end else 1.0 - along,
        )


def _taken_beyond(picture: Picture, length: float, width: float) -> dict[str, float]:
    """How far beyond each side feet and ticks are drawn, in mm, so that words stand past them."""
    boxes = picture.in_air
    out = {
        "near edge": max((-box[1] for box in boxes), default=0.0),
        "far edge": max((box[3] - width for box in boxes), default=0.0),
        "zero end": max((-box[0] for box in boxes), default=0.0),
        "far end": max((box[2] - length for box in boxes), default=0.0),
    }
    least = 0.9 * picture.letters if picture.ticks else 0.0
    if picture.job.table.against_wall:
        out["far edge"] = max(out["far edge"], (0.5 + _WALL) * picture.letters)
    return {side: max(far, least) for side, far in out.items()}


def _sides_as_given(picture: Picture) -> Sequence[float]:
    """Near edge, far edge, zero end and far end as a person measured them, or by the table's size.

    The adjusted top differs from them by what the tape leaves open, and a cover drawn slack by
    what the cloth will give: figures that nobody has read off a tape.
    """
    table = picture.job.table
    if table.survey is None:
        return (table.length, table.length, table.width, table.width)
    return [float(getattr(table.survey, side)) for side in SIDES[:4]]


def draw_title(picture: Picture, text: str) -> None:
    """The picture's title, above the table."""
    title = picture.words("title", NOTE_INK)
    room = picture.artwork.box[2] - 2 * picture.letters
    size = min(2.0, room / picture.width(text))
    picture.write(title, text, 0.0, picture.artwork.box[3] - 2.6 * picture.letters, size=size)


def hem_labels(layout: Layout, units: Units) -> dict[str, str]:
    """What is written beside a long line that serves folds: by the near line's id."""
    served: dict[str, list[str]] = defaultdict(list)
    for fold in layout.folds:
        if fold.edge == "side" and fold.line is not None:
            served[fold.line].append(fold.hem)
    offsets = {line.id: line.offset for line in layout.grid.long_lines}
    return {
        name: f"{format_length(offsets[name], units)}: " + ", ".join(dict.fromkeys(hems))
        for name, hems in served.items()
    }
