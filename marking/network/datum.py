"""What all marks set by tape share: one zero corner, the tape's scale and the square's angle.

Datum is the surveyor's word for what every measurement counts from. However many marks are set
and read, they tell nothing of its errors: those are added to what the readings leave open. It
knows no marks and no readings. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from marking.arrays import FloatArray


class Datum(Struct, frozen=True):
    """Where tape readings count from, and how well its directions and its scale are known."""

    zero: tuple[float, float] = (0.0, 0.0)
    """Table point where base line and zero line meet."""
    scale_sd: float = 0.0
    """Standard deviation of the tape's length, in mm per mm."""
    lean_sd: float = 0.0
    """The same of the zero line off square to the base line, in mm along per mm up."""

    def moves(self, points: FloatArray) -> FloatArray:
        """(n, 2, 2) mm: how one standard deviation of scale, then of lean, moves marks (n, 2)."""
        from_zero = np.asarray(points, dtype=np.float64) - self.zero
        moves = np.zeros((len(from_zero), 2, 2))
        moves[:, :, 0] = from_zero * self.scale_sd
        moves[:, 0, 1] = from_zero[:, 1] * self.lean_sd
        return moves


EXACT = Datum()
"""A datum without error: places are told as if tape and square were."""


def explained(left: FloatArray, moves: FloatArray) -> FloatArray:
    """(m, 2): what misfits lose when the datum's errors may explain a part of them.

    `moves` (m, 2) is how the errors move the misfits, `left` (m, 2) their projector times it. The
    projector less the result times its own transpose is the one that generalised least squares
    has with the datum's errors in the covariance (the matrix inversion lemma).
    """
    # Each error has a standard deviation of one, as it counts in `moves`.
    freed = np.linalg.inv(np.eye(moves.shape[1]) + moves.T @ left)
    return np.asarray(left @ np.linalg.cholesky(freed), dtype=np.float64)
