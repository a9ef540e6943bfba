"""The canvas over one top: how much to cut, which width to buy, and the lines to lay it on by.

Table frame, millimetres: what hangs over the near edge has y below 0, over the zero end x below 0.
Sizes of the canvas itself are those of the cloth before it is stretched.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.errors import RefusedError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from marking.arrays import Box
    from marking.job.keys import MarkingJob
    from marking.job.work_keys import CoverTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

SQUARING: Mapping[Units, float] = {"in": 50.8, "mm": 50.0}
"""What each end gives up when it is squared by a drawn thread; common practice, no source."""
SEWN: Mapping[Units, float] = {"in": 12.7, "mm": 12.0}
"""What a seam takes of each of its two pieces; common practice, no source."""
_CLEAR = 12.7
"""From a seam to any ink, and to the edge that the canvas turns over."""
_LEAST_STRIP = 50.8
"""A narrower strip cannot be sewn on and pulled by."""
_SAME = 1e-6


class Seam(Struct, frozen=True):
    """Where a strip is sewn to the far side, and what it is cut to."""

    y: float
    """On the finished cover."""
    strip: tuple[float, float]
    """Length and width."""


class ReferenceLines(Struct, frozen=True):
    """A long and a short line on the loose canvas, which come to lie on the axes of the table."""

    long_from_near_side: float
    """From the near side of the canvas as bought, which lies on the table's near edge."""
    short_from_end: float
    """From its squared zero end, which lies across the zero corner."""
    legs: tuple[float, float, float]
    """Along, across and the slope between: 4, 3 and 5 parts."""


class Canvas(Struct, frozen=True):
    """The canvas to buy."""

    cut: tuple[float, float]
    """Length off the roll, both ends to be squared in it, and the least width."""
    bought_width: float
    seam: Seam | None
    hangs_over: float
    """From the edge of the top to the raw edge, once stretched: thickness and wrap."""
    top: Box
    """The box round the real top."""
    slack: tuple[float, float]
    """Slack length over finished length, along and across."""
    lines: ReferenceLines
    squaring: float
    """Of its length, what each end gives up to be squared."""

    @property
    def width(self) -> float:
        """From side to side as it is laid on: as bought, or with its strip sewn on."""
        return self.bought_width if self.seam is None else self.cut[1]

    @property
    def top_below(self) -> Box:
        """The box round the top as it comes to lie under the slack canvas, in the canvas's frame:
        origin at the raw corner of zero end and near side."""
        x = self.squaring + self.lines.short_from_end
        y = self.lines.long_from_near_side
        x0, y0, x1, y1 = self.top
        along, across = self.slack
        return (x + x0 * along, y + y0 * across, x + x1 * along, y + y1 * across)

    @property
    def seam_on_canvas(self) -> float | None:
        """The seam's distance from the near side of the slack canvas."""
        if self.seam is None:
            return None
        return self.lines.long_from_near_side + self.seam.y * self.slack[1]


def hangs_over(cover: CoverTable) -> float:
    """How much canvas there is beyond each edge of the top, once stretched."""
    goes_down = cover.thickness if cover.fastened == "underneath" else cover.thickness / 2
    return goes_down + cover.wrap


def canvas_for(layout: Layout, job: MarkingJob) -> Canvas:
    """The canvas that covers the top of `layout`, fastened as the job says.

    Raises RefusedError where no width sold leaves a seam a place clear of the marks.
    """
    cover = job.cover
    along, across = layout.slack
    corners = layout.top.corners_table / layout.slack
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    over, squaring = hangs_over(cover), SQUARING[job.units]
    length = (x1 - x0 + 2 * over) * along + 2 * squaring
    width = (y1 - y0 + 2 * over) * across
    served = [one for one in sorted(cover.widths) if one >= width - _SAME]
    seam, bought = None, served[0] if served else 0.0
    if not served:
        bought, y = _seamed(layout, job, y0 - over, y1, y1 + over)
        seam = Seam(y, (length, (y1 + over - y) * across + SEWN[job.units]))
    spare = (bought - width) / 2 if seam is None else 0.0
    return Canvas(
        (length, width),
        bought,
        seam,
        over,
        (x0, y0, x1, y1),
        (along, across),
        ReferenceLines(spare + (over - y0) * across, (over - x0) * along, _legs(x1, y1, job.units)),
        squaring,
    )


def _seamed(
    layout: Layout, job: MarkingJob, near: float, edge: float, far: float
) -> tuple[float, float]:
    """The width to buy and the y of the seam, as far out as it reaches."""
    across, sewn = layout.slack[1], SEWN[job.units]
    ink = max(
        float(stroke.points[:, 1].max()) / across + job.pens.named(stroke.pen).width / 2
        for stroke in layout.strokes
    )
    least = ink + _CLEAR
    if least > edge - _CLEAR:
        least = max(least, edge + _CLEAR)
    for bought in sorted(job.cover.widths):
        y = min(near + (bought - sewn) / across, far - _LEAST_STRIP)
        if abs(y - edge) < _CLEAR - _SAME:
            y = edge - _CLEAR
        if y >= least - _SAME:
            return bought, y
    units = job.units
    enough = (least - near) * across + sewn
    raise RefusedError(
        f"cover.widths: the top with its wrap takes canvas "
        f"{format_length((far - near) * across, units)} wide, and the widest named is "
        f"{format_length(max(job.cover.widths), units)}: a seam would cross the marks. Have a "
        f"wider canvas woven or sewn for you and add its width (from {_up(enough, job.units)} a "
        "strip in the wrap does for the rest), or make cover.wrap less"
    )


def _up(length: float, units: Units) -> str:
    """Rounded up to what a person orders by: whole inches or centimetres."""
    step = 25.4 if units == "in" else 10.0
    return format_length(-(-(length - _SAME) // step) * step, units)


def _legs(length: float, width: float, units: Units) -> tuple[float, float, float]:
    """The largest 4-3-5 in whole feet or in parts of 10 cm that the top takes."""
    part = 304.8 if units == "in" else 100.0
    parts = max(1.0, min(length // (4 * part), width // (3 * part)))
    return 4 * parts * part, 3 * parts * part, 5 * parts * part
