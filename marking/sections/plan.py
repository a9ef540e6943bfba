"""Cuts a layout into the sections that one setup each can ink, in an order that can be inked.

Rows count from the near edge, columns from the zero end; sections are inked along each row from
the zero end, rows from the near edge, so that each sees what was inked before it. Where feet would
stand on wet ink for long, rows are inked in turns; each still sees the same. Table frame,
millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.errors import RefusedError
from marking.layout.layout import Stroke, uprights
from marking.sections import route
from marking.sections.cutting import cut_each
from marking.sections.division import divisions
from marking.sections.division_words import division_warnings
from marking.sections.locating_marks import (
    Mark,
    MarkKind,
    crossed_by_ticks,
    marks_below,
    marks_beside,
    tick,
)
from marking.sections.ruled import ruled_lines
from marking.sections.under_the_feet import idle_seconds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box, FloatArray, Spot
    from marking.job.keys import MarkingJob, PensTable
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.sections.cutting import Cell
    from marking.sections.division import Division
    from marking.sections.joins import Axis
    from marking.sections.route import Route
    from marking.sections.ruled import End, RuledLine
    from marking.sections.spans import Span
    from marking.sections.zones import Zone


class Piece(Struct, frozen=True):
    """The part of a stroke that one section inks."""

    stroke: Stroke
    of: str
    """Id of the laid-out stroke, or of the locating mark, that it is part of."""


class Section(Struct, frozen=True):
    """What one setup inks: `core` is what it owns, `window` what the device reaches."""

    id: str
    row: int
    column: int
    order: int
    core: Box
    window: Box
    pieces: tuple[Piece, ...]
    """In the order and direction of inking."""
    locating_marks: tuple[Mark, ...]
    route: Route
    turned: bool = False
    """Whether its device is set down turned a quarter, anticlockwise, from its profile."""

    @property
    def strokes(self) -> tuple[Stroke, ...]:
        """What it inks, in order."""
        return tuple(piece.stroke for piece in self.pieces)

    @property
    def ink(self) -> float:
        """Ink length in mm, of one pass."""
        return sum(piece.stroke.length for piece in self.pieces)


class Unreached(Struct, frozen=True):
    """Marking that no setup of the zone can ink."""

    box: Box
    pieces: tuple[Piece, ...]


class Plan(Struct, frozen=True):
    """A layout cut for one zone."""

    zone: Zone
    sections: tuple[Section, ...]
    """In inking order."""
    bound: tuple[int, int]
    """Columns and rows that no plan could do with fewer of, whichever way round the bed lies."""
    unreached: tuple[Unreached, ...]
    warnings: tuple[str, ...]
    ruled: tuple[RuledLine, ...] = ()
    """What is ruled by hand between stubs that sections ink; with `unreached` and the sections'
    pieces it is all of the layout's ink, each point once."""

    def seconds(self, section: Section) -> float | None:
        """How long inking a section takes; None where nobody knows the pace yet."""
        return section.route.seconds if self.zone.timed else None

    @property
    def columns(self) -> int:
        """How many sections stand along the table."""
        return max(section.column for section in self.sections)

    @property
    def rows(self) -> int:
        """How many sections stand across the table."""
        return max(section.row for section in self.sections)


def divide_into_sections(layout: Layout, job: MarkingJob, zone: Zone) -> Plan:
    """The plan with the fewest sections for `zone`, its bed turned a quarter where that has fewer.

    Raises RefusedError when the zone is too small for what no join can part and the marks before
    it.
    """
    ways, bound, across = divisions(layout, job, zone)
    for division in ways[:-1]:
        try:
            return _least_idle(layout, job, division, bound, across)
        except RefusedError:
            # Turned the other way its sections may see the marks that these do not.
            continue
    return _least_idle(layout, job, ways[-1], bound, across)


_LAGS = (2, 1, 3)
"""Columns by which a row may follow the one below it; two keeps every foot off the last section."""
_WORTH_TURNS = 0.5
"""Rows are inked in turns, which takes a person round the table, where that halves the waiting."""


