"""The sheet of distances to measure on a finished cover, with room to write them down.

It draws what `marking.proof.distances` chooses on pages of `marking.drawing.page`, and chooses
nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.page import FAINT, INK, RULE, Page
from marking.measures.tape import as_taped, tape_reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork
    from marking.drawing.page import Paper
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distances import ProofPlan
    from marking.proof.places import Distance

_EDGE = 13.0
_ROW = 6.8
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


def proof_pages(
    plan: ProofPlan, tape: Tape, title: str, units: Units, paper: Paper
) -> tuple[Artwork, ...]:
    """The pages, as many as the distances need."""
    pages: list[Page] = []
    left: Sequence[Distance] = plan.distances
    while left or not pages:
        page = Page(paper, f"{title}: proof")
        y = page.height - _EDGE - 5
        more = ", continued" if pages else ""
        page.write(f"{title}: distances to measure{more}", _EDGE, y, 4.2)
        y -= 9
        for note in _NOTES if not pages else ():
            y = page.paragraph(note, _EDGE, y, page.width - 2 * _EDGE, _TEXT) - 0.6
        room = 2 * int((y - 8 - _EDGE) / _ROW)
        shown, left = left[:room], left[room:]
        half = (len(shown) + 1) // 2
        wide = (page.width - 2 * _EDGE) / 2
        for column, part in enumerate((shown[:half], shown[half:])):
            _column(page, part, _EDGE + column * wide, y - 2, wide - 4, tape, units)
        pages.append(page)
    return tuple(page.artwork for page in pages)


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
        (64.0, "if true", 1.0),
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
        page.write(as_taped(shown, tape, units), x + 64, y, 2.0, align=1.0)
        page.line([(x + 66, y - 0.6), (x + wide, y - 0.6)], INK, 0.2)
        page.line([(x, y - 3.0), (x + wide, y - 3.0)], RULE, 0.1)
