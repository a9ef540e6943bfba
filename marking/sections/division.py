"""Divides the marking into columns and rows for one zone, its bed whichever way round needs fewer.

It knows where ink lies and what a zone reaches; it cuts no stroke. Table frame, millimetres.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.layout.clear_places import apart
from marking.layout.layout import levels, uprights
from marking.layout.middle_row import parted_by
from marking.measures.lengths import format_length
from marking.sections import joins as parting
from marking.sections.ruled import bare_middle
from marking.sections.spans import (
    rows_from_both_edges,
    rows_from_near_edge,
    rows_of_bands,
    spans_along,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box
    from marking.job.keys import MarkingJob, PensTable
    from marking.layout.layout import Layout, Stroke
    from marking.measures.lengths import Units
    from marking.sections.joins import Axis
    from marking.sections.spans import Span
    from marking.sections.zones import Zone


class Division(Struct, frozen=True):
    """The columns and rows of sections, and the strip that nobody reaches."""

    zone: Zone
    """As its device is set down: turned a quarter or not."""
    columns: list[Span]
    rows: list[Span]
    gap: tuple[float, float] | None
    """Along y, between two rows that do not meet."""
    ruled: bool = False
    """Whether lines are ruled across `gap`; otherwise nobody reaches there."""

    @property
    def count(self) -> int:
        """How many sections that makes."""
        return len(self.columns) * len(self.rows)


def divisions(
    layout: Layout, job: MarkingJob, zone: Zone
) -> tuple[list[Division], tuple[int, int], Axis]:
    """The ways to divide `layout` for `zone`, the one with the fewest sections first.

    With them the columns and the rows that no way could do with fewer of, and the axis across.
    Of equals, the bed as its profile has it comes first. Raises RefusedError, for the bed as its
    profile has it, when it can be divided neither way.
    """
    along, across = axes(layout, job.pens)
    found: list[Division] = []
    bounds: list[tuple[int, int]] = []
    refusals: list[RefusedError] = []
    for way in zone.ways_round:
        try:
            division, bound = _divided(layout, job, way, along, across)
        except RefusedError as refusal:
            refusals.append(refusal)
        else:
            found.append(division)
            bounds.append(bound)
    if not found:
        raise _middle_row_named(refusals[0], layout, job, zone)
    columns, rows = zip(*bounds, strict=True)
    return sorted(found, key=lambda one: one.count), (min(columns), min(rows)), across


def _middle_row_named(
    refusal: RefusedError, layout: Layout, job: MarkingJob, zone: Zone
) -> RefusedError:
    """`refusal`, with the row of numerals in the middle named where it alone is in the way."""
    others = tuple(one for one in layout.numerals if one.numeral.row != "middle")
    if len(others) == len(layout.numerals):
        return refusal
    without = replace(layout, numerals=others)
    along, across = axes(without, job.pens)
    for way in zone.ways_round:
        with suppress(RefusedError):
            _divided(without, job, way, along, across)
            return RefusedError(
                f"{refusal}. The numerals in the middle stand there "
                f"(numerals.middle_every = {job.numerals.middle_every}). {parted_by(job)}"
            )
    return refusal


def _divided(
    layout: Layout, job: MarkingJob, zone: Zone, along: Axis, across: Axis
) -> tuple[Division, tuple[int, int]]:
    if zone.feed is not None:
        _check_goes_through(layout.top.inscribed, zone, (along, across)[1 - zone.feed], job.units)
    columns = spans_along(along, zone, 0, job.units, layout)
    bound_columns = parting.least_parts(along, zone.size[0] - 2 * zone.set_down)
    middle = bare_middle(layout, job, zone)
    gap: tuple[float, float] | None = middle
    if middle is not None:
        rows, bound_rows = rows_of_bands(across, middle, zone, job.units, layout)
    elif zone.from_both_edges and job.table.against_wall:
        rows, gap, bound_rows = rows_from_near_edge(across, zone, job.units)
    elif zone.from_both_edges:
        rows, gap, bound_rows = rows_from_both_edges(across, zone, job.units, layout)
    else:
        rows = spans_along(across, zone, 1, job.units, layout)
        bound_rows = parting.least_parts(across, zone.size[1] - 2 * zone.set_down)
    return Division(zone, columns, rows, gap, middle is not None), (bound_columns, bound_rows)


def _check_goes_through(rect: Box, zone: Zone, carriage: Axis, units: Units) -> None:
    """Loose canvas is inked from edge to edge or not at all: nothing comes back beside it."""
    over = 1 - (zone.feed or 0)
    cover = rect[over + 2] - rect[over]
    takes = zone.widest_cloth if zone.widest_cloth is not None else zone.size[over]
    inks = zone.size[over] - 2 * zone.set_down
    ink = carriage.end - carriage.start
    if cover <= takes and ink <= inks:
        return
    shown = [format_length(length, units) for length in (takes, cover, inks, ink)]
    through, larger = (
        ("drawn over its own bed, and the opening over that", "machine")
        if zone.own_bed
        else ("fed through it, and its carriage", "carriage")
    )
    why = (
        f"takes canvas {shown[0]} wide, and this cover is {shown[1]} wide, with what wraps over "
        f"the table's edges still to come. Use a {larger} that takes {shown[1]} and the wrap"
        if cover > takes
        else f"inks {shown[2]} of the canvas's width, and this marking is {shown[3]} wide. Use a "
        f"{larger} that inks {shown[3]}, or wider margins at the edges along it"
    )
    raise RefusedError(
        f"plotter: loose canvas is {through} {why}, or an open frame that stands on "
        'the stretched cover (plotter.profile = "flatbed-24x36"), or mark it by hand (--for reach)'
    )


def axes(layout: Layout, pens: PensTable) -> tuple[Axis, Axis]:
    """The marking along the table and across it, and where it may be parted."""
    x0, y0, x1, y1 = _ink_extent(layout.strokes, pens)
    grid = layout.grid
    taken = [placed.numeral.box_table for placed in layout.numerals]
    across = parting.axis(
        (y0, y1),
        levels(layout.strokes, pens),
        grid.pitch[1],
        [line.y for line in grid.long_lines],
        apart((box[1], box[3]) for box in taken),
        ticks_between=True,
    )
    boxes = apart((box[0], box[2]) for box in taken)
    return _along(layout, pens, (x0, x1), boxes), across


def _along(
    layout: Layout,
    pens: PensTable,
    extent: tuple[float, float],
    boxes: Sequence[tuple[float, float]],
) -> Axis:
    """The axis along the table, with the boxes that no join may enter.

    Marks stand on numbered cross lines alone, whatever other upright ink comes between.
    """
    grid = layout.grid
    return parting.axis(
        extent,
        uprights(layout.strokes, pens),
        grid.pitch[0],
        grid.cross_x.tolist(),
        boxes,
        ticks_between=False,
    )


def _ink_extent(strokes: Sequence[Stroke], pens: PensTable) -> Box:
    """x0, y0, x1, y1 of all ink, pen width included."""
    boxes = []
    for pen in ("lines", "heavy", "numerals"):
        drawn = [stroke.path for stroke in strokes if stroke.pen == pen]
        if drawn:
            points = np.concatenate(drawn)
            half = pens.named(pen).width / 2
            boxes.append([*(points.min(axis=0) - half), *(points.max(axis=0) + half)])
    edges = np.array(boxes)
    low, high = edges[:, :2].min(axis=0), edges[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