def _least_idle(
    layout: Layout, job: MarkingJob, division: Division, bound: tuple[int, int], across: Axis
) -> Plan:
    """The plan row after row, or with rows in turns where that spares long waits for wet ink.

    A device that is pushed along a fence takes each row whole.
    """
    plan = _planned(layout, job, division, bound, across)
    idle = idle_seconds(plan.zone, plan.sections, job)
    if not idle or job.fence is not None or len(division.rows) == 1:
        return plan
    in_turns = [_planned(layout, job, division, bound, across, lag) for lag in _LAGS]
    idles = [idle_seconds(one.zone, one.sections, job) for one in in_turns]
    best = min(range(len(_LAGS)), key=lambda n: round(idles[n], 3))
    return in_turns[best] if idles[best] <= _WORTH_TURNS * idle else plan


def _planned(
    layout: Layout,
    job: MarkingJob,
    division: Division,
    bound: tuple[int, int],
    across: Axis,
    lag: int | None = None,
) -> Plan:
    zone, columns, rows, gap = division.zone, division.columns, division.rows, division.gap
    cells = _pieces_by_cell(layout, columns, rows, gap)
    turns = _inking_order(rows, columns, lag)
    marks, seen = _locating_marks(layout, job.pens, division, cells, turns)
    sections = []
    for order, (row, column) in enumerate(turns, 1):
        window_x, window_y = columns[column].window, rows[row].window
        window = (window_x[0], window_y[0], window_x[1], window_y[1])
        pieces = cells.get((column, row), [])
        way, drawn = routed(pieces, job.pens, zone, window)
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
                way,
                zone.turned,
            )
        )
    unreached = () if gap is None or division.ruled else (_unreached(layout, gap, cells),)
    ruled = () if gap is None or not division.ruled else _ruled(layout, gap, cells, job.units)
    return Plan(
        zone,
        tuple(sections),
        bound,
        unreached,
        tuple(
            division_warnings(
                [(part.box[1], part.box[3], len(part.pieces)) for part in unreached],
                job,
                division,
                across,
            )
        ),
        ruled,
    )


def _ruled(
    layout: Layout, gap: tuple[float, float], cells: dict[Cell, list[Piece]], units: Units
) -> tuple[RuledLine, ...]:
    inked_by: dict[End, str] = {
        (piece.of, x, y): _name(row, column)
        for (column, row), pieces in cells.items()
        if row != _GAP_ROW
        for piece in pieces
        for x, y in piece.stroke.points[[0, -1]].tolist()
    }
    return ruled_lines(layout, gap, inked_by, units)


def _name(row: int, column: int) -> str:
    return f"r{row + 1}c{column + 1}"


def _inking_order(
    rows: Sequence[Span], columns: Sequence[Span], lag: int | None
) -> list[tuple[int, int]]:
    """Row and column of each section from 0: row after row, or each row `lag` columns behind.

    Either way what is to the left and what is below comes first.
    """
    cells = [(row, column) for row in range(len(rows)) for column in range(len(columns))]
    if lag is None:
        return cells
    return sorted(cells, key=lambda cell: (cell[1] + lag * cell[0], cell[0]))


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
    x_joins = [span.core[0] for span in columns[1:]]
    y_joins = sorted([*(span.core[0] for span in rows[1:]), *(gap[:1] if gap else ())])
    names = list(range(len(rows)))
    if gap:
        names.insert(sum(span.core[1] <= gap[0] for span in rows), _GAP_ROW)
    cells: dict[Cell, list[Piece]] = {}
    parted = cut_each([stroke.points for stroke in layout.strokes], x_joins, y_joins)
    for stroke, parts in zip(layout.strokes, parted, strict=True):
        for (column, row), points in parts:
            named = names[row]
            prefix = "gap" if named == _GAP_ROW else _name(named, column)
            piece = stroke.along(points, f"{prefix}_{stroke.id}")
            cells.setdefault((column, named), []).append(Piece(piece, stroke.id))
    return cells


