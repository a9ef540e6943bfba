"""Which removable marks to set out by tape before any ink, what the tape reads at each, the square.

A base line parallel to the near edge and a zero line square to it; every mark is read from one
end of its line and never added to the mark before. Marks stand on crossings or lines that will be
inked, or in rows where the sections' windows overlap. Table frame, millimetres; on a cover marked
slack, the cloth as it lies unstretched.
"""

from __future__ import annotations

import itertools
import math
from string import ascii_lowercase
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.measures.lengths import INCH, format_length
from marking.measures.tape import independent_sd, scale_sd, tape_reading
from marking.network.datum import Datum
from marking.sections.locating_marks import Mark

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import Spot
    from marking.layout.layout import Grid, Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.sections.plan import Plan

TapeLine = Literal["near", "far", "zero", "end", "row"]
"""The base line, the first long line at the far edge, the zero line, the last cross line; a row
of marks between the long edges."""
_ROWS = "j"
"""What the name of every row begins with: no letter that another mark's id begins with."""
_WHOLE = {"in": float(INCH), "mm": 10.0}
"""What the sides of the 3-4-5 are whole multiples of: plain figures on the tape."""
_CLOSE = 0.125
"""Nearer than this to the far line, in pitches, a mark on an end line would add nothing."""
_SAME_HEIGHT = 0.01
"""mm that one row may stand off another and count as the same."""
_SURE = 1.96
"""Standard deviations on either side that hold 95 of 100."""


class TapeRun(Struct, frozen=True):
    """A distance to set out or to check: truly so long, and what the tape shows. mm."""

    length: float
    reading: float

    @property
    def correction(self) -> float:
        """What the tape shows more than the length is."""
        return self.reading - self.length


class TapeMark(Struct, frozen=True):
    """One removable mark, and how the tape finds it."""

    mark: Mark
    line: TapeLine
    """The line it is set out along."""
    place: int
    """Which cross line it stands on, or how many pitches it lies from the base line; of marks
    at nodes, which of its row it is, from 0."""
    run: TapeRun
    """From the line's own zero: the zero line, or the base line."""
    sd: float
    """Standard deviation along its line in mm, without what all marks share."""


class TapeRow(Struct, frozen=True):
    """A row of marks along a thread, parallel to the base line."""

    letter: str
    """Its name, which the ids of its marks begin with: ja, jb, jc from the near edge."""
    up: TapeRun
    """From the base line, on the zero line and on the last cross line."""


class Square(Struct, frozen=True):
    """The 3-4-5 that stands the zero line on the base line, its corner where they meet."""

    along: TapeRun
    """On the base line."""
    up: TapeRun
    """On the zero line."""
    slope: TapeRun
    """Between the two: the longest side."""
    ratio: tuple[int, int, int]
    """Along, up and slope in whole units of the job: inches or centimetres."""


class Diagonals(Struct, frozen=True):
    """The check of the square: both diagonals of the whole marking."""

    run: TapeRun
    """What either should be."""
    allowed: float
    """How far the two may differ by the tape alone, in mm, 95 of 100 times."""
    shift_per_difference: float
    """How far to shift the far line, over the difference of the diagonals."""


class TapeMarks(Struct, frozen=True):
    """Everything to set out before inking."""

    marks: tuple[TapeMark, ...]
    rows: tuple[TapeRow, ...]
    offset_near: TapeRun
    """Near edge to the base line, at both ends of the table."""
    offset_zero: TapeRun
    """Corner of zero end and near edge to the zero line, along the near edge."""
    height: TapeRun
    """Base line to far line, along the zero line and along the last."""
    square: Square
    diagonals: Diagonals
    tape: Tape
    spacing: float
    """mm from one mark to the next, at most; at nodes, the most there is along a row."""
    slack: tuple[float, float]
    read: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """By section the marks that it reads, in reading order; empty: each reads all in sight."""

    @property
    def at_nodes(self) -> bool:
        """Whether marks stand where windows overlap, the corners of the marking apart."""
        return bool(self.read)


def row_joins(plan: Plan) -> list[float]:
    """Where the joins between rows run, in mm from the near edge, nearest first."""
    return sorted({section.core[1] for section in plan.sections if section.row > 1})


