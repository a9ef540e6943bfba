"""The rows and columns of sections: where each begins, and where its device is set down.

One axis at a time; table frame, millimetres. It knows what a zone reaches, no strokes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from marking import seams
from marking.errors import RefusedError
from marking.lengths import INCH, format_length
from marking.seams import Axis

if TYPE_CHECKING:
    from marking.job import MarkingJob
    from marking.layout import Layout
    from marking.zones import Zone


@dataclass(frozen=True)
class Span:
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
    along: Axis, zone: Zone, dimension: int, job: MarkingJob, layout: Layout
) -> list[Span]:
    """The rows or columns of sections along one axis."""
    rect = layout.top.inscribed
    top = rect[dimension], rect[dimension + 2]
    held = usable(along, zone, dimension, layout)
    size = held + 2 * zone.set_down
    picked = seams.choose(along, held)
    if picked is None:
        raise RefusedError(_too_small(size, zone, dimension, job, layout))
    cuts = [along.seams[index] for index in picked]
    behind = [None, *(along.behind[index] for index in picked)]
    edges = [along.start, *cuts, along.end]
    spans = []
    for start, end, mark in zip(edges, edges[1:], behind, strict=False):
        needed = (start if mark is None else mark, end)
        low = _set_down_at(needed, size, zone.set_down, top, job)
        spans.append(Span((start, end), (low, low + size), mark))
    return spans


def _too_small(size: float, zone: Zone, dimension: int, job: MarkingJob, layout: Layout) -> str:
    return (
        f"{zone.name}: {format_length(size, job.units)} {'across' if dimension else 'along'} "
        f"the table, less {format_length(zone.set_down, 'mm')} each side for setting it down, "
        f"cannot hold one pitch ({format_length(layout.grid.pitch[dimension], job.units)}), its "
        "witness marks and, at the ends, a margin with its numerals; use a larger one, or a "
        "smaller grid.pitch"
    )


def _set_down_at(
    needed: tuple[float, float],
    size: float,
    set_down: float,
    top: tuple[float, float],
    job: MarkingJob,
) -> float:
    """Where a window begins: what it needs in the middle, on the top, at a plain tape reading."""
    least, most = needed[1] + set_down - size, needed[0] - set_down
    wanted = (least + most) / 2
    wanted = max(min(wanted, top[1] - size), top[0])
    return _plain_reading(least, most, max(min(wanted, most), least), job)


def _plain_reading(least: float, most: float, wanted: float, job: MarkingJob) -> float:
    """The plainest tape reading from `least` to `most`, near `wanted`."""
    steps = (
        [float(INCH * Fraction(1, parts)) for parts in (2, 4, 8, 16, 32)]
        if job.units == "in"
        else [10.0, 5.0, 1.0, 0.5]
    )
    for step in steps:
        plain = round(wanted / step) * step
        for candidate in (plain, math.ceil(least / step) * step, math.floor(most / step) * step):
            if least <= candidate <= most and abs(candidate - wanted) <= step:
                return candidate
    return wanted


def rows_from_both_edges(
    across: Axis, zone: Zone, job: MarkingJob, layout: Layout
) -> tuple[list[Span], tuple[float, float] | None, int]:
    """Rows worked from the near and from the far edge, and the strip between that neither reaches.

    An arm inks each side in one row; a beam with a lower picture takes several.
    """
    depth, top = zone.depth, layout.top.inscribed[3]
    near_side, far_side = (0.0, depth), (top - depth, top)
    if across.end <= depth:
        rows = _rows_of_side(across, zone, near_side, job, layout)
        return rows, None, seams.least_parts(across, zone.size[1])
    middle = (across.start + across.end) / 2
    pairs = list(zip(across.seams, across.behind, strict=True))
    shared = [(s, b) for s, b in pairs if s <= depth and s >= top - depth]
    if shared:
        # A seam with marks that both sides see comes first, then the one nearest the middle.
        seam, behind = min(shared, key=lambda p: (p[1] < top - depth, abs(p[0] - middle), p[0]))
        seen, gap = behind if behind >= top - depth else None, (seam, seam)
    else:
        near = [s for s, _ in pairs if s <= depth]
        far = [s for s, _ in pairs if s >= top - depth]
        if not near or not far:
            raise RefusedError(
                "reach.depth is less than the margin and the first long lines take; "
                "no line can be inked from the edge"
            )
        seen, gap = None, (near[-1], far[0])
    near_part = _part(across, across.start, gap[0])
    far_part = _part(across, gap[1], across.end)
    rows = [
        *_rows_of_side(near_part, zone, near_side, job, layout),
        *_rows_of_side(far_part, zone, far_side, job, layout, seen),
    ]
    bound = sum(seams.least_parts(part, zone.size[1]) for part in (near_part, far_part))
    return rows, None if shared else gap, bound


def _part(across: Axis, start: float, end: float) -> Axis:
    """The axis between two of its seams."""
    inside = [
        (seam, mark)
        for seam, mark in zip(across.seams, across.behind, strict=True)
        if start < mark and seam < end
    ]
    return Axis(start, end, tuple(s for s, _ in inside), tuple(b for _, b in inside))


def _rows_of_side(
    part: Axis,
    zone: Zone,
    side: tuple[float, float],
    job: MarkingJob,
    layout: Layout,
    seen: float | None = None,
) -> list[Span]:
    """The rows that `part` takes, every window within `side`; the first sees marks at `seen`."""
    size = zone.size[1]
    if size >= side[1] - side[0]:
        return [Span((part.start, part.end), side, seen)]
    held = part if seen is None else replace(part, start=min(seen, part.start))
    picked = seams.choose(held, size)
    if picked is None:
        raise RefusedError(_too_small(size, zone, 1, job, layout))
    edges = [part.start, *(part.seams[index] for index in picked), part.end]
    behind = [seen, *(part.behind[index] for index in picked)]
    spans = []
    for start, end, mark in zip(edges, edges[1:], behind, strict=False):
        least = max(end - size, side[0])
        most = min(start if mark is None else mark, side[1] - size)
        low = _plain_reading(least, most, (least + most) / 2, job)
        spans.append(Span((start, end), (low, low + size), mark))
    return spans
