"""Cuts a layout into the sections that one setup each can ink, in an order that can be inked.

Rows count from the near edge, columns from the zero end; sections are inked along each row from
the zero end, rows from the near edge, so that each sees what was inked before it. Table frame,
millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marking import route, seams
from marking.counts import counted
from marking.cutting import cut
from marking.errors import RefusedError
from marking.layout import Stroke
from marking.lengths import format_length
from marking.spans import rows_from_both_edges, spans_along, usable
from marking.witness import (
    Box,
    Kind,
    Mark,
    Spot,
    crossed_by_ticks,
    marks_below,
    marks_beside,
    tick,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from marking.cutting import Cell
    from marking.job import MarkingJob
    from marking.layout import Layout
    from marking.route import Route
    from marking.seams import Axis
    from marking.spans import Span
    from marking.zones import Zone

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """The part of a stroke that one section inks."""

    stroke: Stroke
    of: str
    """Id of the laid-out stroke, or of the witness mark, that it is part of."""


@dataclass(frozen=True)
class Section:
    """What one setup inks: `core` is what it owns, `window` what the device reaches."""

    id: str
    row: int
    column: int
    order: int
    core: Box
    window: Box
    pieces: tuple[Piece, ...]
    """In the order and direction of inking."""
    witness: tuple[Mark, ...]
    route: Route

    @property
    def ink(self) -> float:
        """Ink length in mm, of one pass."""
        return sum(piece.stroke.length for piece in self.pieces)


@dataclass(frozen=True)
class Unreached:
    """Marking that no setup of the zone can ink."""

    box: Box
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class Plan:
    """A layout cut for one zone."""

    zone: Zone
    sections: tuple[Section, ...]
    """In inking order."""
    bound: tuple[int, int]
    """Columns and rows that no plan could do with fewer of."""
    unreached: tuple[Unreached, ...]
    warnings: tuple[str, ...]

    @property
    def columns(self) -> int:
        """How many sections stand along the table."""
        return max(section.column for section in self.sections)

    @property
    def rows(self) -> int:
        """How many sections stand across the table."""
        return max(section.row for section in self.sections)


def cut_into_sections(layout: Layout, job: MarkingJob, zone: Zone) -> Plan:
    """The plan with the fewest sections for `zone`.

    Raises RefusedError when the zone is too small for a pitch and the strip with its marks.
    """
    along, across = _axes(layout, job)
    columns = _columns(along, zone, job, layout)
    if zone.from_both_edges:
        rows, gap, bound_rows = rows_from_both_edges(across, zone, job, layout)
    else:
        rows, gap = spans_along(across, zone, 1, job, layout), None
        bound_rows = seams.least_parts(across, zone.size[1] - 2 * zone.set_down)
    cells = _pieces_by_cell(layout, columns, rows, gap)
    marks, seen = _witness_marks(layout, job, zone, columns, rows, cells)
    bound_columns = seams.least_parts(along, zone.size[0] - 2 * zone.set_down)
    sections = []
    for order, (row, column) in enumerate(_inking_order(rows, columns), 1):
        window_x, window_y = columns[column].window, rows[row].window
        window = (window_x[0], window_y[0], window_x[1], window_y[1])
        pieces = cells.get((column, row), [])
        routed, drawn = _routed(pieces, job, zone, window)
        sections.append(
            Section(
                _name(row, column),
                row + 1,
                column + 1,
                order,
                _core(columns, rows, row, column),
                window,
                drawn,
                tuple(marks[at] for at in seen[row, column]),
                routed,
            )
        )
    unreached = () if gap is None else (_unreached(layout, gap, cells),)
    return Plan(
        zone,
        tuple(sections),
        (bound_columns, bound_rows),
        unreached,
        tuple(_warnings(unreached, job, zone, across)),
    )


def _axes(layout: Layout, job: MarkingJob) -> tuple[Axis, Axis]:
    x0, y0, x1, y1 = _ink_extent(layout, job)
    grid = layout.grid
    side = layout.numerals[0].numeral.side if layout.numerals else None
    boxes = [
        (placed.numeral.box_table[0], placed.numeral.box_table[2])
        for placed in layout.numerals
        if placed.numeral.side == side
    ]
    ys = np.array([line.y for line in grid.long_lines])
    half_ink = max(job.pens.lines.width, job.pens.heavy.width) / 2
    across = seams.axis(y0, y1, ys, half_ink, grid.pitch[1], [], ys)
    return _along(layout, job, (x0, x1), boxes), across


def _along(
    layout: Layout,
    job: MarkingJob,
    extent: tuple[float, float],
    boxes: Sequence[tuple[float, float]],
) -> Axis:
    """The axis along the table, with the boxes that no seam may enter."""
    grid = layout.grid
    half_ink = max(job.pens.lines.width, job.pens.heavy.width) / 2
    upright = np.sort(np.concatenate([grid.cross_x, grid.extra_x]))
    return seams.axis(*extent, upright, half_ink, grid.pitch[0], boxes, grid.cross_x)


def _ink_extent(layout: Layout, job: MarkingJob) -> Box:
    """x0, y0, x1, y1 of all ink, pen width included."""
    boxes = []
    for pen in ("lines", "heavy", "numerals"):
        drawn = [stroke.points for stroke in layout.strokes if stroke.pen == pen]
        if drawn:
            points = np.concatenate(drawn)
            half = job.pens.named(pen).width / 2
            boxes.append([*(points.min(axis=0) - half), *(points.max(axis=0) + half)])
    edges = np.array(boxes)
    low, high = edges[:, :2].min(axis=0), edges[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _columns(along: Axis, zone: Zone, job: MarkingJob, layout: Layout) -> list[Span]:
    """The columns; a refusal blames the numerals when it is they that leave no seam a way."""
    try:
        return spans_along(along, zone, 0, job, layout)
    except RefusedError:
        without = _along(layout, job, (along.start, along.end), [])
        if seams.choose(without, usable(without, zone, 0, layout)) is None:
            raise
        raise RefusedError(
            "numerals.clear: the numerals stand so close that no seam passes between enough of "
            "them; a larger numerals.clear or a smaller numerals.height lets one through"
        ) from None


def _name(row: int, column: int) -> str:
    return f"r{row + 1}c{column + 1}"


def _inking_order(rows: Sequence[Span], columns: Sequence[Span]) -> Iterator[tuple[int, int]]:
    return ((row, column) for row in range(len(rows)) for column in range(len(columns)))


def _core(columns: Sequence[Span], rows: Sequence[Span], row: int, column: int) -> Box:
    (x0, x1), (y0, y1) = columns[column].core, rows[row].core
    return (x0, y0, x1, y1)


_SAME = 1e-6
_GAP_ROW = -1
"""The row of cells between two rows that do not meet."""


def _pieces_by_cell(
    layout: Layout,
    columns: Sequence[Span],
    rows: Sequence[Span],
    gap: tuple[float, float] | None,
) -> dict[Cell, list[Piece]]:
    """Every piece of every stroke by (column, row) from 0, with `_GAP_ROW` for a gap's."""
    x_seams = [span.core[0] for span in columns[1:]]
    y_seams = sorted([*(span.core[0] for span in rows[1:]), *(gap[:1] if gap else ())])
    names = list(range(len(rows)))
    if gap:
        names.insert(sum(span.core[1] <= gap[0] for span in rows), _GAP_ROW)
    cells: dict[Cell, list[Piece]] = {}
    for stroke in layout.strokes:
        for (column, row), points in cut(stroke.points, x_seams, y_seams):
            named = names[row]
            prefix = "gap" if named == _GAP_ROW else _name(named, column)
            piece = Stroke(f"{prefix}_{stroke.id}", stroke.layer, stroke.pen, points)
            cells.setdefault((column, named), []).append(Piece(piece, stroke.id))
    return cells


