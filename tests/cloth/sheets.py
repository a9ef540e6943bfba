"""What every sheet that is carried to the table has to show, as PDFium reads it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from tests.output.printed import words_of
from tests.output.test_sheets_are_legible import SMALLEST

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork


def assert_read_at_arms_length(page: Artwork) -> None:
    """Every line of type with a figure is high enough, and no length is finer than a tape shows."""
    for text, (_, low, _, high) in words_of(page):
        assert high - low > SMALLEST or not re.search(r"\d", text), text
        assert not re.search(r"\d in [+-] \d", text), text
