"""One sheet of several: a window of the marking at true size, and round it what it is checked by.

Sheet frame: millimetres, origin at the lower left, y up; a printer's scale is about that origin.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.drawing.artwork import Artwork, Style
from marking.drawing.page import FAINT, INK, shortened_to
from marking.drawing.typeface import text_width
from marking.full_size.check_marks import SQUARE, CheckMarks, corner_mark, ringed_cross
from marking.measures.lengths import format_length
from marking.output.strokes_svg import ink_colour

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box, FloatArray
    from marking.drawing.artwork import DrawnLayer
    from marking.full_size.ink import InkByPlace
    from marking.full_size.parts import Part, Parting
    from marking.full_size.scale import Lengths, Scale
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout

FOOT = 29.0
"""Below the window: the check square, the length across, and words."""
SIDE = 9.0
"""Left of it: the length up the sheet."""
_JOIN = Style(stroke=FAINT, width=0.2, dashes=(3.0, 2.0), ends="butt")
_EDGE = Style(stroke=FAINT, width=0.2, dashes=(8.0, 2.0, 1.0, 2.0), ends="butt")
_WORDS = 1.9
_CROSSES_EVERY = 600.0
"""mm along a join, at most twice that; never fewer than two."""


class Paper(Struct, frozen=True):
    """A sheet's size, and the rim of it that no printer reaches."""

    width: float
    height: float
    rim: float

    @property
    def holds(self) -> tuple[float, float]:
        """Width and height left for a window."""
        return self.width - 2 * self.rim - SIDE, self.height - 2 * self.rim - FOOT

    @property
    def lying(self) -> Paper:
        """The same, turned a quarter."""
        return Paper(self.height, self.width, self.rim)

    @property
    def window_at(self) -> tuple[float, float]:
        """Where a window's lower left corner comes to lie."""
        return self.rim + SIDE, self.rim + FOOT

    @classmethod
    def round_window(cls, wide: float, high: float, rim: float) -> Paper:
        """A sheet just large enough for a window."""
        return cls(wide + 2 * rim + SIDE, high + 2 * rim + FOOT, rim)


class Printing(Struct, frozen=True):
    """What every sheet of one document has in common."""

    layout: Layout
    job: MarkingJob
    ink: InkByPlace
    parting: Parting
    scale: Scale
    lengths: Lengths
    about: str
    """Which version of what marking, in small type."""


def held_true(paper: Paper, scale: Scale) -> tuple[float, float]:
    """How much of the table a sheet's window holds, along and across it."""
    wide, high = paper.holds
    return wide / scale.across, high / scale.up


def part_sheet(part: Part, printing: Printing, paper: Paper, says: Sequence[str]) -> Artwork:
    """The sheet of one part; `says` is how to lay it, in lines of words."""
    job = printing.job
    title = f"{job.title}: {part.name}"
    artwork = Artwork((0, 0, paper.width, paper.height), title, "A sheet to print at 100 %.")
    place = _Place(part.window, paper.window_at, printing.scale)
    _draw_edges(artwork, part, printing, place)
    _draw_ink(artwork, part.window, printing, place)
    _draw_joins(artwork, part, printing, place)
    _draw_checks(artwork, printing, paper)
    _write_foot(artwork, part, printing, paper, says)
    return artwork


class _Place(Struct, frozen=True):
    """Where a point of the table comes to lie on the sheet."""

    window: Box
    at: tuple[float, float]
    scale: Scale

    def of(self, points: FloatArray) -> FloatArray:
        """Points (n, 2) of the table, on the sheet."""
        by = np.array([self.scale.across, self.scale.up])
        placed: FloatArray = (points - self.window[:2]) * by + self.at
        return placed

    def one(self, x: float, y: float) -> tuple[float, float]:
        """A point of the table, on the sheet."""
        (found,) = self.of(np.array([[x, y]])).tolist()
        return found[0], found[1]


def _draw_ink(artwork: Artwork, window: Box, printing: Printing, place: _Place) -> None:
    """Under the pens' names, each line as wide as its ink."""
    pens = printing.job.pens
    layers: dict[tuple[str, str], DrawnLayer] = {}
    for stroke, piece in printing.ink.within(window):
        kind = stroke.layer, stroke.pen
        if kind not in layers:
            style = Style(ink_colour(stroke.pen, pens), pens.named(stroke.pen).width)
            layers[kind] = artwork.layer("-".join(kind), style)
        layers[kind].line(place.of(piece))


