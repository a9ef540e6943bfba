"""What the tape reads at every line, from the one zero, with the numeral that each line gets.

Cross lines are read along a side from the zero line, long lines up from the first long line of
their side. It knows the layout and a tape, no paper. Table frame, millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.measures.lengths import format_length
from marking.measures.tape import tape_reading

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.job.keys import GridTable
    from marking.layout.layout import Layout
    from marking.layout.lines import Side
    from marking.layout.numerals import Numeral, Row
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

SIDES: tuple[Side, ...] = ("near", "far")
_CHECKED_EVERY = 12
"""Lines from one check of the count to the next, where no line is heavy."""
_MOST_CHECKS = 14
_ROWS: tuple[Row, ...] = ("margin", "second", "middle", "band", "line")


class CrossTick(Struct, frozen=True):
    """Where one line that runs across the table meets both sides."""

    line: str
    """Id of its stroke."""
    name: str
    """The number of a cross line; of a fold line, what it is for."""
    x: float
    reading: float
    """What the tape shows from the zero line."""
    heavy: bool
    numerals: Mapping[Side, Numeral]
    """What is written at it; sides without one are left out."""


class LongTick(Struct, frozen=True):
    """One line along the table, as it is found from its side."""

    line: str
    reading: float
    """What the tape shows from the side's first long line, square to it."""
    from_edge: tuple[float, float]
    """What it shows from the edge at the zero line and at the last cross line."""
    serves: tuple[str, ...]
    """The hems that are folded to it."""
    dashed: bool = False
    """In dashes half a pitch long, each across a cross line."""
    heavy: bool = False
    runs: tuple[float, float] | None = None
    """What the tape shows from the zero line at both ends of one that runs part of the length."""


class CountCheck(Struct, frozen=True):
    """A check of the count: hold the tape's zero at the table's zero end, and find the line."""

    name: str
    reading: float


class SideWork(Struct, frozen=True):
    """What is done standing at one long side."""

    side: Side
    longs: tuple[LongTick, ...]
    """From the first long line inwards."""
    checks: tuple[CountCheck, ...]
    """Empty for cloth that is marked loose: it has no ends yet."""
    last_to_end: float
    """What the tape shows from the last cross line to the far end."""
    numerals: tuple[Numeral, ...]
    """Of the margin, from the zero line."""
    others: tuple[Numeral, ...]
    """Its other rows, by row and place: a second one in the margin, in the middle, on lines."""
    scale: tuple[CrossTick, ...] = ()
    """The ticks of a scale in the other unit outside the first long line, where the side has one,
    each named by what it counts to."""
    scale_out: float = 0.0
    """How far outwards they run, in mm."""

    @property
    def zero_hand(self) -> str:
        """On which hand of whoever stands there the zero end is."""
        return "left" if self.side == "near" else "right"


def cross_ticks(layout: Layout, units: Units, tape: Tape) -> tuple[CrossTick, ...]:
    """Every line across the table from the zero line on, fold lines where they stand."""
    written: dict[Side, dict[int, Numeral]] = {"near": {}, "far": {}}
    xs = layout.grid.cross_x
    for placed in layout.numerals:
        numeral = placed.numeral
        if numeral.row != "margin":
            continue
        written[numeral.side][int(np.abs(xs - numeral.at_table[0]).argmin())] = numeral
    found = []
    for stroke in layout.strokes:
        kind, _, number = stroke.id.partition("-")
        if stroke.layer == "cross" or stroke.id.startswith("fold-cross-"):
            x = float(stroke.points[0, 0])
            numerals: Mapping[Side, Numeral] = {}
            name = f"fold {format_length((x - float(xs[0])) / layout.slack[0], units)}"
            if kind == "cross":
                name = number
                numerals = {
                    side: by[int(number)] for side, by in written.items() if int(number) in by
                }
            reading = tape_reading(x - float(xs[0]), tape)
            found.append(CrossTick(stroke.id, name, x, reading, stroke.pen == "heavy", numerals))
    return tuple(sorted(found, key=lambda tick: tick.x))


def side_work(
    side: Side, layout: Layout, grid: GridTable, tape: Tape, ticks: Sequence[CrossTick]
) -> SideWork:
    """What is read and checked at `side`."""
    first = layout.grid.long_lines[0 if side == "near" else -1].y
    longs = sorted(_long_ticks(side, layout, tape), key=lambda tick: tick.reading)
    loose = layout.slack != (1.0, 1.0)
    zero, end = _ends_x(first, layout)
    checks = [
        CountCheck(tick.name, tape_reading(tick.x - zero, tape))
        for tick in _to_check(ticks, grid)
        if not loose
    ]
    scale, out = _scale_ticks(side, layout, tape)
    numerals = [tick.numerals[side] for tick in (*ticks, *scale) if side in tick.numerals]
    last = tape_reading(end - float(layout.grid.cross_x[-1]), tape)
    others = [one.numeral for one in layout.numerals]
    others = [one for one in others if one.side == side and one.row not in ("margin", "other")]
    others.sort(key=lambda one: (_ROWS.index(one.row), abs(one.at_table[1] - first), one.at_table))
    return SideWork(
        side, tuple(longs), tuple(checks), last, tuple(numerals), tuple(others), scale, out
    )


