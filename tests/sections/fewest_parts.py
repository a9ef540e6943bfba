"""The fewest sections that any division makes, by trying every place a join may have.

Written from the rules alone: it reads `layout --json` and the sizes that a profile declares, and
knows nothing of how the program divides. A join is tried at every twentieth of a millimetre, and
nothing is taken for granted of which is best.

The rules, as `section --help` gives them. A join keeps clear of every upright (or level) line's
own ink by 1 1/4 mm, so that a tick across the line shows beside it, or by two fifths of the cloth
between lines that stand closer; and of every numeral by a tenth of a millimetre. A section after
the first holds, with its own part, marks before its join: on the last cross line, or on the last
long line, or a tick across the cross lines that keeps 3 mm (or half a pitch, if less) from join
and long line. What a device is set down within is kept free all round.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Counts = NDArray[np.int64]

OFF_INK, OFF_NARROW, OFF_NUMERAL, OFF_TICK = 1.25, 0.4, 0.1, 3.0
STEP = 0.05
EPSILON = 1e-6
NEVER = 100_000
"""More parts than any marking has."""


class Line(Struct, frozen=True):
    """One axis of the marking: from the first ink to the last, and where it may be parted."""

    start: float
    end: float
    places: Array
    """Every place tried for a join, rising."""
    behind: Array
    """For each, the nearest that marks before it can stand."""


class Reach(Struct, frozen=True):
    """What one setup reaches, as profile and job say it. Millimetres, along and across."""

    size: tuple[float, float]
    free: float = 0.0
    """Kept free all round."""
    turns: bool = False
    """Whether it may be set down turned a quarter."""
    depth: float | None = None
    """How far in from either long edge an arm works; None for a device that needs no arm."""
    carriage: int | None = None
    """The axis along a roll's carriage: the cover goes through whole, or not at all."""
    widest: float = 0.0
    """The widest cloth that goes through it."""


def fewest(layout: Mapping[str, Any], pens: Mapping[str, float], pitch: float, reach: Reach) -> int:
    """The fewest sections for `layout`, a record of `layout --json`; 0 when none will do.

    `pens` are their widths, `pitch` the grid's, all in mm.
    """
    lines = along(layout, pens, pitch), across(layout, pens, pitch)
    top = layout["fit"]["top"]["inscribed"]
    found = [_sections(lines, top, reach)]
    if reach.turns:
        turned = Reach(reach.size[::-1], reach.free, carriage=reach.carriage, widest=reach.widest)
        if reach.carriage is not None:
            turned = Reach(turned.size, reach.free, False, None, 1 - reach.carriage, reach.widest)
        found.append(_sections(lines, top, turned))
    return min((count for count in found if count), default=0)


def _sections(lines: tuple[Line, Line], top: list[float], reach: Reach) -> int:
    held = [size - 2 * reach.free for size in reach.size]
    if reach.carriage is not None:
        a = reach.carriage
        if top[a + 2] - top[a] > reach.widest or lines[a].end - lines[a].start > held[a] + EPSILON:
            return 0
    columns = parts(lines[0], held[0])
    if reach.depth is None:
        return columns * parts(lines[1], held[1])
    return columns * rows_by_arm(lines[1], top[3], reach.depth, held[1])


def parts(line: Line, size: float) -> int:
    """The fewest parts of a `line` that hold, each, the marks before them; 0 when none will do."""
    if line.end - line.start <= size + EPSILON:
        return 1
    before = parts_before(line, size)
    last = line.end - line.behind <= size + EPSILON
    count = int(before[last].min(initial=NEVER)) + 1
    return count if count <= NEVER else 0


def parts_before(line: Line, size: float) -> Counts:
    """For each place of a join, the fewest parts from the start up to it."""
    counts = np.full(len(line.places), NEVER)
    for count in range(1, NEVER):
        needed = np.where(counts < NEVER, line.behind, -np.inf)
        # Of all joins before a place, the one whose marks are nearest to it.
        nearest = np.maximum.accumulate(np.append(line.start, needed[:-1]))
        new = (line.places - nearest <= size + EPSILON) & (counts == NEVER)
        if not new.any():
            break
        counts[new] = count
    return counts


def parts_after(line: Line, size: float, needed: Array) -> Counts:
    """For each place of a join, the fewest parts from it to the end, its first holding `needed`.

    The parts after that one hold the marks before them.
    """
    counts = np.full(len(line.places), NEVER)
    counts[line.end - line.behind <= size + EPSILON] = 1
    first = np.where(line.end - needed <= size + EPSILON, 1, NEVER)
    for count in range(2, NEVER):
        ends = np.where(counts == count - 1, line.places, np.inf)
        # Of all joins after a place, the nearest from which the rest is held.
        nearest = np.minimum.accumulate(np.append(ends[1:], np.inf)[::-1])[::-1]
        new = (nearest - line.behind <= size + EPSILON) & (counts == NEVER)
        starts = (nearest - needed <= size + EPSILON) & (first == NEVER)
        if not new.any() and not starts.any():
            break
        counts[new], first[starts] = count, count
    return first


