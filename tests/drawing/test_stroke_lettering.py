"""Stroke lettering, which only what a pen draws is set in: how high it is."""

from __future__ import annotations

import pytest

from marking.lettering.glyphs import CAPITAL, letter


@pytest.mark.parametrize("text", ["H", "A", "8", "0", "NEAR"])
def test_capitals_and_figures_are_as_high_as_the_face_says(text: str) -> None:
    """Dr Hershey's simplex Roman, as vpype ships it."""
    assert letter(text).height == CAPITAL