def _scale_ticks(side: Side, layout: Layout, tape: Tape) -> tuple[tuple[CrossTick, ...], float]:
    """The ticks of the scale in the other unit along `side`, and how long they are."""
    written = {
        placed.numeral.text: placed.numeral
        for placed in layout.numerals
        if (placed.numeral.row, placed.numeral.side) == ("other", side)
    }
    start = f"scale-{side}-"
    zero, out = float(layout.grid.cross_x[0]), 0.0
    ticks = []
    for stroke in layout.strokes:
        if stroke.id.startswith(start):
            name, x = stroke.id.removeprefix(start), float(stroke.points[0, 0])
            numerals: Mapping[Side, Numeral] = {side: written[name]} if name in written else {}
            reading = tape_reading(x - zero, tape)
            ticks.append(CrossTick(stroke.id, name, x, reading, False, numerals))
            out = stroke.length
    return tuple(ticks), out


def _long_ticks(side: Side, layout: Layout, tape: Tape) -> Iterator[LongTick]:
    """The long lines that are set out from a side, whole ones and parts."""
    lines = layout.grid.long_lines
    first = lines[0 if side == "near" else -1].y
    zero, last = float(layout.grid.cross_x[0]), float(layout.grid.cross_x[-1])
    edges = [_edge_y(side, x, layout) for x in (zero, last)]
    served = _served(layout)

    def tick(line: str, y: float) -> LongTick:
        from_edge = (tape_reading(abs(y - edges[0]), tape), tape_reading(abs(y - edges[1]), tape))
        hems = served.get(line.replace("far", "near"), ())
        return LongTick(line, tape_reading(abs(y - first), tape), from_edge, hems)

    for one in lines:
        if _stands_at(one.y, layout) == side:
            yield replace(tick(one.id, one.y), dashed=one.dashed, heavy=one.pen == "heavy")
    whole = {one.id for one in lines}
    for stroke in layout.strokes:
        (x0, y), (x1, _) = stroke.points[0].tolist(), stroke.points[-1].tolist()
        part = stroke.layer == "long" and stroke.id.startswith("line-") and stroke.id not in whole
        if part and _stands_at(y, layout) == side:
            ends = (tape_reading(x0 - zero, tape), tape_reading(x1 - zero, tape))
            yield replace(tick(stroke.id, y), runs=ends)


def _stands_at(y: float, layout: Layout) -> Side:
    """From which side a line is set out: long lines across the whole width from the nearer."""
    lines = layout.grid.long_lines
    return "near" if y <= (lines[0].y + lines[-1].y) / 2 else "far"


def _served(layout: Layout) -> Mapping[str, tuple[str, ...]]:
    """The hems of each long line, by the near line's id."""
    found: dict[str, list[str]] = {}
    for fold in layout.folds:
        if fold.edge == "side" and fold.line is not None:
            found.setdefault(fold.line, []).append(fold.hem)
    return {line: tuple(dict.fromkeys(hems)) for line, hems in found.items()}


def _to_check(ticks: Sequence[CrossTick], grid: GridTable) -> Sequence[CrossTick]:
    """Numbered lines to check the count at: heavy ones, few enough to check; always the last."""
    numbered = [tick for tick in ticks if tick.name.isdigit()]
    every = grid.heavy_every or _CHECKED_EVERY
    every *= max(1, math.ceil(len(numbered) / every / _MOST_CHECKS))
    picked = numbered[every::every]
    return picked if numbered[-1] in picked else [*picked, numbered[-1]]


def _edge_y(side: Side, x: float, layout: Layout) -> float:
    """Where the edge of a side lies at `x`."""
    corners = layout.top.corners_table
    one, other = (corners[0], corners[1]) if side == "near" else (corners[3], corners[2])
    share = (x - one[0]) / (other[0] - one[0])
    return float(one[1] + share * (other[1] - one[1]))


def _ends_x(y: float, layout: Layout) -> tuple[float, float]:
    """Where the zero end and the far end lie at the height `y`."""
    corners = layout.top.corners_table
    found = []
    for low, high in ((corners[0], corners[3]), (corners[1], corners[2])):
        share = (y - low[1]) / (high[1] - low[1])
        found.append(float(low[0] + share * (high[0] - low[0])))
    return found[0], found[1]
