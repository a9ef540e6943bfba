"""What every sheet is put together from: a head, numbered steps, notes, a box to tick.

Sizes are heights of a capital in mm: 2.4 is read at an arm's length of half a metre (16 minutes of
arc, ISO 9241-3). It knows pages and no table.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.drawing.page import ACCENT, INK, LEADING, RULE, Page

if TYPE_CHECKING:
    from collections.abc import Iterable

    from marking.drawing.page import PaperName

EDGE = 13.0
"""mm of bare paper on all sides."""
TITLE, TEXT, SMALL = 4.4, 2.4, 2.0
TICK = 3.0
"""Of a box to tick, on a side."""
_INDENT = 6.0


def headed(paper: PaperName, title: str, heading: str, *, chapter: str = "") -> tuple[Page, float]:
    """A page titled `title` that begins with `heading`; the baseline under it."""
    page = Page(paper, title, chapter=chapter)
    y = page.height - EDGE - 5
    page.heading(heading, EDGE, y, TITLE)
    page.line([(EDGE, y - 2.4), (page.width - EDGE, y - 2.4)], INK, 0.4)
    return page, y - 8.5


def section(page: Page, text: str, y: float) -> float:
    """A heading within a page; the baseline under it."""
    page.write(text, EDGE, y, 3.0)
    return y - 5.4


def steps(page: Page, said: Iterable[str], y: float, *, first: int = 1) -> float:
    """Numbered steps; the baseline after them."""
    for number, step in enumerate(said, first):
        page.write(f"{number}", EDGE, y, TEXT)
        y = page.paragraph(step, EDGE + _INDENT, y, page.width - 2 * EDGE - _INDENT, TEXT) - 1.0
    return y


def steps_depth(page: Page, said: Iterable[str]) -> float:
    """mm that numbered steps take under their heading, from its baseline to the last of theirs."""
    scratch = _scratch(page)
    return -steps(scratch, said, section(scratch, "", 0.0)) - LEADING * TEXT - 1.0


def note_depth(page: Page, said: str) -> float:
    """mm from the first baseline of a note to its last."""
    return -notes(_scratch(page), [said], 0.0) - LEADING * TEXT - 0.8


def _scratch(page: Page) -> Page:
    """As wide a page, to try on what something takes."""
    scratch = Page("a4", "")
    scratch.width = page.width
    return scratch


def notes(page: Page, said: Iterable[str], y: float, colour: str = INK) -> float:
    """Paragraphs; the baseline after them."""
    for note in said:
        y = page.paragraph(note, EDGE, y, page.width - 2 * EDGE, TEXT, colour) - 0.8
    return y


def cautions(page: Page, said: Iterable[str], y: float) -> float:
    """Cautions in a frame of their own, so that greyscale parts them too; the baseline after."""
    top = y + 4.6
    page.write("Take care", EDGE + 2.5, y, TEXT, colour=ACCENT)
    y -= 4.8
    for caution in said:
        wide = page.width - 2 * EDGE - 5.0
        y = page.paragraph(caution, EDGE + 2.5, y, wide, 2.2, ACCENT) - 0.5
    page.box(EDGE, y + 2.0, page.width - EDGE, top, ACCENT)
    return y - 3.0


def tick_box(page: Page, x: float, y: float) -> None:
    """An empty box whose foot stands on the baseline."""
    page.box(x, y - 0.3, x + TICK, y - 0.3 + TICK)


def rule_under(page: Page, x0: float, x1: float, y: float) -> None:
    """A light line that guides the eye along a row."""
    page.line([(x0, y), (x1, y)], RULE, 0.12)
