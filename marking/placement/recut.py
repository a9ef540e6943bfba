"""A section carried into the bed of a device that does not stand quite where it was planned.

The pieces keep their cuts, order and pens; only where the device must draw them changes. It
knows a section and a pose, no machine. Carried points are as-planned table points, so that the
device's own frame is found for them as for any section.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.network.pose import rigid

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.network.pose import Pose
    from marking.sections.plan import Section

_ROUNDING = 1e-6


class NeededMove(Struct, frozen=True):
    """How to move the device so that its section fits."""

    shift: tuple[float, float]
    """mm along the table's x and y."""
    turn: float
    """Radians, anticlockwise; 0 where a shift alone will do."""

    def __str__(self) -> str:
        x, y = self.shift
        parts = []
        if self.turn:
            way = "anticlockwise" if self.turn > 0 else "clockwise"
            parts.append(f"turn it {abs(np.degrees(self.turn)):.1f} degrees {way}")
        for length, plus, minus in (
            (x, "towards the far end", "towards the zero end"),
            (y, "towards the far edge", "towards the near edge"),
        ):
            if abs(length) >= 0.05:
                parts.append(f"shift it {abs(length):.1f} mm {plus if length > 0 else minus}")
        return " and ".join(parts)


def needed_move(section: Section, pose: Pose) -> NeededMove | None:
    """How the device must be moved before it can ink all of `section`; None when it fits.

    The least shift when one will do; else the turn back to square, and the shift after it.
    """
    if not section.pieces:
        return None
    points = np.concatenate([piece.stroke.path for piece in section.pieces])
    low, high = np.array(section.window[:2]), np.array(section.window[2:])
    shift = _least_shift(pose.inverse(points), low, high)
    if shift is not None:
        if not shift.any():
            return None
        x, y = pose.matrix @ shift
        return NeededMove((float(x), float(y)), 0.0)
    square = rigid(pose.shift, 0.0, pose.about)
    shift = _least_shift(square.inverse(points), low, high)
    if shift is None:
        shift = -pose.shift
    return NeededMove((float(shift[0]), float(shift[1])), -pose.turn)


def _least_shift(drawn: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray | None:
    """The least shift of the window that holds the drawn points; None when none does."""
    under = np.minimum(drawn.min(axis=0) - low, 0.0)
    over = np.maximum(drawn.max(axis=0) - high, 0.0)
    under[under > -_ROUNDING], over[over < _ROUNDING] = 0.0, 0.0
    room = (high - low) - (drawn.max(axis=0) - drawn.min(axis=0))
    if (room < -_ROUNDING).any():
        return None
    shift: FloatArray = under + over
    return shift


def carried(section: Section, pose: Pose) -> Section:
    """`section` as the device that stands at `pose` must draw it.

    Raises RefusedError, saying how to move the device, when it no longer fits its bed.
    """
    move = needed_move(section, pose)
    if move is not None:
        raise RefusedError(
            f"section {section.id} no longer fits the bed where the device stands: {move}, and "
            "read the marks again"
        )
    back = pose.inverse
    return replace(
        section,
        pieces=tuple(
            replace(piece, stroke=replace(piece.stroke, points=back(piece.stroke.points)))
            for piece in section.pieces
        ),
    )
