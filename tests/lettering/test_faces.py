"""The shipped faces, held against vpype's own setting of Hershey's (`vpype.text_line`)."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
import vpype

from marking.errors import BadInputError
from marking.lettering.glyphs import STOCK_FACE, face, letter_numeral

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

WITHOUT_DIGITS = {"markers"}
"""Faces of vpype's that numerals cannot be set in."""


def ink(strokes: Sequence[NDArray[np.float64]]) -> set[frozenset[tuple[float, float]]]:
    """Every straight bit, whichever way it is drawn, from the least x and y, one size for both."""
    points = np.concatenate(strokes)
    low, high = points.min(axis=0), points.max(axis=0)
    return {
        frozenset((round(x, 6) + 0.0, round(y, 6) + 0.0) for x, y in pair)
        for stroke in strokes
        for placed in [((stroke - low) / (high - low)[1]).tolist()]
        for pair in itertools.pairwise(placed)
        if pair[0] != pair[1]
    }


@pytest.mark.parametrize("name", sorted({STOCK_FACE, *vpype.FONT_NAMES} - WITHOUT_DIGITS))
def test_every_digit_of_every_face_is_drawn_as_vpype_draws_it(name: str) -> None:
    theirs = "futural" if name == STOCK_FACE else name
    for digit in "0123456789":
        lines = vpype.text_line(digit, theirs, 10.0)
        upright = [np.stack([line.real, -line.imag], axis=1) for line in lines]
        assert ink(letter_numeral(digit, name).strokes) == ink(upright), digit


def test_a_face_keeps_as_much_room_about_a_digit_as_vpype_does() -> None:
    for name in sorted(set(vpype.FONT_NAMES) - WITHOUT_DIGITS):
        glyph = face(name).glyphs["4"]
        one, two = (vpype.text_line(text, name, 10.0) for text in ("4", "44"))
        scale = one.height() / np.ptp(np.concatenate(glyph.strokes)[:, 1])
        assert two.width() - one.width() == pytest.approx(scale * (glyph.right - glyph.left))


@pytest.mark.parametrize("name", ["gothic", *sorted(WITHOUT_DIGITS)])
def test_a_face_that_numerals_cannot_be_set_in_is_refused_with_those_that_can(name: str) -> None:
    with pytest.raises(BadInputError, match=rf'face = "{name}": no such face; known are simplex, '):
        face(name)
