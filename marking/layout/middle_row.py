"""The row of numerals in the middle of a table wider than the cloth, beside their cross lines.

A numeral stands to the right of its line as its reader sees it, since the lines run through. Each
side's readers have a row of their own, upright to them. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import RefusedError
from marking.layout.bare_cloth import longest_whole
from marking.layout.clear_places import apart, between
from marking.layout.numerals import Numeral
from marking.layout.second_scale import line_sides
from marking.lettering.glyphs import letter_numeral
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from marking.arrays import Box, FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.clear_places import InkAround
    from marking.layout.lines import Side

    Lines = Sequence[tuple[float, float]]
    """Place and half the ink of each line, rising."""

_LONG = 200.0
"""mm that any bed holds in one piece, marks and all: less than the smallest that is usual."""


def middle_numerals(
    job: MarkingJob, xs: FloatArray, uprights: Lines, levels: Lines, ink: InkAround, most: float
) -> list[Numeral]:
    """The rows of the sides that carry numerals, none higher than `most`.

    A numeral that other ink leaves no room is left out. Raises RefusedError where a row fits
    nowhere near the middle.
    """
    every = job.numerals.middle_every
    if not every or not line_sides(job):
        return []
    pen, clear = job.pens.numerals.width, job.numerals.clear
    values = {n: job.numerals.at_line(n) for n in range(0, len(xs), every)}
    texts = {n: letter_numeral(str(value), job.numerals.face) for n, value in values.items()}
    tallest = max(text.height for text in texts.values())
    cells = list(between(uprights))
    room = min(high - low for low, high in cells if high - low > pen) - 2 * clear - pen
    widest = max(text.width for text in texts.values())
    height = min(most, room / widest * tallest + pen)
    middle = (levels[0][0] + levels[-1][0]) / 2
    placed: list[Numeral] = []
    for side in line_sides(job):
        turn = 1 if side == "near" else -1
        away = 0.0 if len(line_sides(job)) == 1 else (height + clear) / 2
        y = _height_at(middle - turn * away, side, height + 2 * clear, levels)
        if y is None or height < 2 * pen:
            raise RefusedError(
                f"numerals.middle_every = {every}: no room for a row of numerals "
                f"{max(height, 2 * pen):.1f} mm high between the lines in the middle. Leave long "
                "lines out there, take a wider grid.pitch, a finer pen or a smaller numerals.clear"
            )
        scale = (height - pen) / tallest
        for n, text in texts.items():
            wide, high = text.width * scale + pen, text.height * scale + pen
            box = _beside(float(xs[n]), turn, wide, clear, cells)
            if box is None:
                continue
            whole = (box[0], y - high / 2, box[1], y + high / 2)
            if not ink.keeps_off(whole, clear):
                continue
            ink = ink.with_boxes([whole])
            placed.append(_numeral(side, values[n], whole, turn * scale, job.numerals.face))
    return placed


def left_out(job: MarkingJob, xs: FloatArray, placed: Sequence[Numeral]) -> Iterator[str]:
    """A warning about numerals of the middle row that other ink left no room."""
    every = job.numerals.middle_every
    if not every:
        return
    wanted = [job.numerals.at_line(n) for n in range(0, len(xs), every)]
    for side in line_sides(job):
        here = {one.value for one in placed if (one.row, one.side) == ("middle", side)}
        missing = [str(value) for value in wanted if value not in here]
        if missing:
            yield (
                f"In the middle row read from the {side} side, there is no room to the right of "
                f"their lines for {', '.join(missing)}: left out there."
            )


def unparted(
    job: MarkingJob, uprights: Lines, placed: Sequence[Numeral], slack: float
) -> Iterator[str]:
    """A warning where the rows leave so little bare cloth that a section has to be long.

    `slack` is drawn length over finished length along the table.
    """
    if not any(one.row == "middle" for one in placed):
        return

    def run(numerals: Iterable[Numeral]) -> tuple[float, float]:
        boxes = apart((slack * one.box_table[0], slack * one.box_table[2]) for one in numerals)
        return longest_whole([(slack * x, half) for x, half in uprights], boxes)

    low, high = run(placed)
    bare_low, bare_high = run(one for one in placed if one.row != "middle")
    beyond = bare_high - bare_low + slack * job.grid.pitch * (len(line_sides(job)) + 1)
    if high - low <= max(_LONG, beyond):
        return
    yield (
        f"The middle row leaves no bare cloth for a join between sections from "
        f"{format_length(low, job.units)} to {format_length(high, job.units)} along the table: one "
        f"section has to hold all of that. {parted_by(job)}"
    )


def parted_by(job: MarkingJob) -> str:
    """What would let joins pass through the middle row."""
    # A row read from each side fills a cell beside its line, to the one hand or to the other.
    bare = len(line_sides(job)) + 1
    if job.numerals.middle_every < bare:
        return f"numerals.middle_every = {bare} leaves some; a smaller numerals.height may."
    return "Leave the row out (numerals.middle_every = 0), or try a smaller numerals.height."


def _numeral(side: Side, value: int, box: Box, scale: float, face: str) -> Numeral:
    at = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    strokes = tuple(scale * stroke + at for stroke in letter_numeral(str(value), face).strokes)
    return Numeral(str(value), side, value, at, box[3] - box[1], box, strokes, "middle")


def _height_at(wanted: float, side: Side, high: float, levels: Lines) -> float | None:
    """y of a row's middle nearest to `wanted`, on its own reader's side of it where two share."""
    found = []
    for low, top in between(levels):
        if top - low >= high:
            y = min(max(wanted, low + high / 2), top - high / 2)
            beyond = y > wanted if side == "near" else y < wanted
            found.append((beyond, abs(y - wanted), y))
    return min(found)[2] if found else None


def _beside(
    x: float, turn: int, wide: float, clear: float, cells: Sequence[tuple[float, float]]
) -> tuple[float, float] | None:
    """From where to where along the table, in the cell to the reader's right of the line at x."""
    if turn > 0:
        cell = next((c for c in cells if c[0] > x), None)
        span = None if cell is None else (cell[0] + clear, cell[0] + clear + wide)
    else:
        cell = next((c for c in reversed(cells) if c[1] < x), None)
        span = None if cell is None else (cell[1] - clear - wide, cell[1] - clear)
    if cell is None or span is None or span[0] < cell[0] or span[1] > cell[1]:
        return None
    return span
