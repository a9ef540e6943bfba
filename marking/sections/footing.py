"""What an open frame stands on round its reach: its feet, and what it weighs.

It knows no device and no table; millimetres along the table's axes, counted from the middle of the
window that the frame is set down for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from marking.arrays import Box, Spot

TWO_PEOPLE_KG = 25.0
"""A weight that one person should not set down at arm's length: from memory, no source here. Local
rules come first, and many ask for two sooner."""


class Footing(Struct, frozen=True):
    """The feet of an open frame as it stands at a window."""

    feet: tuple[Spot, ...]
    """The middle of each foot, from the window's middle; empty where nobody has said."""
    foot: float
    """How wide a foot is; taken for square."""
    weight: float
    """In kg; 0 where nobody has said."""

    @property
    def turned(self) -> Footing:
        """The same frame turned a quarter anticlockwise about the window's middle."""
        return replace(self, feet=tuple((-y, x) for x, y in self.feet))

    @property
    def takes_two(self) -> bool:
        """Whether two people set it down."""
        return self.weight > TWO_PEOPLE_KG

    def boxes(self, window: Box, margin: float) -> tuple[Box, ...]:
        """Where each foot may come to stand, table frame, when all may be `margin` off."""
        x, y = (window[0] + window[2]) / 2, (window[1] + window[3]) / 2
        half = self.foot / 2 + margin
        return tuple((x + a - half, y + b - half, x + a + half, y + b + half) for a, b in self.feet)
