"""Where the locating marks lie that the cards ask for, and what each of them is.

It draws what the division says of its marks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.page import FAINT, INK
from marking.measures.lengths import rough_length
from marking.sheets.parts import EDGE, SMALL, TEXT, headed, notes, rule_under

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from marking.drawing.page import Page, PaperName
    from marking.measures.lengths import Units
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Plan

_COLUMNS = 3
_ROW = 4.6
_ALONG, _ACROSS, _WHAT = 26.0, 43.0, 45.0
"""mm into a column: where the two readings end, and where it says what the mark is."""
_KINDS = {"grid": "crossing", "cross": "tick"}
"""Those that ink or the removable pen leaves; tape marks have a sheet of their own."""
_SAID = (
    "Read by the cards that follow. Along is from the zero end, across from the near edge, both "
    "by tape from the zero corner: near enough to find a mark. A crossing is where two lines that "
    "are inked already cross; a tick is drawn with the removable pen by a section before."
)


def locating_pages(
    plan: Plan, read: Collection[str], units: Units, title: str, paper: PaperName
) -> list[Page]:
    """A row for each locating mark of `plan` among the ids `read`; no page where there is none."""
    found = {mark.id: mark for section in plan.sections for mark in section.locating_marks}
    left = [mark for mark in found.values() if mark.id in read and mark.kind in _KINDS]
    left.sort(key=lambda mark: mark.id)
    pages: list[Page] = []
    heading = f"{title}: locating marks"
    while left:
        chapter = "" if pages else "Locating marks"
        page, y = headed(
            paper, title, f"{heading}{', continued' if pages else ''}", chapter=chapter
        )
        if not pages:
            y = notes(page, [_SAID], y) - 1.0
        deep = min(int((y - 6.0 - EDGE) / _ROW), -(-len(left) // _COLUMNS))
        wide = (page.width - 2 * EDGE) / _COLUMNS
        for place in range(_COLUMNS):
            rows, left = left[:deep], left[deep:]
            if rows:
                _column(page, rows, units, EDGE + place * wide, y, wide - 4.0)
        pages.append(page)
    return pages


def _column(
    page: Page, marks: Sequence[Mark], units: Units, x: float, y: float, wide: float
) -> None:
    page.write("mark", x, y, SMALL, colour=FAINT)
    page.write("along", x + _ALONG, y, SMALL, align=1.0, colour=FAINT)
    page.write("across", x + _ACROSS, y, SMALL, align=1.0, colour=FAINT)
    page.line([(x, y - 1.5), (x + wide, y - 1.5)], INK, 0.3)
    for mark in marks:
        y -= _ROW
        along, across = (rough_length(v, units) for v in mark.at_table)
        page.write(mark.id, x, y, TEXT)
        page.write(along, x + _ALONG, y, SMALL, align=1.0)
        page.write(across, x + _ACROSS, y, SMALL, align=1.0)
        page.write(_KINDS[mark.kind], x + _WHAT, y, SMALL, colour=FAINT)
        rule_under(page, x, x + wide, y - 1.3)
