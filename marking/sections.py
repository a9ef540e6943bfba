"""Cuts a layout into the sections that one setup each can ink, in an order that can be inked.

Rows count from the near edge, columns from the zero end; sections are inked along each row from
the zero end, rows from the near edge, so that each sees what was inked before it. Table frame,
millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from marking import route, seams
from marking.cutting import cut
from marking.errors import RefusedError
from marking.layout import Stroke
from marking.lengths import INCH, format_length
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


@dataclass(frozen=True)
class _Span:
    """One row or column of sections along its axis."""

    core: tuple[float, float]
    window: tuple[float, float]
    behind: float | None
    """Where it sees the marks of the one before; None for the first, or when out of sight."""


def cut_into_sections(layout: Layout, job: MarkingJob, zone: Zone) -> Plan:
    """The plan with the fewest sections for `zone`.

    Raises RefusedError when the zone is too small for a pitch and the strip with its marks.
    """
    along, across = _axes(layout, job)
    columns = _spans(along, zone, 0, job, layout)
    if zone.from_both_edges:
        rows, gap, bound_rows = _rows_from_both_edges(across, zone, layout)
    else:
        rows, gap = _spans(across, zone, 1, job, layout), None
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


def _spans(along: Axis, zone: Zone, dimension: int, job: MarkingJob, layout: Layout) -> list[_Span]:
    """The rows or columns of sections along one axis."""
    rect = layout.top.inscribed
    top = rect[dimension], rect[dimension + 2]
    size = zone.size[dimension]
    if zone.feed == dimension:
        size = min(size, max(top[1], along.end + zone.set_down) + zone.set_down)
    usable = size - 2 * zone.set_down
    picked = seams.choose(along, usable)
    if picked is None:
        _blame_numerals(along, layout, job, usable, dimension)
        pitch = layout.grid.pitch[dimension]
        raise RefusedError(
            f"{zone.name}: {format_length(size, job.units)} {'across' if dimension else 'along'} "
            f"the table, less {format_length(zone.set_down, 'mm')} each side for setting it down, "
            f"cannot hold one pitch ({format_length(pitch, job.units)}), its witness marks and, at "
            "the ends, a margin with its numerals; use a larger one, or a smaller grid.pitch"
        )
    cuts = [along.seams[index] for index in picked]
    behind = [None, *(along.behind[index] for index in picked)]
    edges = [along.start, *cuts, along.end]
    spans = []
    for start, end, mark in zip(edges, edges[1:], behind, strict=False):
        needed = (start if mark is None else mark, end)
        low = _set_down_at(needed, size, zone.set_down, top, job)
        spans.append(_Span((start, end), (low, low + size), mark))
    return spans


def _blame_numerals(
    along: Axis, layout: Layout, job: MarkingJob, usable: float, dimension: int
) -> None:
    """Raises RefusedError if it is the numerals that leave a seam no way through."""
    if dimension or not layout.numerals:
        return
    without = _along(layout, job, (along.start, along.end), [])
    if seams.choose(without, usable) is not None:
        raise RefusedError(
            "numerals.clear: the numerals stand so close that no seam passes between enough of "
            "them; a larger numerals.clear or a smaller numerals.height lets one through"
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
    wanted = max(min(wanted, most), least)
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


def _rows_from_both_edges(
    across: Axis, zone: Zone, layout: Layout
) -> tuple[list[_Span], tuple[float, float] | None, int]:
    """One row if an arm reaches across, else one from each edge; and the strip between them."""
    depth, top = zone.size[1], layout.top.inscribed[3]
    near_window, far_window = (0.0, depth), (top - depth, top)
    if across.end <= depth:
        return [_Span((across.start, across.end), near_window, None)], None, 1
    middle = (across.start + across.end) / 2
    pairs = list(zip(across.seams, across.behind, strict=True))
    shared = [(s, b) for s, b in pairs if s <= depth and s >= top - depth]
    if shared:
        # A seam with marks that both sides see comes first, then the one nearest the middle.
        seam, behind = min(shared, key=lambda p: (p[1] < top - depth, abs(p[0] - middle), p[0]))
        seen = behind if behind >= top - depth else None
        return (
            [
                _Span((across.start, seam), near_window, None),
                _Span((seam, across.end), far_window, seen),
            ],
            None,
            2,
        )
    near = [s for s, _ in pairs if s <= depth]
    far = [s for s, _ in pairs if s >= top - depth]
    if not near or not far:
        raise RefusedError(
            "reach.depth is less than the margin and the first long lines take; "
            "no line can be inked from the edge"
        )
    gap = (near[-1], far[0])
    return (
        [
            _Span((across.start, gap[0]), near_window, None),
            _Span((gap[1], across.end), far_window, None),
        ],
        gap,
        2,
    )


def _name(row: int, column: int) -> str:
    return f"r{row + 1}c{column + 1}"


def _inking_order(rows: Sequence[_Span], columns: Sequence[_Span]) -> Iterator[tuple[int, int]]:
    return ((row, column) for row in range(len(rows)) for column in range(len(columns)))


def _core(columns: Sequence[_Span], rows: Sequence[_Span], row: int, column: int) -> Box:
    (x0, x1), (y0, y1) = columns[column].core, rows[row].core
    return (x0, y0, x1, y1)


_SAME = 1e-6
_GAP_ROW = -1
"""The row of cells between two rows that do not meet."""


def _pieces_by_cell(
    layout: Layout,
    columns: Sequence[_Span],
    rows: Sequence[_Span],
    gap: tuple[float, float] | None,
) -> dict[Cell, list[Piece]]:
    """Every piece of every stroke by (column, row) from 0, with `_GAP_ROW` for a gap's."""
    x_seams = [span.core[0] for span in columns[1:]]
    y_seams = list(gap) if gap else [span.core[0] for span in rows[1:]]
    names = [0, _GAP_ROW, 1] if gap else list(range(len(rows)))
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
    columns: Sequence[_Span],
    rows: Sequence[_Span],
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
    layout: Layout, columns: Sequence[_Span], zone: Zone, half_width: float
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
    columns: Sequence[_Span],
    rows: Sequence[_Span],
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
        lines = grid.cross_x[(grid.cross_x >= within[0]) & (grid.cross_x <= within[1])]
        sights += marks_below(grid, last, lines, kind="control")
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
            f"{format_length(zone.size[1], job.units)}: {len(part.pieces)} lines stay open there. "
            f"A reach of {format_length(needed, job.units)} would do; or join them afterwards "
            "along a straight rule laid across. Do not climb on the table to reach them."
        )
    return warnings