def _locating_marks(
    layout: Layout,
    pens: PensTable,
    division: Division,
    cells: dict[Cell, list[Piece]],
    turns: Sequence[tuple[int, int]],
) -> tuple[dict[Spot, Mark], dict[tuple[int, int], list[Spot]]]:
    """The marks by position, and those each section sees. Adds the ticks to `cells`.

    Where lines are ruled between the bands, each band begins by tape marks alone. Raises
    RefusedError when any other section after the first would see fewer than two.
    """
    zone, columns, rows = division.zone, division.columns, division.rows
    rooms = _tick_rooms(layout, columns, zone, pens.removable.width / 2)
    ink = dict(uprights(layout.strokes, pens))
    tickable = crossed_by_ticks(layout.grid, ink, (rooms[0][0], rooms[-1][1]))
    kinds: dict[Spot, MarkKind] = {}
    seen: dict[tuple[int, int], list[Spot]] = {}
    for order, (row, column) in enumerate(turns):
        begins_band = division.ruled and not column and rows[row].behind is None
        by_tape = not order or begins_band
        sights = [] if by_tape else _sights(layout, tickable, columns, rows, row, column)
        seen[row, column] = [spot for spot, _ in sights]
        for spot, kind in sights:
            kinds.setdefault(spot, kind)
        if not by_tape and len(set(seen[row, column])) < 2:
            raise RefusedError(
                f"{zone.name}: section {_name(row, column)} would see fewer than two marks already "
                "inked, so nothing could tell where it stands; use a larger one"
            )
    digits = max(2, len(str(len(kinds))))
    marks = {
        spot: Mark(f"w{number:0{digits}}", spot, kind)
        for number, (spot, kind) in enumerate(kinds.items(), 1)
    }
    numerals = [placed.numeral.box_table for placed in layout.numerals]
    for (x, y), mark in marks.items():
        if mark.kind == "cross":
            row = next(n for n, span in enumerate(rows) if span.core[0] < y < span.core[1])
            column = next(n for n, span in enumerate(columns) if span.core[0] < x < span.core[1])
            line = tick(mark, layout.grid, _beside_numerals(numerals, mark, rooms[column]))
            stroke = Stroke(f"{_name(row, column)}_{mark.id}", "witness", "removable", line)
            cells.setdefault((column, row), []).append(Piece(stroke, mark.id))
    return marks, seen


def _beside_numerals(
    boxes: Sequence[Box], mark: Mark, room: tuple[float, float]
) -> tuple[float, float]:
    """`room` along x as far as no numeral inside the grid stands at the mark's height."""
    x, y = mark.at_table
    level = [box for box in boxes if box[1] - _SAME < y < box[3] + _SAME]
    return (
        max([room[0], *(box[2] for box in level if box[2] <= x)]),
        min([room[1], *(box[0] for box in level if box[0] >= x)]),
    )


def _tick_rooms(
    layout: Layout, columns: Sequence[Span], zone: Zone, half_width: float
) -> list[tuple[float, float]]:
    """For each column, how far along x its ticks may go: to its joins, or to the table's ends."""
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
) -> list[tuple[Spot, MarkKind]]:
    """What a section sees: marks across its join to the left, and across the one below."""
    grid = layout.grid
    core = _core(columns, rows, row, column)
    sights: list[tuple[Spot, MarkKind]] = []
    left, below = columns[column].behind, rows[row].behind
    first, last = grid.long_lines[0].y, grid.long_lines[-1].y
    if left is not None:
        low = below
        if low is None:
            low = core[1] + min(grid.pitch[1] / 2, (last - core[1]) / 2) if row else first
        sights += marks_beside(grid, left, low, core[3], ticks=left in tickable)
    # The window often reaches a line or two further; staying at the joins' own marks lets
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


def routed(
    pieces: Sequence[Piece], pens: PensTable, zone: Zone, window: Box
) -> tuple[Route, tuple[Piece, ...]]:
    """The pieces in inking order and direction, and what the inking takes."""
    home = window[2 * zone.home[0]], window[2 * zone.home[1] + 1]
    found = route.shortest([piece.stroke for piece in pieces], pens, home, zone.pace)
    drawn = []
    for leg in found.legs:
        piece = pieces[leg.index]
        if leg.backwards:
            stroke = piece.stroke
            piece = Piece(stroke.along(stroke.points[::-1]), piece.of)
        drawn.append(piece)
    return found, tuple(drawn)


def _unreached(
    layout: Layout, gap: tuple[float, float], cells: dict[Cell, list[Piece]]
) -> Unreached:
    rect = layout.top.inscribed
    pieces = [piece for (_, row), held in cells.items() if row == _GAP_ROW for piece in held]
    return Unreached((rect[0], gap[0], rect[2], gap[1]), tuple(pieces))