def rows_by_arm(line: Line, top: float, depth: float, size: float) -> int:
    """The fewest rows from both long edges; what lies between them out of reach is nobody's."""
    if line.end <= depth:
        return parts(line, size)
    near, far = line.places <= depth, line.places >= top - depth
    if not near.any() or not far.any():
        return 0
    below = Line(line.start, line.end, line.places[near], line.behind[near])
    above = Line(line.start, line.end, line.places[far], line.behind[far])
    # Marks that the far side's reach does not come to are set out by tape instead.
    seen = np.where(above.behind >= top - depth, above.behind, above.places)
    up_to, after = parts_before(below, size), parts_after(above, size, seen)
    if not (near & far).any():
        total = int(up_to[-1] + after[0])
    else:
        total = int((up_to[far[near]] + after[near[far]]).min())
    return total if total < NEVER else 0


def along(layout: Mapping[str, Any], pens: Mapping[str, float], pitch: float) -> Line:
    """The marking along the table: joins between upright lines, marks on the cross lines."""
    upright = _straight(layout, pens, 0, ("cross", "hem", "tick"))
    marked = np.array(sorted(x for x, _ in _straight(layout, pens, 0, ("cross",))))
    boxes = [(n["box"][0], n["box"][2]) for n in layout["numerals"]]
    start, end = _extent(layout, pens, 0)
    places = _free(upright, boxes)
    places = places[places > marked[0]]
    return Line(start, end, places, marked[np.searchsorted(marked, places) - 1])


def across(layout: Mapping[str, Any], pens: Mapping[str, float], pitch: float) -> Line:
    """The marking across the table: joins between long lines, marks on them or beside them."""
    level = _straight(layout, pens, 1, ("long", "hem"))
    start, end = _extent(layout, pens, 1)
    places = _free(level, [])
    ys = np.array(sorted({y for y, _ in level}))
    last = ys[np.searchsorted(ys, places) - 1]
    off = min(OFF_TICK, pitch * layout["fit"]["slack"]["across"] / 2)
    return Line(
        start, end, places, np.where(places - last >= 2 * off - EPSILON, places - off, last)
    )


def _straight(
    layout: Mapping[str, Any], pens: Mapping[str, float], axis: int, layers: Iterable[str]
) -> list[tuple[float, float]]:
    """Where straight lines stand across the axis, each with its ink's width."""
    return [
        (stroke["points"][0][axis], pens[stroke["pen"]])
        for stroke in layout["strokes"]
        if stroke["layer"] in layers and len({point[axis] for point in stroke["points"]}) == 1
    ]


def _free(lines: list[tuple[float, float]], boxes: list[tuple[float, float]]) -> Array:
    """Every place tried between the first line and the last that is clear of ink and numerals."""
    ink = sorted((at - width / 2, at + width / 2) for at, width in set(lines))
    tried = []
    for (_, low), (high, _) in itertools.pairwise(ink):
        if low < high:
            off = min(OFF_INK, OFF_NARROW * (high - low))
            a, b = low + off, high - off
            tried.append(np.append(np.arange(a, b, STEP), b))
    places = np.concatenate(tried) if tried else np.empty(0)
    lows = np.array(sorted({low - OFF_NUMERAL for low, _ in boxes}))
    highs = np.array(sorted({high + OFF_NUMERAL for _, high in boxes}))
    edges = np.concatenate([lows, highs])
    stretches = np.array([(t[0], t[-1]) for t in tried])
    n = np.searchsorted(stretches[:, 0], edges, side="right") - 1
    edges = edges[(n >= 0) & (edges <= stretches[n, 1])]
    places = np.unique(np.concatenate([places, edges]))
    # Inside as many numerals as begin before it and do not end before it.
    inside = np.searchsorted(lows, places) - np.searchsorted(highs, places, side="right")
    return places[inside <= 0]


def _extent(layout: Mapping[str, Any], pens: Mapping[str, float], axis: int) -> tuple[float, float]:
    """From the first ink to the last, pen width included."""
    spans = [
        (min(values) - pens[stroke["pen"]] / 2, max(values) + pens[stroke["pen"]] / 2)
        for stroke in layout["strokes"]
        for values in [[point[axis] for point in stroke["points"]]]
    ]
    return min(low for low, _ in spans), max(high for _, high in spans)