def _witness_marks(
    layout: Layout,
    job: MarkingJob,
    zone: Zone,
    columns: Sequence[Span],
    rows: Sequence[Span],
    cells: dict[Cell, list[Piece]],
) -> tuple[dict[Spot, Mark], dict[tuple[int, int], list[Spot]]]:
    """The marks by position, and those each section sees. Adds the ticks to `cells`.

    Raises RefusedError when a section after the first would see fewer than two.
    """
    half_ink = max(job.pens.lines.width, job.pens.heavy.width) / 2
    rooms = _tick_rooms(layout, columns, zone, job.pens.removable.width / 2)
    tickable = crossed_by_ticks(layout.grid, half_ink, (rooms[0][0], rooms[-1][1]))
    kinds: dict[Spot, Kind] = {}
    seen: dict[tuple[int, int], list[Spot]] = {}
    for order, (row, column) in enumerate(_inking_order(rows, columns)):
        sights = _sights(layout, tickable, columns, rows, row, column) if order else []
        seen[row, column] = [spot for spot, _ in sights]
        for spot, kind in sights:
            kinds.setdefault(spot, kind)
        if order and len(set(seen[row, column])) < 2:
            raise RefusedError(
                f"{zone.name}: section {_name(row, column)} would see fewer than two marks already "
                "inked, so nothing could tell where it stands; use a larger one"
            )
    digits = max(2, len(str(len(kinds))))
    marks = {
        spot: Mark(f"w{number:0{digits}}", spot, kind)
        for number, (spot, kind) in enumerate(kinds.items(), 1)
    }
    for (x, y), mark in marks.items():
        if mark.kind == "cross":
            row = next(n for n, span in enumerate(rows) if span.core[0] < y < span.core[1])
            column = next(n for n, span in enumerate(columns) if span.core[0] < x < span.core[1])
            line = tick(mark, layout.grid, rooms[column])
            stroke = Stroke(f"{_name(row, column)}_{mark.id}", "witness", "removable", line)
            cells.setdefault((column, row), []).append(Piece(stroke, mark.id))
    return marks, seen


