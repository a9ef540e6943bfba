"""The picture of the ways: every word legible, and what holds told from what does not in grey."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from marking.drawing.artwork import Shape
from marking.drawing.png import png
from marking.network.allowed_errors import Allowed
from marking.output.ways_picture import ways_picture
from marking.ways.acts import Act
from marking.ways.way import ExpectedErrors, Way, ranked
from tests.output.printed import words_of
from tests.output.test_sheets_are_legible import overprinted

SAYS = "hem bands and numerals by plotter, against a fence, cross lines ruled"
WAYS = (
    Way("hand", "by hand", "hand", (Act("all", 1, 20_000),), ExpectedErrors(1, 1, 1, 1, 0.5)),
    Way(
        "flatbed-a3-bands-fence",
        SAYS,
        "a3",
        (Act("all", 1, 30_000),),
        ExpectedErrors(1, 1, 1, 1, 2),
    ),
    Way(
        "flatbed-a4",
        SAYS,
        "a4",
        (Act("all", 1, 99_000, parted=True),),
        ExpectedErrors(1, 1, 1, 1, 2),
    ),
    Way("roll-36", SAYS, "roll", (), None, cannot="cannot be done: too narrow"),
)


def test_no_word_stands_over_another_or_off_the_sheet() -> None:
    drawn = ways_picture(ranked(WAYS, Allowed(1.6), 10_800), "Millrace bench", "hand")
    written = words_of(drawn)
    x0, y0, x1, y1 = drawn.box
    for text, (left, low, right, high) in written:
        assert x0 < left < right < x1, text
        assert y0 < low < high < y1, text
    assert overprinted(written) == []
    words = [text for text, _ in written]
    assert {"holds", "does not hold", "chosen", "Cannot be done here: roll-36."} <= set(words)


def test_in_grey_a_bar_that_holds_is_dark_and_one_that_does_not_is_light() -> None:
    drawn = ways_picture(ranked(WAYS[:2], Allowed(1.6), 10_800), "Millrace bench")
    grey = np.asarray(Image.open(io.BytesIO(png(drawn, 1200))).convert("L"))
    x0, y0, x1, y1 = drawn.box
    layers = {layer.name: layer for layer in drawn.layers}

    def shade(name: str) -> int:
        bar = layers[name].items[0]
        assert isinstance(bar, Shape)
        corners = bar.lines[0]
        # Beside the line of the range, which runs through the middle of a bar.
        x, y = corners[:, 0].mean(), corners[:, 1].min() + 0.2 * np.ptp(corners[:, 1])
        column = (x - x0) / (x1 - x0) * grey.shape[1]
        row = (y1 - y) / (y1 - y0) * grey.shape[0]
        return int(grey[int(row), int(column)])

    assert shade("bars-holding") < 110
    assert shade("bars-not-holding") > 240
