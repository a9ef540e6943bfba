"""The sheet to measure a cover by that was marked before, and the card of its known errors.

It draws what `marking.marked_before` works out on pages of `marking.drawing.page`, and computes
nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.page import ACCENT, FAINT, INK, RULE
from marking.marked_before.words import NOTES, TWO_SIDED
from marking.measures.tape import as_taped, tape_reading
from marking.output.proof_sheet import begun

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import Page, PaperName
    from marking.marked_before.errors import OffCover, OffLine
    from marking.marked_before.readings import SpotToMeasure
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

_EDGE, _TEXT, _ROW = 13.0, 2.1, 5.6
_CARD_ROW, _CARD_TEXT = 6.4, 2.8
_COLUMNS = 3
_NAMES = (
    "near-12 is from 0 to 12 on the near long line, far-12 on the far one. A name that ends in "
    "-zero is read across the table along the zero line, from the near long line to the line "
    "named; one in -end along the last cross line. Lines of a band are counted from its edge."
)
"""Of the sheet alone: the list on a screen says it of each."""
_AGAIN = (
    "Not to be pinned up: diagonals, edges and widths contradict each other. Measure them again "
    "first."
)


def sheet_pages(
    spots: Sequence[SpotToMeasure],
    tape: Tape,
    title: str,
    units: Units,
    paper: PaperName,
    notes: Sequence[str] = (),
) -> tuple[Artwork, ...]:
    """What to measure, with room to write; `notes` is what to know of this table."""
    pages: list[Page] = []
    left = spots
    while left:
        heading = f"{title}: a cover marked before"
        page, y = begun(pages, paper, heading, heading)
        for note in (*NOTES, _NAMES, *notes) if len(pages) == 1 else ():
            y = page.paragraph(note, _EDGE, y, page.width - 2 * _EDGE, _TEXT) - 0.6
        if len(pages) == 1:
            y = _numbers(page, y - 3.0)
        rows = int((y - 6 - _EDGE) / _ROW) - 1
        shown, left = left[: 2 * rows], left[2 * rows :]
        wide = (page.width - 2 * _EDGE) / 2
        for column in range(2):
            part = shown[column * rows : (column + 1) * rows]
            if part:
                _to_measure(page, part, _EDGE + column * wide, y - 2, wide - 4, tape, units)
    return tuple(page.artwork for page in pages)


def _numbers(page: Page, y: float) -> float:
    """Room for the numerals of both sides as they stand; the baseline after it."""
    half = (page.width - 2 * _EDGE) / 2
    for place, side in enumerate(("near", "far")):
        x = _EDGE + place * half
        end = x + page.write(f"numbers, {side} side", x, y, _TEXT) + 2.0
        page.line([(end, y - 0.6), (x + half - 4.0, y - 0.6)], INK, 0.2)
    return y - 6.0


def _to_measure(
    page: Page,
    spots: Sequence[SpotToMeasure],
    x: float,
    y: float,
    wide: float,
    tape: Tape,
    units: Units,
) -> None:
    page.write("name", x, y, 1.8, colour=FAINT)
    page.write("if true", x + 56, y, 1.8, align=1.0, colour=FAINT)
    page.write("tape shows", x + 60, y, 1.8, colour=FAINT)
    page.line([(x, y - 1.6), (x + wide, y - 1.6)], INK, 0.3)
    y -= _ROW
    for spot in spots:
        shown = as_taped(tape_reading(spot.nominal, tape), tape, units)
        page.write(spot.id, x, y, _TEXT)
        page.write(shown, x + 56, y, 2.0, align=1.0, colour=FAINT)
        if spot.kind == "diagonal":
            page.write(" - ".join(spot.between), x, y - 3.2, 1.7, colour=FAINT)
            y -= 2.4
        page.line([(x + 60, y - 0.6), (x + wide, y - 0.6)], INK, 0.2)
        page.line([(x, y - 2.2), (x + wide, y - 2.2)], RULE, 0.1)
        y -= _ROW


def card_pages(
    off: OffCover, tape: Tape, title: str, units: Units, paper: PaperName
) -> tuple[Artwork, ...]:
    """The card to pin up beside the table: each line that was measured, and how far it is off."""
    by_line = _by_line(off.lines)
    pages: list[Page] = []
    left = list(by_line)
    while left or not pages:
        heading = f"{title}: known errors"
        page, y = begun(pages, paper, heading, heading)
        if len(pages) == 1:
            y = _how_to_use(page, off, y)
        rows = max(1, int((y - 8 - _EDGE) / _CARD_ROW))
        shown, left = left[: _COLUMNS * rows], left[_COLUMNS * rows :]
        wide = (page.width - 2 * _EDGE) / _COLUMNS
        for column in range(_COLUMNS):
            part = shown[column * rows : (column + 1) * rows]
            if part:
                at = _EDGE + column * wide
                _errors(page, part, by_line, at, y - 2, wide - 6, tape, units)
    return tuple(page.artwork for page in pages)


def _how_to_use(page: Page, off: OffCover, y: float) -> float:
    wide = page.width - 2 * _EDGE
    text = (
        "Plus: the line lies too far out, and a length cut at it comes out too long by as much; "
        "minus: too short. Of a number: on the near side, on the far side; of a line of a band: at "
        "the zero end, at the far end. What is within the tape's doubt is shown as true. Between "
        "these lines nothing is known."
    )
    if off.contradicted:
        y = page.paragraph(_AGAIN, _EDGE, y, wide, 2.8, ACCENT) - 1.5
    y = page.paragraph(text, _EDGE, y, wide, 2.4) - 1.5
    for wrong in off.numbers:
        y = page.paragraph(f"Numbers: {wrong}.", _EDGE, y, wide, 2.8, ACCENT) - 1.0
    return y - 2


def _by_line(lines: Sequence[OffLine]) -> dict[str, dict[str, OffLine]]:
    """Lines as a person calls them, each with its error on the near and the far side, or ends."""
    found: dict[str, dict[str, OffLine]] = {}
    for line in lines:
        side, _, number = line.id.partition("-")
        name = number
        if side not in ("near", "far") or not number.isdigit():
            name, _, side = line.id.rpartition("-")
        found.setdefault(name, {})[side] = line
    return found


def _errors(
    page: Page,
    names: Sequence[str],
    by_line: dict[str, dict[str, OffLine]],
    x: float,
    y: float,
    wide: float,
    tape: Tape,
    units: Units,
) -> None:
    page.write("line", x, y, 2.0, colour=FAINT)
    page.write("near / zero", x + wide - 21, y, 2.0, align=1.0, colour=FAINT)
    page.write("far / end", x + wide, y, 2.0, align=1.0, colour=FAINT)
    page.line([(x, y - 1.6), (x + wide, y - 1.6)], INK, 0.3)
    for name in names:
        y -= _CARD_ROW
        page.write(name, x, y, _CARD_TEXT if name.isdigit() else 2.0)
        for at, sides in ((wide - 21, ("near", "zero")), (wide, ("far", "end"))):
            line = next((by_line[name][side] for side in sides if side in by_line[name]), None)
            if line is None:
                continue
            said = _said(line, tape, units)
            colour = FAINT if said == "true" else INK
            page.write(said, x + at, y, 2.4, align=1.0, colour=colour)
        page.line([(x, y - 2.0), (x + wide, y - 2.0)], RULE, 0.1)


def _said(line: OffLine, tape: Tape, units: Units) -> str:
    if abs(line.error) <= TWO_SIDED * line.sd:
        return "true"
    shown = as_taped(abs(line.error), tape, units)
    return "true" if shown.startswith("0 ") else f"{'+' if line.error > 0 else '-'}{shown}"
