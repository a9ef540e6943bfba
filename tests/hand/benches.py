"""The three tables that sheets are looked at for, and their documents as MuPDF reads them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pymupdf

from tests.conftest import MILLRACE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.drawing.artwork import Artwork

METRIC = """
units = "mm"
tolerance = "1.5 mm"
table = { length = "213 cm", width = "91 cm" }
grid = { pitch = "1 cm", margin = "25 mm", end_margin = "25 mm", heavy_every = 10 }
hems = { depth = "20 cm", folds = ["double 10 cm", "double 8 cm", "double 4 cm", "single 3 cm"] }
numerals = { every = 5, clear = "6 mm" }
"""
ODD = """
table = { length = "12' 3 1/2\\"", width = "4' 10 1/2\\"" }
"""
BENCHES = {"millrace": MILLRACE, "metric": METRIC, "odd": ODD}
MM = 25.4 / 72


def opened(data: bytes) -> pymupdf.Document:
    """A PDF as MuPDF reads it."""
    return pymupdf.open(stream=data)


def rows_of(page: pymupdf.Page) -> list[list[str]]:
    """The words of a page in the lines that they stand in, left to right, by MuPDF."""
    words = sorted(page.get_text("words"), key=lambda word: (round(word[3] / 4), word[0]))
    rows: list[list[str]] = []
    last = -100.0
    for word in words:
        if abs(word[3] - last) > 3:
            rows.append([])
            last = word[3]
        rows[-1].append(word[4])
    return rows


def said_by(pages: Sequence[pymupdf.Page]) -> str:
    """All words of some pages, by MuPDF."""
    return " ".join(" ".join(page.get_text().split()) for page in pages)


def artwork_boxes(pages: Sequence[Artwork]) -> list[tuple[float, float]]:
    """Sizes in mm."""
    return [page.size for page in pages]
