"""Places at which the machine is asked where its pen stands, so chosen that no noise confirms one.

A checkpoint is confirmed by the position the machine reports there. A late or doubled report of
an earlier one must never pass for it, nor a report with a byte lost, doubled or garbled; so its
text stays more than two edits away from every recent one. It knows positions as text, no bytes.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.plotter.bed import UnitPoint

EDITS = 2
"""Byte errors in one reply that still cannot turn it into another checkpoint's."""
_REMEMBERED = 64
_NUDGE = 9
"""How far, in steps, a raised pen may stand from its next start."""
_WIDER = 13
_NEAREST_FIRST = tuple(
    sorted(
        ((dx, dy) for dx in range(-_NUDGE, _NUDGE + 1) for dy in range(-_NUDGE, _NUDGE + 1)),
        key=lambda offset: (offset[0] ** 2 + offset[1] ** 2, offset),
    )
)


class Checkpoint(Struct, frozen=True):
    """One question to the machine: where the pen stands once all before it has been done."""

    text: str
    """The position as the machine will report it."""
    confirms: tuple[str, ...]
    """Ids of the strokes that are on the cloth when the machine says so."""
    light: bool = False
    """Whether it only tells how far the machine has got, and confirms no stroke."""


class Distinct:
    """Which texts may serve next, by those that served last."""

    def __init__(self) -> None:
        self._recent: deque[str] = deque(maxlen=_REMEMBERED)

    def admits(self, text: str) -> bool:
        """Whether `text` is told apart from every recent one in spite of noise."""
        return not any(within_edits(text, other, EDITS) for other in self._recent)

    def take(self, text: str) -> None:
        """Remembers that `text` serves as a checkpoint."""
        self._recent.append(text)


def near(point: UnitPoint, low: UnitPoint, high: UnitPoint, step: int) -> Iterator[UnitPoint]:
    """`point`, then the points round it inside the bed, nearest first; units."""
    for wide in (1, _WIDER):
        # Short coordinates, as beside the origin, are told apart only further off.
        for dx, dy in _NEAREST_FIRST:
            x, y = point[0] + dx * step * wide, point[1] + dy * step * wide
            if low[0] <= x <= high[0] and low[1] <= y <= high[1]:
                yield x, y


def within_edits(one: str, two: str, edits: int) -> bool:
    """Whether so many bytes lost, added or changed make `two` of `one` (Levenshtein, 1966)."""
    start = 0
    shorter = min(len(one), len(two))
    while start < shorter and one[start] == two[start]:
        start += 1
    one, two = one[start:], two[start:]
    while one and two and one[-1] == two[-1]:
        one, two = one[:-1], two[:-1]
    if not one or not two:
        return max(len(one), len(two)) <= edits
    if edits == 0 or abs(len(one) - len(two)) > edits:
        return False
    if edits == 1:
        # Their ends differ both: only a change of the one byte that is left makes them alike.
        return len(one) == len(two) == 1
    return (
        within_edits(one[1:], two[1:], edits - 1)
        or within_edits(one[1:], two, edits - 1)
        or within_edits(one, two[1:], edits - 1)
    )