def set_out(
    layout: Layout,
    spacing: float,
    tape: Tape,
    units: Units,
    *,
    ends: bool = True,
    heights: Sequence[float] = (),
    named: Sequence[TapeRow] = (),
) -> TapeMarks:
    """The tape marks of `layout`, at most `spacing` mm apart but never under a pitch.

    With `ends` the zero line and the last cross line carry marks too: without them nothing holds
    the middle rows. At each of `heights`, mm from the near edge, stands a row of marks more, on
    the cross lines that the long edges have them on. One that stands where one of `named` does
    keeps its name, since that is written beside it. Raises RefusedError when the marking is too
    small for a 3-4-5 in whole units.
    """
    grid = layout.grid
    x0, x1 = float(grid.cross_x[0]), float(grid.cross_x[-1])
    y0, y1 = grid.long_lines[0].y, grid.long_lines[-1].y
    if not spacing > 0:
        raise RefusedError("the spacing of tape marks must be more than nothing")
    columns = _steps(len(grid.cross_x) - 1, int(spacing / grid.pitch[0] + 1e-9))
    long_lines = _long_lines(grid)
    cross_lines: tuple[tuple[TapeLine, float], ...] = (("zero", x0), ("end", x1))
    marks = [
        _on_long_line(grid, line, y, column, tape) for line, y in long_lines for column in columns
    ]
    if ends:
        marks += [
            _on_cross_line(line, x, y0, row, grid.pitch[1], tape)
            for line, x in cross_lines
            for row in _rows(y1 - y0, grid.pitch[1], spacing)
        ]
    runs = [_run(y - y0, tape) for y in heights]
    rows_between = _named_rows(runs, named)
    for row_line, y in zip(rows_between, heights, strict=True):
        marks += [_in_row(grid, row_line, y, column, tape) for column in columns]
    return _tape_marks(layout, marks, rows_between, tape, units, spacing)


def set_out_at(
    layout: Layout,
    rows: Sequence[Sequence[Spot | None]],
    tape: Tape,
    units: Units,
    named: Sequence[TapeRow] = (),
) -> TapeMarks:
    """The four corners of the marking, and marks in rows at the places given.

    The places of each row have one height; one left out is None, so that the others keep their
    names. Names and errors are those of `set_out`.
    """
    grid = layout.grid
    last = len(grid.cross_x) - 1
    y0 = grid.long_lines[0].y
    kept = [row for row in rows if any(spot is not None for spot in row)]
    runs = [_run(next(spot[1] for spot in row if spot is not None) - y0, tape) for row in kept]
    marks = [
        _on_long_line(grid, line, y, column, tape)
        for line, y in _long_lines(grid)
        for column in (0, last)
    ]
    gaps = []
    tape_rows = _named_rows(runs, named)
    for tape_row, row in zip(tape_rows, kept, strict=True):
        stands = [(place, spot) for place, spot in enumerate(row) if spot is not None]
        gaps += [b[0] - a[0] for (_, a), (_, b) in itertools.pairwise(stands)]
        for place, spot in stands:
            run = _run(spot[0] - float(grid.cross_x[0]), tape)
            mark = Mark(f"{tape_row.letter}{place}", spot, "control")
            sd = float(independent_sd(run.length, tape))
            marks.append(TapeMark(mark, "row", place, run, sd))
    return _tape_marks(layout, marks, tape_rows, tape, units, max(gaps, default=0.0))


def _long_lines(grid: Grid) -> tuple[tuple[TapeLine, float], ...]:
    return ("near", grid.long_lines[0].y), ("far", grid.long_lines[-1].y)


def _named_rows(runs: Sequence[TapeRun], named: Sequence[TapeRow]) -> list[TapeRow]:
    return [TapeRow(name, run) for name, run in zip(_row_names(runs, named), runs, strict=True)]


def _tape_marks(
    layout: Layout,
    marks: Sequence[TapeMark],
    rows: Sequence[TapeRow],
    tape: Tape,
    units: Units,
    spacing: float,
) -> TapeMarks:
    """The marks with the frame that they are set out from."""
    grid = layout.grid
    x0, x1 = float(grid.cross_x[0]), float(grid.cross_x[-1])
    y0, y1 = grid.long_lines[0].y, grid.long_lines[-1].y
    return TapeMarks(
        tuple(marks),
        tuple(rows),
        _run(y0, tape),
        _run(x0, tape),
        _run(y1 - y0, tape),
        _square(x1 - x0, y1 - y0, tape, units),
        _diagonals(x1 - x0, y1 - y0, tape),
        tape,
        spacing,
        layout.slack,
    )


