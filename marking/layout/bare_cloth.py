"""The bare cloth between two lines, where a join between sections may run.

One axis at a time, millimetres in the table frame. It knows where lines lie, no section.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    FromTo = tuple[float, float]

GUARD = 1.25
"""Cloth, in mm, between a join and the ink of a line beside it: there a tick across the line can
stand out by a millimetre and still end before the join."""
_OF_NARROW_CLOTH = 0.4
"""Where lines stand too close for that: the share of the cloth between them on each side."""
OFF_BOX = 0.1
"""Millimetres between a join and a numeral, where nothing is cut."""


def between_lines(
    lines: Sequence[FromTo],
) -> Iterator[tuple[FromTo, FromTo, FromTo]]:
    """Every two neighbouring `lines` (place, half their ink), and where between a join may run."""
    for before, after in pairwise(lines):
        low, high = before[0] + before[1], after[0] - after[1]
        if low < high:
            guard = min(GUARD, _OF_NARROW_CLOTH * (high - low))
            yield before, after, (low + guard, high - guard)


def off_boxes(boxes: Sequence[FromTo], low: float, high: float) -> Iterator[FromTo]:
    """What `boxes`, sorted and apart, leave of `low` to `high` for a join."""
    first = bisect_left(boxes, low, key=lambda box: box[1] + OFF_BOX)
    last = bisect_right(boxes, high, key=lambda box: box[0] - OFF_BOX)
    for box_low, box_high in boxes[first:last]:
        if box_low - OFF_BOX >= low:
            yield low, box_low - OFF_BOX
        low = max(low, box_high + OFF_BOX)
    if low <= high:
        yield low, high


def longest_whole(lines: Sequence[FromTo], boxes: Sequence[FromTo]) -> FromTo:
    """The longest run of `lines` between two joins, or a join and an end, that cannot be parted.

    From the first of the lines to the last; `boxes` are sorted and apart.
    """
    places = [
        (before, after)
        for (before, _), (after, _), bare in between_lines(lines)
        if next(off_boxes(boxes, *bare), None) is not None
    ]
    starts = [lines[0][0], *(after for _, after in places)]
    ends = [*(before for before, _ in places), lines[-1][0]]
    return max(zip(starts, ends, strict=True), key=lambda run: run[1] - run[0])
