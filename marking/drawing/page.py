"""A printed page: type, rules and boxes on a sheet of paper, in the order that it is read.

Page frame: millimetres, origin at the lower left, y up. It knows no table.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

from marking.drawing.artwork import Artwork, Style
from marking.drawing.typeface import text_width

if TYPE_CHECKING:
    from collections.abc import Sequence


PaperName = Literal["a4", "letter"]
PAPERS: dict[PaperName, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216, and ANSI A."""
INK, FAINT, ACCENT = "#1d2129", "#6b7280", "#a4400f"
RULE = "#b5bcc7"
"""Lines that only guide the eye: lighter than any type may be."""
LEAST_HEADING = 2.6
"""mm: a capital of a heading that has a long title to hold."""
LEADING = 1.9
"""From one baseline of a paragraph to the next, in heights of a capital."""
_IN_A_LENGTH = re.compile(r"(?<=\d) (?=\d+/\d|(?:in|ft|mm|cm|m)\b)")
_KEPT = "\0"
"""The spaces within a length: at "131", or at "1/2 in", a line must not part "131 1/2 in"."""


def shortened_to(room: float, text: str) -> str:
    """`text`, its end cut off where it is wider than `room` heights of a capital."""
    if text_width(text) <= room:
        return text
    kept = text
    while kept and text_width(f"{kept}…") > room:
        kept = kept[:-1].rstrip()
    return f"{kept}…"


class Page:
    """A page under construction, on its artwork."""

    def __init__(
        self, paper: PaperName, title: str, *, lying: bool = False, chapter: str = ""
    ) -> None:
        """`lying`: its long side at the bottom. `chapter` is what its PDF's outline calls it."""
        self.width, self.height = PAPERS[paper][::-1] if lying else PAPERS[paper]
        box = (0.0, 0.0, self.width, self.height)
        self.artwork = Artwork(box, title, "A sheet to print at 100 %.")
        self.artwork.chapter = chapter

    def area(self, corners: Sequence[tuple[float, float]], fill: str) -> None:
        """A filled area without a rim."""
        self.artwork.on_top(Style(fill=fill)).area(corners)

    def line(
        self, points: Sequence[tuple[float, float]], colour: str = INK, width: float = 0.25
    ) -> None:
        """A polyline."""
        self.artwork.on_top(Style(stroke=colour, width=width)).line(points)

    def box(self, x0: float, y0: float, x1: float, y1: float, colour: str = INK) -> None:
        """A rectangle."""
        self.artwork.on_top(Style(stroke=colour, width=0.25)).box((x0, y0, x1, y1))

    def write(
        self, text: str, x: float, y: float, size: float, *, align: float = 0.0, colour: str = INK
    ) -> float:
        """Text on the baseline y, capitals `size` mm high; its width in mm.

        Its left edge (align 0), middle (0.5) or right edge (1) stands at x.
        """
        return self.artwork.on_top(Style(fill=colour)).write(text, x, y, size, align)

    def heading(self, text: str, x: float, y: float, size: float) -> None:
        """What heads the page, from x on: smaller where it is long, at last cut short.

        What stands before a colon, the job's title, is cut first: what follows tells pages apart.
        """
        room = self.width - 2 * x
        size = min(size, max(LEAST_HEADING, room / text_width(text)))
        title, colon, rest = text.partition(": ")
        shown = shortened_to(room / size - text_width(colon + rest), title) + colon + rest
        self.write(shortened_to(room / size, shown), x, y, size)

    def paragraph(
        self, text: str, x: float, y: float, width: float, size: float, colour: str = INK
    ) -> float:
        """Text broken into lines no wider than `width`; the baseline after its last line.

        A length stays in one line, so that nobody reads half of it.
        """
        words, line = _IN_A_LENGTH.sub(_KEPT, text).split(" "), ""
        for word in (word.replace(_KEPT, " ") for word in words if word):
            longer = f"{line} {word}".strip()
            if line and text_width(longer) * size > width:
                self.write(line, x, y, size, colour=colour)
                y -= LEADING * size
                longer = word
            line = longer
        self.write(line, x, y, size, colour=colour)
        return y - LEADING * size


def number_pages(pages: Sequence[Artwork], title: str) -> None:
    """Writes at the foot of every page which of how many it is, and of what."""
    for count, page in enumerate(pages, 1):
        width, _ = page.size
        foot = page.on_top(Style(fill=FAINT))
        said = f", page {count} of {len(pages)}"
        shown = shortened_to((width - 26.0) / 2.0 - text_width(said), title)
        foot.write(f"{shown}{said}", width - 13.0, 7.5, 2.0, 1.0)
