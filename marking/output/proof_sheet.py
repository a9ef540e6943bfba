"""The sheet of distances to measure on a finished cover, with room to write them down.

It draws what `marking.proof.distances` chooses on pages of `marking.drawing.page`, and chooses
nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.page import ACCENT, FAINT, INK, RULE, Page
from marking.job.line_numbers import lines_counted
from marking.measures.lengths import format_length
from marking.measures.tape import as_taped, tape_reading
from marking.proof.sheet_words import VERNIER_NOTES
from marking.proof.verniers import DIVISIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import PaperName
    from marking.job.keys import NumeralsTable
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distances import ProofPlan
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinVernier

_EDGE = 13.0
_ROW = 6.8
_LOW_ROW = 5.8
_TEXT = 2.1
_NOTES = (
    "A number is a cross line. Near and far are the first long lines; up is counted from the near "
    "one, down from the far one. Where no long line runs, keep the tape level by eye.",
    "Measure to the middle of each line, with one tape drawn taut and flat, from a printed mark "
    "and not the hook. Write down what the tape shows, without correction.",
    "Thread: stretch one along the long line between its two ends; measure from it to the line at "
    "the place named, plus towards the far edge, minus towards the near one. Along a number: "
    "stretch it along that cross line, near line to far; plus towards the far end, minus "
    "towards the zero end.",
    "Reach in from the edges or measure with two people. Nobody climbs on the table.",
)


def begun(pages: list[Page], paper: PaperName, title: str, heading: str) -> tuple[Page, float]:
    """The next of `pages` to write measurements on, under its heading; the baseline after it."""
    page = Page(paper, title)
    more = ", continued" if pages else ""
    page.heading(f"{heading}{more}", _EDGE, page.height - _EDGE - 5, 4.2)
    pages.append(page)
    return page, page.height - _EDGE - 14


def proof_pages(
    plan: ProofPlan,
    verniers: Sequence[JoinVernier],
    tape: Tape,
    title: str,
    units: Units,
    paper: PaperName,
    numerals: NumeralsTable,
    says: Sequence[str] = (),
) -> tuple[Artwork, ...]:
    """The pages, as many as the distances need, and after them those of the verniers.

    `says` is how well they tell, and what else to know before, in sentences of its own.
    """
    pages: list[Page] = []
    left: Sequence[Distance] = plan.distances
    while left or not pages:
        page, y = begun(pages, paper, f"{title}: proof", f"{title}: distances to measure")
        first = len(pages) == 1
        for note in (*_NOTES, *lines_counted(numerals)) if first else ():
            y = page.paragraph(note, _EDGE, y, page.width - 2 * _EDGE, _TEXT) - 0.6
        for note in says if first else ():
            y = page.paragraph(note, _EDGE, y, page.width - 2 * _EDGE, _TEXT, ACCENT) - 0.6
        room = 2 * int((y - 8 - _EDGE) / _ROW)
        shown, left = left[:room], left[room:]
        half = (len(shown) + 1) // 2
        wide = (page.width - 2 * _EDGE) / 2
        for column, part in enumerate((shown[:half], shown[half:])):
            _column(page, part, _EDGE + column * wide, y - 2, wide - 4, tape, units)
    pages += _vernier_pages(verniers, title, units, paper)
    return tuple(page.artwork for page in pages)


def _vernier_pages(
    verniers: Sequence[JoinVernier], title: str, units: Units, paper: PaperName
) -> list[Page]:
    """How to read them, with two drawn as they look, and room to write each down."""
    pages: list[Page] = []
    left = verniers
    while left:
        heading = f"{title}: verniers to read over the joins"
        page, y = begun(pages, paper, f"{title}: proof", heading)
        if len(pages) == 1:
            for note in VERNIER_NOTES:
                y = page.paragraph(note, _EDGE, y, page.width - 2 * _EDGE, _TEXT) - 0.6
            y = _drawn(page, y - 3)
        room = 3 * int((y - 8 - _EDGE) / _LOW_ROW)
        shown, left = left[:room], left[room:]
        third = -(-len(shown) // 3)
        wide = (page.width - 2 * _EDGE) / 3
        for column in range(3):
            part = shown[column * third : (column + 1) * third]
            if part:
                _vernier_column(page, part, _EDGE + column * wide, y - 2, wide - 4, units)
    return pages


def _drawn(page: Page, y: float) -> float:
    """Two verniers twice their size, where the middle lines meet and where the second ones do."""
    scale, pitch = 2.0, 2.0
    for n, (step, says) in enumerate(((0.0, "0.0 mm"), (0.4, "+0.4 mm"))):
        x = page.width * (1 + 2 * n) / 4
        for second in (False, True):
            for k in range(-DIVISIONS, DIVISIONS + 1):
                at = x + scale * ((step + 0.9 * k * pitch) if second else k * pitch)
                long = 6.0 if k == 0 else 4.8 if abs(k) == DIVISIONS else 4.0
                meets = abs(step - 0.1 * k * pitch) < 1e-9
                end = y - 12 + scale * (long if second else -long)
                page.line([(at, y - 12), (at, end)], INK if meets else FAINT, 0.9 if meets else 0.5)
        page.write(says, x, y - 12 - scale * 6.0 - 4.0, _TEXT, align=0.5)
    return y - 12 - scale * 6.0 - 7.0


def _vernier_column(
    page: Page, verniers: Sequence[JoinVernier], x: float, y: float, wide: float, units: Units
) -> None:
    headings = ((0.0, "id"), (9.0, "join, which way, a line"), (wide - 15, "reads (mm)"))
    for at, heading in headings:
        page.write(heading, x + at, y, 1.8, colour=FAINT)
    page.line([(x, y - 1.6), (x + wide, y - 1.6)], INK, 0.3)
    for vernier in verniers:
        y -= _LOW_ROW
        way = ("along", "across")[vernier.axis]
        page.write(vernier.id, x, y, _TEXT)
        counts = f"{vernier.join} {way}, {vernier.pitch / 10:.2f}"
        page.write(counts, x + 9, y + 1.0, 1.8)
        place = ", ".join(format_length(one, units) for one in vernier.at)
        page.write(f"at {place}", x + 9, y - 1.6, 1.7)
        page.line([(x + wide - 15, y - 0.6), (x + wide, y - 0.6)], INK, 0.2)
        page.line([(x, y - 2.4), (x + wide, y - 2.4)], RULE, 0.1)


def _column(
    page: Page,
    distances: Sequence[Distance],
    x: float,
    y: float,
    wide: float,
    tape: Tape,
    units: Units,
) -> None:
    if not distances:
        return
    for at, heading, align in (
        (0.0, "id", 0.0),
        (9.0, "from - to", 0.0),
        (64.0, "if true; for", 1.0),
        (66.0, "tape shows", 0.0),
    ):
        page.write(heading, x + at, y, 1.8, align=align, colour=FAINT)
    page.line([(x, y - 1.6), (x + wide, y - 1.6)], INK, 0.3)
    for distance in distances:
        y -= _ROW
        page.write(distance.id, x, y, _TEXT)
        page.write(distance.between[0], x + 9, y + 1.3, 1.8)
        page.write(distance.between[1], x + 9, y - 1.8, 1.8)
        shown = tape_reading(distance.nominal, tape)
        page.write(as_taped(shown, tape, units), x + 64, y + 1.2, 2.0, align=1.0)
        if distance.purpose:
            page.write(distance.purpose, x + 64, y - 1.8, 1.8, align=1.0, colour=FAINT)
        page.line([(x + 66, y - 0.6), (x + wide, y - 0.6)], INK, 0.2)
        page.line([(x, y - 3.0), (x + wide, y - 3.0)], RULE, 0.1)
