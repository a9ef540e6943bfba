"""The sheet to carry to the table: where each tape mark goes and what the tape reads there.

It draws what `marking.tape_marks.marks` works out on pages of `marking.drawing.page`, and computes
nothing.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct

from marking.drawing.page import ACCENT, FAINT, INK, RULE, Page
from marking.measures.lengths import INCH, format_length, tape_fraction
from marking.measures.tape import REFERENCE_CELSIUS, as_taped
from marking.tape_marks.marks import marks_on

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.tape_marks.marks import Diagonals, TapeLine, TapeMark, TapeMarks

CAUTIONS = (
    "Removable marks only: thread, tape or a pen tried on a scrap of this canvas. No ink yet.",
    "Use one tape for everything, drawn taut and flat, and hold a printed mark at zero, not the "
    "hook. If you hold the 10, take 10 off what you read.",
    "Two people; nobody climbs on the table. Let a steel tape run back slowly: its edge cuts.",
)
_EDGE = 13.0
_TEXT = 2.1
_COLUMNS = 4
_TIGHT, _LOOSE = 4.3, 6.4
"""Least and most from one row of readings to the next."""
_MARKS_A_ROW = 2
_READING, _BOX, _MARK = 17.5, 20.0, 12.6
"""Across a column, in mm: where the reading ends, the first box stands, and from box to box."""
_PAIRS: tuple[tuple[tuple[TapeLine, ...], str], ...] = (
    (("near", "far"), "along"),
    (("zero", "end"), "across"),
    (("row",), "rows"),
)


class SheetRow(Struct, frozen=True):
    """One line of the table of readings: what the tape shows, and the marks to tick off."""

    reading: str
    line: str
    marks: tuple[str, ...]


def tape_sheet_pages(
    tape_marks: TapeMarks,
    layout: Layout,
    title: str,
    units: Units,
    paper: PaperName,
    says: Sequence[str] = (),
    notes: Sequence[str] = (),
) -> tuple[Artwork, ...]:
    """One page, or more where the marks are too many for one.

    `says` is what these marks will hold, in lines of text, the verdict last; `notes` what to know
    of this table before.
    """
    first = Page(paper, f"{title}: tape marks")
    y = _head(first, title, tape_marks, units, says)
    for note in notes:
        wide = first.width - 2 * _EDGE
        y = first.paragraph(note, _EDGE, y + 0.6, wide, _TEXT, ACCENT) - 1.5
    y = _sketch(first, tape_marks, layout, y)
    y = _steps(first, tape_marks, units, y)
    rows = list(reading_rows(tape_marks, units))
    foot = _EDGE + 15
    left = _readings(first, rows, y, foot)
    _cautions(first, foot)
    pages = [first]
    while left:
        page = Page(paper, first.artwork.title)
        page.heading(f"{title}: tape marks, continued", _EDGE, page.height - 20, 4.0)
        left = _readings(page, left, page.height - 28, _EDGE)
        pages.append(page)
    return tuple(page.artwork for page in pages)


def _head(
    page: Page, title: str, tape_marks: TapeMarks, units: Units, says: Sequence[str]
) -> float:
    y = page.height - _EDGE - 5
    page.heading(f"{title}: tape marks", _EDGE, y, 4.6)
    tape = tape_marks.tape
    warm = f"{tape.temperature:g} C" + (
        f" ({tape.temperature * 1.8 + 32:.0f} F)" if units == "in" else ""
    )
    scale = (tape.true_per_shown - 1) * 1000
    corrected = (
        f"readings carry its correction of {-scale:+.2f} mm a metre"
        if abs(scale) >= 0.005
        else f"no correction (steel is true at {REFERENCE_CELSIUS:g} C)"
    )
    page.write(
        f"Class {tape.tape_class} tape at {warm}: {corrected}. {_stand(tape_marks, units)}",
        _EDGE,
        y - 6,
        _TEXT,
    )
    if tape_marks.slack != (1.0, 1.0):
        page.write(
            "For cloth not yet stretched: every figure here is for the slack cloth.",
            _EDGE,
            y - 10,
            _TEXT,
            colour=ACCENT,
        )
        y -= 4
    if says:
        *details, verdict = says
        alarm = ACCENT if verdict != "HOLDS" else INK
        page.write(f"Forecast: {verdict}", _EDGE, y - 11, 2.6, colour=alarm)
        wide = page.width - 2 * _EDGE
        y = page.paragraph(" ".join(details), _EDGE, y - 15.4, wide, 1.9) + 10.5
    return y - 12


def _stand(tape_marks: TapeMarks, units: Units) -> str:
    """Where the marks stand, in a sentence."""
    if tape_marks.at_nodes:
        return "Marks in rows, where sections meet."
    return f"Marks every {format_length(tape_marks.spacing, units)} at most."


def _sketch(page: Page, tape_marks: TapeMarks, layout: Layout, top: float) -> float:
    """The table seen from above, near edge below; the y under it."""
    corners = layout.top.corners_table
    low, high = corners.min(axis=0), corners.max(axis=0)
    width = page.width - 2 * _EDGE - 14
    scale = min(width / (high[0] - low[0]), 62 / (high[1] - low[1]))
    left = page.width / 2 - scale * (high[0] - low[0]) / 2
    base = float(top - 3 - scale * (high[1] - low[1]))

    def at(point: Sequence[float]) -> tuple[float, float]:
        return left + (point[0] - low[0]) * scale, base + (point[1] - low[1]) * scale

    page.line([at(corner) for corner in [*corners, corners[0]]], RULE, 0.5)
    ends = {mark.mark.id: at(mark.mark.at_table) for mark in tape_marks.marks}
    near, far = marks_on(tape_marks, "near"), marks_on(tape_marks, "far")
    a, b, c, d = (ends[m.mark.id] for m in (near[0], near[-1], far[-1], far[0]))
    page.line([a, c], RULE, 0.15)
    page.line([b, d], RULE, 0.15)
    page.line([a, b, c, d, a], INK, 0.2)
    x0, y0 = near[0].mark.at_table
    square = [(x0 + tape_marks.square.along.length, y0), (x0, y0 + tape_marks.square.up.length)]
    page.line([a, at(square[0]), at(square[1]), a], ACCENT, 0.45)
    for line in ("near", "far", "zero", "end"):
        _sketch_marks(page, line, marks_on(tape_marks, line), ends)
    _sketch_rows(page, tape_marks, ends)
    page.write("near edge", page.width / 2, base - 7.5, 1.9, align=0.5, colour=FAINT)
    page.write("zero end", left, base - 7.5, 1.9, colour=FAINT)
    return base - 13


def _sketch_marks(
    page: Page,
    line: TapeLine,
    marks: Sequence[TapeMark],
    ends: dict[str, tuple[float, float]],
) -> None:
    """Crosses on the sketch, and ids beside as many as have room."""
    spots = [ends[mark.mark.id] for mark in marks]
    for x, y in spots:
        page.line([(x - 0.7, y), (x + 0.7, y)], INK, 0.25)
        page.line([(x, y - 0.7), (x, y + 0.7)], INK, 0.25)
    if len(marks) < 1:
        return
    room = 8.0 if line in ("near", "far") else 3.2
    apart = math.dist(spots[0], spots[-1]) / max(len(spots) - 1, 1)
    step = max(1, math.ceil(room / apart)) if apart else 1
    dx, dy, align = {
        "near": (0.0, -3.9, 0.5),
        "far": (0.0, 2.3, 0.5),
        "zero": (-3.4, -0.8, 1.0),
        "end": (3.4, -0.8, 0.0),
    }[line]
    for index, (mark, (x, y)) in enumerate(zip(marks, spots, strict=True)):
        last = index == len(marks) - 1
        if last or (index % step == 0 and math.dist((x, y), spots[-1]) >= room):
            page.write(mark.mark.id, x + dx, y + dy, 1.7, align=align)


def _sketch_rows(page: Page, tape_marks: TapeMarks, ends: dict[str, tuple[float, float]]) -> None:
    """Small crosses for the rows between the long edges, and their letters."""
    named: set[str] = set()
    rows = marks_on(tape_marks, "row")
    middle = sum(ends[mark.mark.id][1] for mark in rows) / max(1, len(rows))
    for mark in rows:
        x, y = ends[mark.mark.id]
        page.line([(x - 0.5, y), (x + 0.5, y)], INK, 0.2)
        page.line([(x, y - 0.5), (x, y + 0.5)], INK, 0.2)
        if (letter := mark.mark.id.rstrip("0123456789")) not in named:
            named.add(letter)
            # Clear of the crosses of its own row, and towards the middle: no edge runs there.
            page.write(letter, x + 1.2, y + (1.3 if y < middle else -3.0), 1.7)


def _steps(page: Page, tape_marks: TapeMarks, units: Units, y: float) -> float:
    def shown(millimetres: float) -> str:
        return as_taped(millimetres, tape_marks.tape, units)

    near, far = marks_on(tape_marks, "near"), marks_on(tape_marks, "far")
    n0, n_last, f0, f_last = (m.mark.id for m in (near[0], near[-1], far[0], far[-1]))
    square, diagonals = tape_marks.square, tape_marks.diagonals
    along, up, slope = square.ratio
    steps = (
        f"Base line: set off {shown(tape_marks.offset_near.reading)} from the near edge at both "
        "ends; stretch a thread between the two and mark along it.",
        f"Zero: {shown(tape_marks.offset_zero.reading)} from the corner along the near edge, taken "
        f"up to the base line. This is {n0}.",
        f"Square, {along}-{up}-{slope}: from {n0} mark {shown(square.along.reading)} along the "
        f"base line; from {n0} swing {shown(square.up.reading)}, from that mark "
        f"{shown(square.slope.reading)}; the zero line runs from {n0} through their crossing.",
        f"{n_last}: {shown(near[-1].run.reading)} from {n0} along the base line. {f0}: "
        f"{shown(tape_marks.height.reading)} from {n0} on the zero line. {f_last}: where "
        f"{shown(tape_marks.height.reading)} from {n_last} and {shown(far[-1].run.reading)} from "
        f"{f0} meet. The far line runs between the two.",
        f"Diagonals {n0}-{f_last} and {f0}-{n_last}: each {shown(diagonals.run.reading)}, and "
        f"within {allowed_apart(diagonals, units)} of each other. If {n0}-{f_last} is the longer, "
        f"shift the far line towards the zero end by {_share(diagonals.shift_per_difference)} "
        "difference; if the shorter, away from it. Then measure both again.",
        *_row_steps(tape_marks, units),
        _last_step(tape_marks),
    )
    for number, step in enumerate(filter(None, steps), 1):
        page.write(f"{number}", _EDGE, y, _TEXT)
        y = page.paragraph(step, _EDGE + 5, y, page.width - 2 * _EDGE - 5, _TEXT) - 0.8
    for x, name in ((0.0, f"{n0}-{f_last}"), (0.5, f"{f0}-{n_last}")):
        start = _EDGE + 5 + x * (page.width - 2 * _EDGE - 5)
        end = start + page.write(f"{name} measured", start, y - 1.5, _TEXT) + 2
        page.line([(end, y - 2), (end + 40, y - 2)])
    return y - 9


def _last_step(tape_marks: TapeMarks) -> str:
    if tape_marks.at_nodes:
        return (
            "Then the marks below, row by row: lay the tape along the row's thread with its zero "
            "on the zero line, and mark all of the row without moving it. Never from the mark "
            "before. Make each a small cross: most stand on bare cloth, beside the lines to come."
        )
    return (
        "Then every mark below, each from the one zero of its own line: near and far marks from "
        "the zero line, zero and end marks from the base line. Never from the mark before."
    )


def _share(share: float) -> str:
    """How much of something, as a person says it: near enough where it is measured again."""
    nearest = min(_SHARES, key=lambda said: abs(said - share))
    return _SHARES[nearest]


_SHARES = {
    1 / 2: "half the",
    2 / 3: "two thirds of the",
    3 / 4: "three quarters of the",
    1.0: "the",
    1.5: "one and a half times the",
    2.0: "twice the",
    3.0: "three times the",
}


def _row_steps(tape_marks: TapeMarks, units: Units) -> Iterator[str]:
    """How the rows between the long edges are set out."""
    if tape_marks.rows:
        rows = ", ".join(
            f"{row.letter} {as_taped(row.up.reading, tape_marks.tape, units)}"
            for row in tape_marks.rows
        )
        yield (
            f"Rows, up from the base line on the zero line and on the last cross line: {rows}. "
            "Stretch a thread between the two and set out along it from the zero line."
        )


def allowed_apart(diagonals: Diagonals, units: Units) -> str:
    """How far the diagonals may differ, as the tape shows it, never more than the tape explains."""
    if units == "mm":
        return f"{diagonals.allowed:.1f} mm"
    parts = max(1, math.floor(diagonals.allowed / float(INCH) * 32))
    return f"{tape_fraction(Fraction(parts, 32))} in"


def reading_rows(tape_marks: TapeMarks, units: Units) -> Iterator[SheetRow]:
    """The readings along the table, then those across it; of marks at nodes, row by row."""
    if tape_marks.at_nodes:
        heights = {
            row.letter: as_taped(row.up.reading, tape_marks.tape, units) for row in tape_marks.rows
        }
        for mark in marks_on(tape_marks, "row"):
            letter = mark.mark.id.rstrip("0123456789")
            shown = as_taped(mark.run.reading, tape_marks.tape, units)
            yield SheetRow(shown, f"{letter}, {heights[letter]} up", (mark.mark.id,))
        return
    for pair, name in _PAIRS:
        ids: dict[float, list[str]] = {}
        for line in pair:
            for mark in marks_on(tape_marks, line):
                ids.setdefault(mark.run.reading, []).append(mark.mark.id)
        for reading, marks in ids.items():
            shown = as_taped(reading, tape_marks.tape, units)
            for first in range(0, len(marks), _MARKS_A_ROW):
                yield SheetRow(shown, name, tuple(marks[first : first + _MARKS_A_ROW]))


def _cautions(page: Page, top: float) -> None:
    y = top - 2
    page.line([(_EDGE, top + 1.5), (page.width - _EDGE, top + 1.5)], RULE, 0.2)
    for caution in CAUTIONS:
        y = page.paragraph(caution, _EDGE, y - 1, page.width - 2 * _EDGE, 2.0)


def _readings(page: Page, rows: list[SheetRow], top: float, foot: float) -> list[SheetRow]:
    """Draws rows in columns from the top left; returns those for which the page has no room."""
    wide = (page.width - 2 * _EDGE) / _COLUMNS
    most = int((top - foot - 4) / _TIGHT)
    fits, left = rows[: _COLUMNS * most], rows[_COLUMNS * most :]
    deep = max(1, math.ceil(len(fits) / _COLUMNS))
    pitch = min(_LOOSE, (top - foot - 4) / deep)
    for column in range(math.ceil(len(fits) / deep)):
        shown = fits[column * deep : (column + 1) * deep]
        _column(page, shown, _EDGE + column * wide, top, pitch, wide - 2.5)
    return left


def _column(
    page: Page, rows: Sequence[SheetRow], x: float, y: float, pitch: float, wide: float
) -> None:
    page.write("tape reads", x + _READING, y, 1.8, align=1.0, colour=FAINT)
    page.write("set", x + _BOX, y, 1.8, colour=FAINT)
    before = ""
    for row in rows:
        if row.line != before:
            page.line([(x, y - 1.5), (x + wide, y - 1.5)], INK, 0.3)
        before = row.line
        y -= pitch
        page.write(row.reading, x + _READING, y, 2.1, align=1.0)
        for place, mark in enumerate(row.marks):
            at = x + _BOX + place * _MARK
            page.box(at, y - 0.4, at + 2.4, y + 2.0)
            page.write(mark, at + 3.4, y, 2.0)
        page.line([(x, y - 1.5), (x + wide, y - 1.5)], RULE, 0.1)
