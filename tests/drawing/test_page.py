"""A paragraph on a printed page, by the lines that PDFium finds of it."""

from __future__ import annotations

import pytest

from marking.drawing.page import Page
from tests.output.printed import words_of


@pytest.mark.parametrize(
    ("said", "whole"),
    [
        ("diagonals 131 1/2 in from the corner, 130 5/8 in", ("131 1/2 in", "130 5/8 in")),
        ("lines at 1040 mm and 1.5 m, in the middle", ("1040 mm", "1.5 m")),
    ],
)
def test_no_line_of_a_sheet_ends_within_a_length(said: str, whole: tuple[str, ...]) -> None:
    """131 at the end of one line and 1/2 in on the next are read as two lengths."""
    for wide in range(24, 90):
        page = Page("a4", "")
        page.paragraph(said, 13.0, 200.0, float(wide), 2.4)
        lines = [text for text, _ in words_of(page.artwork)]
        assert " ".join(lines) == said
        for length in whole:
            assert any(length in line for line in lines), (wide, lines)
