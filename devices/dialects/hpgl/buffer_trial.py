"""The trial of an input buffer before any ink: raised moves that fill it, and what they show.

A plotter may say that its buffer is larger than it is; what overflows is lost, and what is left
of the program draws from the wrong place. So the buffer is filled once, pen up, with long moves
that the plotter cannot work off meanwhile. It owns what is sent and what it shows; no port, and
not which size is tried next (`devices.conversation.ahead`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from devices.plotter.bed import Bed, UnitPoint
    from devices.plotter.profile import Plotter

_QUICKER = 2.0
"""How many times quicker than its profile says a plotter may still go."""
_BITS_A_BYTE = 10
"""On a serial line: a start bit, eight of data, a stop bit."""
_PAD = b"PU;"


class BufferTrial(Struct, frozen=True):
    """Moves to and fro between two places, pen up."""

    ends: tuple[UnitPoint, UnitPoint]
    seconds: float
    """What one move takes at the profile's speed."""
    baud: int

    def program(self, size: int) -> bytes:
        """As much of it as fills `size` bytes, to less than a whole instruction of three."""
        moves = [f"PU{x},{y};".encode() for x, y in self.ends]
        filled, count = bytearray(), 0
        while len(filled) + len(moves[count % 2]) <= size:
            filled += moves[count % 2]
            count += 1
        return bytes(filled) + _PAD * ((size - len(filled)) // len(_PAD))

    def shows(self, size: int) -> int:
        """Bytes that surely stood in the buffer at once when `size` were sent and none was lost.

        What the plotter may have worked off while they came does not count.
        """
        worked_off = int(_QUICKER * self.line_seconds(size) / self.seconds)
        longest = max(len(f"PU{x},{y};") for x, y in self.ends)
        return size - longest * worked_off

    def line_seconds(self, size: int) -> float:
        """How long `size` bytes are on the line."""
        return size * _BITS_A_BYTE / self.baud


def buffer_trial(plotter: Plotter, bed: Bed) -> BufferTrial:
    """The trial on `bed`, along the carriage: what a roll feeds must not be dragged about."""
    x, y = bed.park
    far = bed.high[1] if abs(bed.high[1] - y) >= abs(bed.low[1] - y) else bed.low[1]
    millimetres = abs(far - y) * plotter.unit
    return BufferTrial(
        ((x, far), (x, y)), max(millimetres / plotter.travel_speed, 0.01), plotter.baud
    )
