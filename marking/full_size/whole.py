"""The whole marking in one drawing at true size, on the canvas that it is to be printed on.

Table frame, millimetres; on a cover marked slack, the cloth as it lies unstretched.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.artwork import Style
from marking.drawing.page import FAINT, INK
from marking.drawing.typeface import text_width
from marking.full_size.allowance import allowance_of
from marking.full_size.check_marks import SQUARE, CheckMarks, corner_mark
from marking.full_size.parts import extent_of
from marking.full_size.scale import Lengths, Scale
from marking.measures.lengths import format_length
from marking.output.strokes_svg import strokes_artwork

if TYPE_CHECKING:
    from marking.arrays import Box
    from marking.drawing.artwork import Artwork
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

_LEAST_ROOM = 40.0
"""mm beyond the top that the check square and its words need."""
_STEP = {"in": 12 * 25.4, "mm": 250.0}
"""Check lengths are whole multiples of it: what a tape shows plainly."""


def check_lengths(box: Box, units: Units) -> Lengths:
    """The longest plain lengths that a sheet of this box has room for, each way."""
    step = _STEP[units]
    wide, high = box[2] - box[0], box[3] - box[1]

    def plain(room: float) -> float:
        return step * int(0.9 * room / step) if room >= step / 0.9 else step / 2

    return Lengths(plain(wide), plain(high))


def whole_marking(layout: Layout, job: MarkingJob, about: str) -> Artwork:
    """Every line, and beyond the top what wraps over and is cut off, with its marks there."""
    allowance = allowance_of(job.cover)
    room = max(allowance.all, _LEAST_ROOM)
    box, top = extent_of(layout, room), extent_of(layout, 0.0)
    artwork = strokes_artwork(
        layout.strokes,
        job.pens,
        box,
        f"{job.title}: the whole marking at true size",
        f"True to size: the near edge at the bottom, the zero end at the left. {about}",
    )
    artwork.paper = "#ffffff"
    corners = zip(layout.top.corners_table.tolist(), _OUT, strict=True)
    for (x, y), out in corners:
        corner_mark(artwork, (x, y), out, 25.0, 4.0)
    x0, y0, x1, y1 = extent_of(layout, allowance.wrap)
    cut = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    for (x, y), (across, up) in zip(cut, _OUT, strict=True):
        # Inwards, where the canvas goes on.
        corner_mark(artwork, (x, y), (-across, -up), 25.0, 0.0)
    _draw_middles(artwork, top, allowance.wrap)
    _draw_checks(artwork, job.units, box, top, room)
    _write(artwork, job, top, room, about)
    return artwork


_OUT = ((-1, -1), (1, -1), (1, 1), (-1, 1))
"""Away from the table at its corners, in the order of the survey's."""


def _draw_middles(artwork: Artwork, top: Box, wrap: float) -> None:
    """A tick beyond the middle of each edge, to lay onto the middle of the table's own."""
    x0, y0, x1, y1 = top
    x, y, long = (x0 + x1) / 2, (y0 + y1) / 2, min(20.0, wrap)
    artwork.on_top(Style(stroke=FAINT, width=0.25, ends="butt")).line(
        [(x, y0 - 4), (x, y0 - long)],
        [(x, y1 + 4), (x, y1 + long)],
        [(x0 - 4, y), (x0 - long, y)],
        [(x1 + 4, y), (x1 + long, y)],
    )


def _draw_checks(artwork: Artwork, units: Units, box: Box, top: Box, room: float) -> None:
    checks = CheckMarks(artwork, Scale(), units, 5.0)
    lengths = check_lengths(top, units)
    side = SQUARE[units]
    checks.square(box[0] + (room - side) / 2, box[1] + (room - side) / 2)
    # Under the table once it is wrapped, and not on its side.
    out = 0.75 * room
    checks.across(lengths, top[0], top[1] - out)
    checks.up(lengths, top[0] - out, top[1])


def _write(artwork: Artwork, job: MarkingJob, top: Box, room: float, about: str) -> None:
    """Beyond the far edge, where it is wrapped over and hidden."""
    slack = (job.cloth.stretch_length, job.cloth.stretch_width)
    wrap = format_length(allowance_of(job.cover).wrap, job.units)
    lines = [
        f"{job.title}. The inner corner marks lie on the table's corners, the ticks on the middles "
        f"of its edges. Cut the canvas at the outer ones, {wrap} beyond.",
        (f"A stretch of {slack[0]:.2%} along and {slack[1]:.2%} across is taken out. {about}")
        if any(slack)
        else f"Drawn for canvas that lies as it is printed: no stretch is taken out. {about}",
    ]
    words = artwork.on_top(Style(fill=INK))
    widest = max(map(text_width, lines))
    size = min(5.0, room / 8, (top[2] - top[0]) / widest)
    for n, line in enumerate(lines):
        words.write(line, top[0], top[3] + room * 0.75 - n * 2 * size, size)
