"""The bare cloth between two lines, where a join between sections may run.

One axis at a time, millimetres in the table frame. It knows where lines lie, no section.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

GUARD = 1.25
"""Cloth, in mm, between a join and the ink of a line beside it: there a tick across the line can
stand out by a millimetre and still end before the join."""
_OF_NARROW_CLOTH = 0.4
"""Where lines stand too close for that: the share of the cloth between them on each side."""
OFF_BOX = 0.1
"""Millimetres between a join and a numeral, where nothing is cut."""


def between_lines(
    lines: Sequence[tuple[float, float]],
) -> Iterator[tuple[tuple[float, float], tuple[float, float], tuple[float, float]]]:
    """Every two neighbouring `lines` (place, half their ink), and where between a join may run."""
    for before, after in pairwise(lines):
        low, high = before[0] + before[1], after[0] - after[1]
        if low < high:
            guard = min(GUARD, _OF_NARROW_CLOTH * (high - low))
            yield before, after, (low + guard, high - guard)
