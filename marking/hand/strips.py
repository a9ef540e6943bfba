"""The strips that a margin is printed on: which lines each carries, and where the tape lays it.

Each is laid by its own two readings from the one zero and never to the strip before it. A strip's
own frame: u along it from the left of whoever stands at its side, v away from the first long line
towards the table's edge, both in mm, u = v = 0 where the strip's first line on the left meets the
first long line. It knows the layout and a tape; it draws nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import BadInputError
from marking.hand.readings import SIDES, cross_ticks
from marking.job.keys import tape_of
from marking.measures.lengths import format_length
from marking.measures.tape import tape_reading
from marking.ways.by_hand import lines_a_strip
from marking.ways.hand_errors import HandDoubts, strip_ticks_hold
from marking.ways.ink_counted import cover_of
from marking.ways.tape_scale import tape_scale_most

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.arrays import FloatArray
    from marking.hand.readings import CrossTick
    from marking.job.keys import MarkingJob, PaperSize
    from marking.layout.layout import Layout
    from marking.layout.lines import Side
    from marking.layout.numerals import Numeral
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

CHECK = {"in": 152.4, "mm": 150.0}
"""The check length on every strip: a common steel rule's."""
_MOST_SCALE = 0.05
"""Past which no printer is off by itself: the page was fitted to the sheet."""


class StripTick(Struct, frozen=True):
    """A line on a strip."""

    u: float
    name: str
    reading: float
    """What the tape shows from the zero line."""
    heavy: bool
    half: bool
    """A half tick, which runs inwards from the first long line for a quarter of a pitch."""
    out: float = 0.0
    """v at which it ends, for a half tick or one of a scale in the other unit."""


class Strip(Struct, frozen=True):
    """One printed length of margin."""

    side: Side
    number: int
    """From the zero line, 1 first."""
    of: int
    ticks: tuple[StripTick, ...]
    """By u: at the far side the numbers run down."""
    numerals: tuple[tuple[FloatArray, ...], ...]
    """The centre lines of each numeral, (n, 2) of u and v: upright to whoever stands there."""
    left: float
    """u at which it begins: half a pitch before its first line."""
    right: float
    deep: float
    """v at which it may be cut off: below all numerals."""

    @property
    def laid_by(self) -> tuple[StripTick, StripTick]:
        """The two ticks, left and right, that are laid to readings of the tape."""
        whole = [tick for tick in self.ticks if not tick.half]
        return whole[0], whole[-1]


class Strips(Struct, frozen=True):
    """All strips of a cover."""

    strips: tuple[Strip, ...]
    scale: float
    """How much larger than true they are drawn, so that the printer prints them true."""
    tick_holds: float
    """mm: 95 of 100 covers have no tick further from where it counts to."""
    gap_holds: float
    """mm: and no gap between two ticks beside each other further off."""
    numeral_width: float
    """mm of ink."""


def strips_of(
    layout: Layout, job: MarkingJob, paper: PaperSize, measured: float | None = None
) -> Strips:
    """The strips for `paper`, near side first, from the zero line.

    `measured` is what a printed check length came out as. Raises BadInputError for a scale that no
    printer has by itself.
    """
    tape = tape_of(job.tape)
    ticks = cross_ticks(layout, job.units, tape)
    pitch = layout.grid.pitch[0]
    each = lines_a_strip(paper, pitch, len(layout.grid.cross_x))
    strips = [strip for side in SIDES for strip in _along(side, layout, ticks, each, tape)]
    cover = cover_of(layout)
    doubts = HandDoubts(tape_scale_most(tape))
    tick, gap = strip_ticks_hold(cover.line_x, each * pitch, pitch, doubts)
    scale = printed_scale(measured, job.units) if measured is not None else 1.0
    return Strips(tuple(strips), scale, tick, gap, job.pens.numerals.width)


def printed_scale(measured: float, units: Units) -> float:
    """How much larger to draw, where the check length came out of the printer `measured` mm long.

    Raises BadInputError past 5 %.
    """
    nominal = CHECK[units]
    scale = nominal / measured
    if not 1 - _MOST_SCALE <= scale <= 1 + _MOST_SCALE:
        shown, true = format_length(measured, units), format_length(nominal, units)
        raise BadInputError(
            f"--measured {shown}: the check length is {true}, and no printer is off by more than "
            f"{_MOST_SCALE:.0%} by itself. Print again at 100 %, with nothing like “fit to page” "
            "set, and measure the line marked check, end tick to end tick"
        )
    return scale


def _along(
    side: Side, layout: Layout, ticks: tuple[CrossTick, ...], each: int, tape: Tape
) -> Iterator[Strip]:
    """The strips of one side, `each` lines on one at most, and as many on the last as there can be:
    between two readings close together nothing could be written."""
    xs, pitch = layout.grid.cross_x, layout.grid.pitch[0]
    count = -(-len(xs) // each)
    y = layout.grid.long_lines[0 if side == "near" else -1].y
    numerals = [
        placed.numeral
        for placed in layout.numerals
        if placed.numeral.side == side and placed.numeral.row in ("margin", "second", "other")
    ]
    halves = [
        float(stroke.points[0, 0])
        for stroke in layout.strokes
        if stroke.id.startswith(f"tick-{side}-")
    ]
    scale = [stroke.points for stroke in layout.strokes if stroke.id.startswith(f"scale-{side}-")]
    deep = max((_deep(numeral, y) for numeral in numerals), default=0.0)
    for place, lines in enumerate(np.array_split(xs, count)):
        x0, x1 = float(lines[0]), float(lines[-1])
        low, high = x0 - pitch / 2, x1 + pitch / 2
        # The person at the far side sees the table turned half round.
        way, origin = (1.0, x0) if side == "near" else (-1.0, x1)
        own = [
            StripTick(way * (tick.x - origin), tick.name, tick.reading, tick.heavy, half=False)
            for tick in ticks
            if low <= tick.x < high
        ]
        own += [
            StripTick(way * (x - origin), "", tape_reading(x - float(xs[0]), tape), False, True)
            for x in halves
            if low <= x < high
        ]
        own += [
            StripTick(
                way * (x - origin),
                "",
                tape_reading(x - float(xs[0]), tape),
                False,
                True,
                abs(float(end[1]) - y),
            )
            for (x, _), end in ((points[0].tolist(), points[1]) for points in scale)
            if low <= x < high
        ]
        yield Strip(
            side,
            place + 1,
            count,
            tuple(sorted(own, key=lambda tick: tick.u)),
            tuple(
                tuple((way * (points - (origin, y))) * (1.0, -1.0) for points in one.strokes_table)
                for one in numerals
                if low <= one.at_table[0] < high
            ),
            -pitch / 2,
            x1 - x0 + pitch / 2,
            deep,
        )


def _deep(numeral: Numeral, y: float) -> float:
    """How far the outer edge of a numeral's ink lies from the first long line."""
    _, low, _, high = numeral.box_table
    return max(abs(low - y), abs(high - y))


def check_said(units: Units) -> str:
    """The check length as it stands on a strip."""
    return format_length(CHECK[units], units)