def _row_names(runs: Sequence[TapeRun], named: Sequence[TapeRow]) -> Iterator[str]:
    """What the rows so far up are called: as they are already, else by the next name left."""
    kept = [next((row.letter for row in named if _as_high(row.up, run)), None) for run in runs]
    new = (name for name in map(row_name, itertools.count()) if name not in kept)
    for name in kept:
        yield name if name is not None else next(new)


def _as_high(one: TapeRun, other: TapeRun) -> bool:
    return abs(one.length - other.length) < _SAME_HEIGHT


def row_name(place: int) -> str:
    """ja, jb, jc and on without a gap; jaa after jz."""
    return _ROWS + lettered(place, ascii_lowercase)


def lettered(place: int, letters: str) -> str:
    """The letter at `place`; two or more once those are used up."""
    before, last = divmod(place, len(letters))
    return (lettered(before - 1, letters) if before else "") + letters[last]


def _run(length: float, tape: Tape) -> TapeRun:
    return TapeRun(length, tape_reading(length, tape))


def _steps(last: int, step: int) -> list[int]:
    """0, step, … and the last."""
    return [*range(0, last, max(step, 1)), last]


def _rows(height: float, pitch: float, spacing: float) -> list[int]:
    """Pitches from the base line, between the two first long lines that stand at its ends."""
    step = max(int(spacing / pitch + 1e-9), 1)
    return list(range(step, math.ceil(height / pitch - _CLOSE), step))


def _on_long_line(grid: Grid, line: TapeLine, y: float, column: int, tape: Tape) -> TapeMark:
    run = _run(float(grid.cross_x[column] - grid.cross_x[0]), tape)
    mark = Mark(f"{line[0]}{column}", (float(grid.cross_x[column]), y), "control")
    return TapeMark(mark, line, column, run, float(independent_sd(run.length, tape)))


def _in_row(grid: Grid, row: TapeRow, y: float, column: int, tape: Tape) -> TapeMark:
    run = _run(float(grid.cross_x[column] - grid.cross_x[0]), tape)
    mark = Mark(f"{row.letter}{column}", (float(grid.cross_x[column]), y), "control")
    return TapeMark(mark, "row", column, run, float(independent_sd(run.length, tape)))


def _on_cross_line(
    line: TapeLine, x: float, y0: float, row: int, pitch: float, tape: Tape
) -> TapeMark:
    run = _run(row * pitch, tape)
    mark = Mark(f"{line[0]}{row}", (x, y0 + row * pitch), "control")
    return TapeMark(mark, line, row, run, float(independent_sd(run.length, tape)))


def _square(length: float, height: float, tape: Tape, units: Units) -> Square:
    whole = _WHOLE[units]

    def times(along: int, up: int) -> int:
        return int(min(length / (along * whole), height / (up * whole)) + 1e-9)

    lying, standing = (times(4, 3), 4, 3), (times(3, 4), 3, 4)
    n, along, up = max(lying, standing)
    if n < 1:
        raise RefusedError(
            f"a marking {format_length(length, units)} by {format_length(height, units)} is too "
            f"small to square by 3-4-5 in whole {'inches' if units == 'in' else 'centimetres'}; "
            "square it with a framing square"
        )
    return Square(
        _run(n * along * whole, tape),
        _run(n * up * whole, tape),
        _run(n * 5 * whole, tape),
        (n * along, n * up, n * 5),
    )


def _diagonals(length: float, height: float, tape: Tape) -> Diagonals:
    """If the far line stands s too far along, the diagonals differ by 2 s length / diagonal."""
    diagonal = float(np.hypot(length, height))
    allowed = _SURE * np.sqrt(2) * float(independent_sd(diagonal, tape))
    return Diagonals(_run(diagonal, tape), float(allowed), diagonal / (2 * length))


def tape_datum(tape_marks: TapeMarks) -> Datum:
    """What all the marks share: the tape's scale and warmth, and what the diagonals leave of the
    zero line's angle."""
    zero = np.min([mark.mark.at_table for mark in tape_marks.marks], axis=0)
    diagonals = tape_marks.diagonals
    shift_sd = diagonals.allowed / _SURE * diagonals.shift_per_difference
    return Datum(
        (float(zero[0]), float(zero[1])),
        scale_sd(tape_marks.tape),
        shift_sd / tape_marks.height.length,
    )


def marks_on(tape_marks: TapeMarks, line: TapeLine) -> Sequence[TapeMark]:
    """The marks set out along one line, from its zero."""
    return [mark for mark in tape_marks.marks if mark.line == line]
