"""How far a 95% statement reaches: the radius that holds an error.

It knows covariances in mm² and nothing of what they belong to.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from marking.arrays import FloatArray

# 95% of chi-square at these degrees of freedom; between them it runs smoothly enough for a line.
# Whole arrays of points are told by it in jobs that never read a mark, which import no SciPy.
_DEGREES = np.array([1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0])
_CHI_SQUARE_95 = np.array(
    [
        3.841459,
        4.432244,
        4.980195,
        5.497446,
        5.991465,
        6.928076,
        7.814728,
        9.487729,
        11.070498,
        12.591587,
        15.507313,
        18.307038,
    ]
)


def radius_95(covariance: FloatArray, mean: FloatArray | None = None) -> FloatArray:
    """Radii (n,) in mm that hold normal errors (n, 2, 2) about `mean` (n, 2) in 95 of 100 cases.

    The squared length is a sum of two weighted chi-squares; it is matched in three moments by
    one (Pearson's approximation, Imhof 1961), within 1% of the exact radius.
    """
    values, vectors = np.linalg.eigh(covariance)
    values = np.maximum(values, 0.0)
    along = np.zeros_like(values)
    if mean is not None:
        along = np.einsum("nij,ni->nj", vectors, mean) ** 2
    first, second, third = (
        (values**power + power * values ** (power - 1) * along).sum(axis=1) for power in (1, 2, 3)
    )
    certain = third <= 0
    second, third = np.where(certain, 1.0, second), np.where(certain, 1.0, third)
    degrees = np.clip(second**3 / third**2, 1.0, None)
    beyond = (_chi_square_95(degrees) - degrees) * np.sqrt(second / degrees)
    squared = np.where(certain, along.sum(axis=1), np.maximum(first + beyond, 0.0))
    return np.asarray(np.sqrt(squared), dtype=np.float64)


def _chi_square_95(degrees: FloatArray) -> FloatArray:
    spread = 2 / (9 * degrees)
    far = degrees * (1 - spread + 1.6448536269514722 * np.sqrt(spread)) ** 3
    return np.where(degrees < _DEGREES[-1], np.interp(degrees, _DEGREES, _CHI_SQUARE_95), far)
