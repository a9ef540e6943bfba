"""The rows and columns of sections: where each begins, and where its device is set down.

One axis at a time; table frame, millimetres. It knows what a zone reaches, no strokes.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.measures.lengths import INCH, format_length
from marking.sections import joins as parting

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.sections.joins import Axis, Join
    from marking.sections.zones import Zone


class Span(Struct, frozen=True):
    """One row or column of sections along its axis."""

    core: tuple[float, float]
    window: tuple[float, float]
    behind: float | None
    """Where it sees the marks of the one before; None for the first, or when out of sight."""


def usable(along: Axis, zone: Zone, dimension: int, layout: Layout) -> float:
    """How much of the axis one setup holds, in mm; a roll's setup need not outrun the cloth."""
    size = zone.size[dimension]
    if zone.feed == dimension:
        top = layout.top.inscribed[dimension + 2]
        size = min(size, max(top, along.end + zone.set_down) + zone.set_down)
    return size - 2 * zone.set_down


def spans_along(
    along: Axis, zone: Zone, dimension: int, units: Units, layout: Layout
) -> list[Span]:
    """The rows or columns of sections along one axis.

    Raises RefusedError, with the place that no join lets through, when some part cannot be held.
    """
    rect = layout.top.inscribed
    top = rect[dimension], rect[dimension + 2]
    held = usable(along, zone, dimension, layout)
    size = held + 2 * zone.set_down
    joins = parting.choose(along, held)
    if joins is None:
        raise RefusedError(_too_small(along, size, zone, dimension, units))
    spans = []
    for start, end, mark in _parts(along, joins):
        needed = (start if mark is None else mark, end)
        low = _set_down_at(needed, size, zone.set_down, top, units)
        spans.append(Span((start, end), (low, low + size), mark))
    return spans


def _parts(
    along: Axis, joins: Sequence[Join], seen: float | None = None
) -> Iterator[tuple[float, float, float | None]]:
    """Start, end and marks behind of each part; `seen` is what the first sees."""
    starts = [along.start, *(join.at for join in joins)]
    ends = [*(join.at for join in joins), along.end]
    return zip(starts, ends, [seen, *(join.behind for join in joins)], strict=True)


def _too_small(along: Axis, size: float, zone: Zone, dimension: int, units: Units) -> str:
    """What one setup would have to hold at least, where it first cannot."""
    low, high = parting.widest_whole(along)
    way = "across" if dimension else "along"
    free = f", less {format_length(zone.set_down, 'mm')} each side for setting it down,"
    return (
        f"{zone.name}: {format_length(size, units)} {way} the table"
        f"{free if zone.set_down else ''} is too little. One section must hold all that lies from "
        f"{format_length(low, units)} to {format_length(high, units)} {way} it: lines and "
        "numerals leave no bare cloth there for a join, and each section must see marks before "
        f"its own. Use one that reaches {format_length(high - low + 2 * zone.set_down, units)} "
        f"or more {way}"
    )


def _set_down_at(
    needed: tuple[float, float],
    size: float,
    set_down: float,
    top: tuple[float, float],
    units: Units,
) -> float:
    """Where a window begins: what it needs in the middle, on the top, at a plain tape reading."""
    least, most = needed[1] + set_down - size, needed[0] - set_down
    wanted = (least + most) / 2
    wanted = max(min(wanted, top[1] - size), top[0])
    return _plain_reading(least, most, max(min(wanted, most), least), units)


def _plain_reading(least: float, most: float, wanted: float, units: Units) -> float:
    """The plainest tape reading from `least` to `most`, near `wanted`."""
    steps = (
        [float(INCH * Fraction(1, parts)) for parts in (2, 4, 8, 16, 32)]
        if units == "in"
        else [10.0, 5.0, 1.0, 0.5]
    )
    for step in steps:
        plain = round(wanted / step) * step
        for candidate in (plain, math.ceil(least / step) * step, math.floor(most / step) * step):
            if least <= candidate <= most and abs(candidate - wanted) <= step:
                return candidate
    return wanted


def rows_of_bands(
    across: Axis, middle: tuple[float, float], zone: Zone, units: Units, layout: Layout
) -> tuple[list[Span], int]:
    """Rows over the two hem bands alone, and the fewest there can be; `middle` is left bare.

    The first row of each band sees nothing inked. Raises RefusedError as `spans_along` does.
    """
    bands = across.part(across.start, middle[0]), across.part(middle[1], across.end)
    if not zone.from_both_edges:
        rows = [span for band in bands for span in spans_along(band, zone, 1, units, layout)]
        held = zone.size[1] - 2 * zone.set_down
        return rows, sum(parting.least_parts(band, held) for band in bands)
    top = layout.top.inscribed[3]
    deepest = max(middle[0], top - middle[1])
    if deepest > zone.depth:
        raise RefusedError(
            f"{zone.name}: the hem bands and the stubs of the cross lines go "
            f"{format_length(deepest, units)} in, and an arm's reach is "
            f"{format_length(zone.depth, units)}; use a deeper reach.depth or narrower bands"
        )
    sides = (0.0, zone.depth), (top - zone.depth, top)
    rows = [
        span
        for band, side in zip(bands, sides, strict=True)
        for span in _rows_of_side(band, zone, side, units)
    ]
    return rows, sum(parting.least_parts(band, zone.size[1]) for band in bands)