def _draw_edges(artwork: Artwork, part: Part, printing: Printing, place: _Place) -> None:
    """The table's own edges and corners, as far as they fall on the sheet."""
    x0, y0, x1, y1 = part.window
    corners = printing.layout.top.corners_table
    edges = artwork.layer("table-edge", _EDGE)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        seen = _clipped(start, end, part.window)
        if seen is not None:
            edges.line(place.of(seen))
    for (x, y), out in zip(corners.tolist(), ((-1, -1), (1, -1), (1, 1), (-1, 1)), strict=True):
        if x0 <= x <= x1 and y0 <= y <= y1:
            corner_mark(artwork, place.one(x, y), out, 5.5)


def _clipped(start: FloatArray, end: FloatArray, window: Box) -> FloatArray | None:
    """The part of a straight line within a window (Liang and Barsky, 1984); None where none is."""
    first, last = 0.0, 1.0
    run = end - start
    for axis in (0, 1):
        for edge, inward in ((window[axis], 1), (window[axis + 2], -1)):
            moves, room = inward * float(run[axis]), inward * float(start[axis] - edge)
            if moves == 0:
                if room < 0:
                    return None
            elif moves > 0:
                first = max(first, -room / moves)
            else:
                last = min(last, -room / moves)
    return np.array([start + first * run, start + last * run]) if first < last else None


def _draw_joins(artwork: Artwork, part: Part, printing: Printing, place: _Place) -> None:
    """A dashed line at each join, with ringed crosses.

    Both sheets have the same crosses: they hang on the join and on the cores beside it, which the
    two share, and stand midway between lines.
    """
    crosses = []
    for axis in (0, 1):
        along = 1 - axis
        low, high = part.core[along], part.core[along + 2]
        for end, step in ((axis, -1), (axis + 2, 1)):
            if printing.parting.beside(part, *((step, 0) if axis == 0 else (0, step))) is None:
                continue
            at = part.core[end]
            ends = [(at, part.window[along]), (at, part.window[along + 2])]
            places = [
                printing.parting.near_bare(along, low + share * (high - low), low, high)
                for share in _shares(high - low)
            ]
            points = [*ends, *((at, where) for where in places)]
            first, last, *marks = (place.one(*(p if axis == 0 else p[::-1])) for p in points)
            artwork.on_top(_JOIN).line([first, last])
            crosses += marks
    for x, y in crosses:
        ringed_cross(artwork, x, y)


def _draw_checks(artwork: Artwork, printing: Printing, paper: Paper) -> None:
    checks = CheckMarks(artwork, printing.scale, printing.job.units)
    x, y = paper.window_at
    checks.square(paper.rim, paper.rim)
    checks.across(printing.lengths, x + SQUARE["in"] * printing.scale.across, y - 4.5)
    checks.up(printing.lengths, x - 2.0, y)


def _shares(length: float) -> list[float]:
    """Where crosses stand along a join, as shares of what of it two sheets have in common."""
    count = max(2, round(length / _CROSSES_EVERY))
    return [(n + 0.5) / count for n in range(count)]


_SIDES = {"left": (-1, 0), "right": (1, 0), "below": (0, -1), "above": (0, 1)}


def _beside(part: Part, parting: Parting) -> str:
    """Which sheets join this one, as a sentence."""
    found = {side: parting.beside(part, *step) for side, step in _SIDES.items()}
    named = [f"{side} {other.name}" for side, other in found.items() if other is not None]
    return f"Beside it: {', '.join(named)}." if named else ""


def _write_foot(
    artwork: Artwork, part: Part, printing: Printing, paper: Paper, says: Sequence[str]
) -> None:
    """Beside the check square: which sheet, where it lies, how it is laid."""
    job, left = printing.job, paper.rim + SIDE + SQUARE["in"] * printing.scale.across
    y = paper.rim + FOOT - 10.5
    words = artwork.on_top(Style(fill=INK))
    end = left + words.write(part.name, left, y - 1, 4.2) + 4
    beside = f". {_beside(part, printing.parting)}"
    room = (paper.width - paper.rim - end) / _WORDS - text_width(beside)
    words.write(f"{shortened_to(room, job.title)}{beside}", end, y + 1, _WORDS)
    x, across = (format_length(max(at, 0.0), job.units) for at in part.core[:2])
    where = f"Its lower left join or edge lies {x} along and {across} across, by tape from zero."
    words.write(where, end, y - 2.6, _WORDS)
    y -= 6.4
    for line in says:
        words.write(line, left, y, _WORDS)
        y -= 3.4
    artwork.on_top(Style(fill=FAINT)).write(printing.about, left, paper.rim, 1.6)
