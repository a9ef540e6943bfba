"""From the table to a projector's pixels and back: a homography and radial distortion.

Table frame in millimetres; pixel frame with its origin at the picture's top left corner, y down,
pixel centres at +0.5. It knows arithmetic alone, neither targets nor lines.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from marking.arrays import FloatArray

_ROUNDS = 60


class LightMapping(Struct, frozen=True):
    """Pixels of table points: `distorted(matrix @ (x, y, 1)) + shift_px`.

    The distortion carries a point at d from the lens axis to d (1 + k (|d| / radius)^2), the
    first radial term of Brown's model ("Close-range camera calibration", 1971).
    """

    matrix: FloatArray
    """(3, 3): table to pixels before distortion, positive third coordinate in the picture."""
    axis_px: tuple[float, float]
    """Where the lens axis meets the picture."""
    radius_px: float
    k: float = 0.0
    shift_px: tuple[float, float] = (0.0, 0.0)

    def to_px(self, points_table: FloatArray) -> FloatArray:
        """Pixels (n, 2) of table points (n, 2)."""
        return self.distorted(apply(self.matrix, points_table)) + self.shift_px

    def to_table(self, points_px: FloatArray) -> FloatArray:
        """Table points (n, 2) of pixels (n, 2)."""
        straight = self._undistorted(np.asarray(points_px, dtype=float) - self.shift_px)
        return apply(inverse(self.matrix), straight)

    def depth(self, points_table: FloatArray) -> FloatArray:
        """(n,): positive where the beam can reach a table point, past the horizon negative."""
        result: FloatArray = points_table @ self.matrix[2, :2] + self.matrix[2, 2]
        return result

    def jacobian(self, points_table: FloatArray) -> FloatArray:
        """(n, 2, 2): pixels per millimetre at table points (n, 2)."""
        straight = apply(self.matrix, points_table)
        depth = self.depth(points_table)
        plane = self.matrix[None, :2, :2] - straight[:, :, None] * self.matrix[None, 2:3, :2]
        d = (straight - self.axis_px) / self.radius_px
        bend = bending(d, self.k)
        result: FloatArray = bend @ (plane / depth[:, None, None])
        return result

    def shifted(self, across_px: float, down_px: float) -> LightMapping:
        """The same with all light moved by whole or part pixels."""
        x, y = self.shift_px
        return replace(self, shift_px=(x + across_px, y + down_px))

    def distorted(self, straight_px: FloatArray) -> FloatArray:
        """What distortion makes of pixels (n, 2)."""
        d = straight_px - self.axis_px
        r2 = (d**2).sum(axis=1, keepdims=True) / self.radius_px**2
        result: FloatArray = self.axis_px + d * (1 + self.k * r2)
        return result

    def _undistorted(self, px: FloatArray) -> FloatArray:
        """The inverse of `distorted`, by Newton's method on the radius."""
        d = (px - self.axis_px) / self.radius_px
        wanted = np.hypot(d[:, 0], d[:, 1])
        radius = wanted.copy()
        for _ in range(_ROUNDS):
            step = (radius * (1 + self.k * radius**2) - wanted) / (1 + 3 * self.k * radius**2)
            radius = radius - step
            if np.abs(step).max(initial=0.0) < 1e-15:
                break
        share = np.divide(radius, wanted, out=np.ones_like(wanted), where=wanted > 0)
        result: FloatArray = self.axis_px + d * share[:, None] * self.radius_px
        return result


def apply(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """A homography (3, 3) of points (n, 2)."""
    raised = points @ matrix[:, :2].T + matrix[:, 2]
    result: FloatArray = raised[:, :2] / raised[:, 2:]
    return result


def inverse(matrix: FloatArray) -> FloatArray:
    """The inverse of a square matrix."""
    result: FloatArray = np.linalg.inv(matrix).astype(np.float64)
    return result


def bending(d: FloatArray, k: float) -> FloatArray:
    """(n, 2, 2): derivatives of d (1 + k |d|^2) at offsets (n, 2) in units of the radius."""
    r2 = (d**2).sum(axis=1)
    outer = d[:, :, None] * d[:, None, :]
    result: FloatArray = (1 + k * r2)[:, None, None] * np.eye(2) + 2 * k * outer
    return result
