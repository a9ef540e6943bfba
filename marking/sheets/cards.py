"""A card for every set-down: where to, what to see to, which marks to read, the verdict, a name.

Boxes for readings stand in the order in which they are typed. It draws what it is handed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.drawing.page import ACCENT, FAINT, INK
from marking.sheets.parts import EDGE, TEXT, headed, notes, tick_box

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.page import Page, PaperName

_ROW = 6.4
_ACROSS = 2
"""Cards beside each other."""
_GAP = 5.0
_READ_WIDE = 24.0
"""mm of one box to write a reading into."""


class Card(Struct, frozen=True):
    """One set-down."""

    name: str
    """The section's id."""
    count: str
    """Which of how many."""
    where: tuple[str, ...]
    """Where the device, the picture or the person goes, in sentences."""
    care: tuple[str, ...]
    """What to see to before it does."""
    reads: tuple[str, ...]
    """Ids of the marks to read, in the order in which they are typed."""
    columns: tuple[str, ...]
    """What is written down of each."""
    pens: tuple[str, ...]
    """Pen changes, in order."""
    verdicts: tuple[str, ...]
    """What the program may say, each with a box to tick."""


def card_pages(
    cards: Sequence[Card], title: str, paper: PaperName, chapter: str, said: Sequence[str] = ()
) -> list[Page]:
    """As many cards to a page as there is room for, in order, row by row; `said` stands above."""
    pages: list[Page] = []
    page, y = headed(paper, title, f"{title}: {chapter.lower()}", chapter=chapter)
    pages.append(page)
    y = notes(page, said, y) - 1.5 * bool(said)
    wide = (page.width - 2 * EDGE - _GAP * (_ACROSS - 1)) / _ACROSS
    left = list(cards)
    while left:
        row, left = left[:_ACROSS], left[_ACROSS:]
        deep = max(_card(None, card, 0.0, 0.0, wide) for card in row)
        if y - deep < EDGE and y < page.height - EDGE - 20:
            page, y = headed(paper, title, f"{title}: {chapter.lower()}, continued")
            pages.append(page)
        for place, card in enumerate(row):
            x = EDGE + place * (wide + _GAP)
            _card(page, card, x, y, wide)
            page.box(x, y - deep, x + wide, y + 1.0)
        y -= deep + _GAP
    return pages


def _card(page: Page | None, card: Card, x: float, top: float, wide: float) -> float:
    """Draws one card where there is a page; how deep it is."""
    from marking.drawing.page import Page as _Page

    drawn = page if page is not None else _Page("a4", "")
    inner, left = wide - 6.0, x + 3.0
    y = top - 5.4
    drawn.write(card.name, left, y, 4.2)
    drawn.write(card.count, x + wide - 3.0, y, TEXT, align=1.0, colour=FAINT)
    y -= 6.0
    for line in card.where:
        y = drawn.paragraph(line, left, y, inner, TEXT) - 0.6
    for line in card.care:
        y = drawn.paragraph(line, left, y, inner, TEXT, ACCENT) - 0.6
    for line in card.pens:
        tick_box(drawn, left, y)
        y = drawn.paragraph(line, left + 5.0, y, inner - 5.0, TEXT) - 0.6
    if card.reads:
        for place, column in enumerate(card.columns):
            at = left + 22.0 + place * (_READ_WIDE + 3.0)
            drawn.write(column, at, y, 2.0, colour=FAINT)
        y -= 1.4
    for mark in card.reads:
        y -= _ROW
        drawn.write(mark, left, y + 1.2, 2.8)
        for place, _ in enumerate(card.columns):
            at = left + 22.0 + place * (_READ_WIDE + 3.0)
            drawn.box(at, y, at + _READ_WIDE, y + _ROW - 1.0)
    y -= 5.0
    at = left
    for verdict in card.verdicts:
        tick_box(drawn, at, y)
        at += 4.2 + drawn.write(verdict, at + 4.2, y, 2.0) + 3.0
    y -= 8.0
    drawn.write("done by", left, y, 2.0, colour=FAINT)
    drawn.line([(left + 12.0, y - 0.6), (left + 0.62 * inner, y - 0.6)], INK, 0.2)
    drawn.write("at", left + 0.64 * inner, y, 2.0, colour=FAINT)
    drawn.line([(left + 0.69 * inner, y - 0.6), (left + inner, y - 0.6)], INK, 0.2)
    return top - (y - 3.0)