def _tick_rooms(
    layout: Layout, columns: Sequence[Span], zone: Zone, half_width: float
) -> list[tuple[float, float]]:
    """For each column, how far along x its ticks may go: to its seams, or to the table's ends."""
    x0, _, x1, _ = layout.top.inscribed
    cores = [list(span.core) for span in columns]
    cores[0][0] = max(columns[0].window[0] + zone.set_down, x0 + half_width)
    cores[-1][1] = min(columns[-1].window[1] - zone.set_down, x1 - half_width)
    return [(low, high) for low, high in cores]


def _sights(
    layout: Layout,
    tickable: FloatArray,
    columns: Sequence[Span],
    rows: Sequence[Span],
    row: int,
    column: int,
) -> list[tuple[Spot, Kind]]:
    """What a section sees: marks across its seam to the left, and across the one below."""
    grid = layout.grid
    core = _core(columns, rows, row, column)
    sights: list[tuple[Spot, Kind]] = []
    left, below = columns[column].behind, rows[row].behind
    first, last = grid.long_lines[0].y, grid.long_lines[-1].y
    if left is not None:
        low = below
        if low is None:
            low = core[1] + min(grid.pitch[1] / 2, (last - core[1]) / 2) if row else first
        sights += marks_beside(grid, left, low, core[3], ticks=left in tickable)
    # The window often reaches a line or two further; staying at the seams' own marks lets
    # neighbours share them and keeps two ticks from standing side by side.
    within = (core[0] if left is None else left - _SAME, core[2])
    if below is not None:
        inked = any(abs(line.y - below) < _SAME for line in grid.long_lines)
        lines = grid.cross_x if inked else tickable
        sights += marks_below(grid, below, lines[(lines >= within[0]) & (lines <= within[1])])
    elif row and not column:
        # The first section from the far edge when it cannot see the near row: nothing inked
        # is in sight, so its marks are set out by tape.
        owned = [line.y for line in grid.long_lines if core[1] < line.y < core[3]]
        height = max(owned, default=core[3] - grid.pitch[1] / 2)
        lines = grid.cross_x[(grid.cross_x >= within[0]) & (grid.cross_x <= within[1])]
        sights += marks_below(grid, height, lines, kind="control")
    return list(dict.fromkeys(sights))


def _routed(
    pieces: Sequence[Piece], job: MarkingJob, zone: Zone, window: Box
) -> tuple[Route, tuple[Piece, ...]]:
    """The pieces in inking order and direction, and what the inking takes."""
    home = window[2 * zone.home[0]], window[2 * zone.home[1] + 1]
    routed = route.shortest([piece.stroke for piece in pieces], job.pens, home, zone.pace)
    drawn = []
    for leg in routed.legs:
        piece = pieces[leg.index]
        if leg.backwards:
            stroke = piece.stroke
            turned = Stroke(stroke.id, stroke.layer, stroke.pen, stroke.points[::-1])
            piece = Piece(turned, piece.of)
        drawn.append(piece)
    return routed, tuple(drawn)


def _unreached(
    layout: Layout, gap: tuple[float, float], cells: dict[Cell, list[Piece]]
) -> Unreached:
    rect = layout.top.inscribed
    pieces = [piece for (_, row), held in cells.items() if row == _GAP_ROW for piece in held]
    return Unreached((rect[0], gap[0], rect[2], gap[1]), tuple(pieces))


def _warnings(
    unreached: Sequence[Unreached], job: MarkingJob, zone: Zone, across: Axis
) -> list[str]:
    warnings = []
    for part in unreached:
        _, low, _, high = part.box
        needed = (across.start + across.end) / 2 + job.grid.pitch
        warnings.append(
            f"Nobody reaches the middle, from {format_length(low, job.units)} to "
            f"{format_length(high, job.units)} off the near edge, with an arm's reach of "
            f"{format_length(zone.depth, job.units)}: that leaves "
            f"{counted(len(part.pieces), 'line')} open there. "
            f"A reach of {format_length(needed, job.units)} would do; or join what is open "
            "afterwards along a straight rule laid across. Do not climb on the table to reach it."
        )
    return warnings