def rows_from_both_edges(
    across: Axis, zone: Zone, units: Units, layout: Layout
) -> tuple[list[Span], tuple[float, float] | None, int]:
    """Rows worked from the near and from the far edge, and the strip between that neither reaches.

    An arm inks each side in one row; a beam with a lower picture takes several.
    """
    depth, top = zone.depth, layout.top.inscribed[3]
    near_side, far_side = (0.0, depth), (top - depth, top)
    if across.end <= depth:
        rows = _rows_of_side(across, zone, near_side, units)
        return rows, None, parting.least_parts(across, zone.size[1])
    shared = _shared_join(across, zone, far_side[0])
    if shared is not None:
        seen = shared.behind if shared.behind >= far_side[0] else None
        gap = (shared.at, shared.at)
    else:
        near = [c.high for c in across.between(across.start, depth).cloth]
        far = [c.low for c in across.between(far_side[0], across.end).cloth]
        if not near or not far:
            raise RefusedError(
                "reach.depth is less than the margin and the first long lines take; "
                "no line can be inked from the edge"
            )
        seen, gap = None, (near[-1], far[0])
    near_part = across.part(across.start, gap[0])
    far_part = across.part(gap[1], across.end)
    rows = [
        *_rows_of_side(near_part, zone, near_side, units),
        *_rows_of_side(far_part, zone, far_side, units, seen),
    ]
    if shared is None:
        bound = sum(parting.least_parts(part, zone.size[1]) for part in (near_part, far_part))
        return rows, gap, bound
    return rows, None, max(2, math.ceil((across.end - across.start) / zone.size[1] - 1e-9))


def rows_from_near_edge(
    across: Axis, zone: Zone, units: Units
) -> tuple[list[Span], tuple[float, float] | None, int]:
    """Rows worked from the near edge alone, and the strip beyond that nobody reaches from there."""
    side = (0.0, zone.depth)
    if across.end <= zone.depth:
        rows = _rows_of_side(across, zone, side, units)
        return rows, None, parting.least_parts(across, zone.size[1])
    reached = across.between(across.start, zone.depth).cloth
    if not reached:
        raise RefusedError(
            "reach.depth is less than the margin and the first long lines take; "
            "no line can be inked from the near edge"
        )
    at = reached[-1].high
    part = across.part(across.start, at)
    rows = _rows_of_side(part, zone, side, units)
    return rows, (at, across.end), parting.least_parts(part, zone.size[1])


def _shared_join(across: Axis, zone: Zone, far_from: float) -> Join | None:
    """The join between what is inked from the near and from the far edge.

    Of those with the fewest rows, one whose marks both sides see, the nearest to the middle.
    """
    within = across.between(far_from, zone.depth)
    if not within.cloth:
        return None
    near_joins = parting.furthest(across.between(across.start, zone.depth), zone.size[1])
    ends = [at for c in within.cloth for at in (c.low, c.high)]
    places = {*within.plain, *ends, *(at for at in near_joins if at >= far_from)}
    middle = (across.start + across.end) / 2
    plain = set(within.plain)

    def cost(join: Join) -> tuple[float, bool, bool, float, float, float]:
        seen = join.behind >= far_from
        near = parting.fewest(across.part(across.start, join.at), zone.size[1])
        far = parting.fewest(_held(across.part(join.at, across.end), join, seen), zone.size[1])
        rows = math.inf if near is None or far is None else near + far
        return rows, not seen, join.at not in plain, abs(join.at - middle), join.at, join.behind

    return min((across.join(at, near=near) for at in places for near in (False, True)), key=cost)


def _held(part: Axis, join: Join, seen: bool) -> Axis:
    """What the far side's first row has to hold: `part`, and the marks before it if seen."""
    return replace(part, start=min(join.behind, part.start)) if seen else part


def _rows_of_side(
    part: Axis,
    zone: Zone,
    side: tuple[float, float],
    units: Units,
    seen: float | None = None,
) -> list[Span]:
    """The rows that `part` takes, every window within `side`; the first sees marks at `seen`."""
    size = zone.size[1]
    if size >= side[1] - side[0]:
        return [Span((part.start, part.end), side, seen)]
    held = part if seen is None else replace(part, start=min(seen, part.start))
    joins = parting.choose(held, size)
    if joins is None:
        raise RefusedError(_too_small(held, size, zone, 1, units))
    spans = []
    for start, end, mark in _parts(part, joins, seen):
        least = max(end - size, side[0])
        most = min(start if mark is None else mark, side[1] - size)
        low = _plain_reading(least, most, (least + most) / 2, units)
        spans.append(Span((start, end), (low, low + size), mark))
    return spans
