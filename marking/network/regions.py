"""How far a 95% statement reaches: chi-square figures, and the radius that holds an error.

It knows covariances in mm² and nothing of what they belong to.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    FloatArray = NDArray[np.float64]

CHI_SQUARE_95_POINT = 5.991464547107979
"""95% of the chi-square distribution with 2 degrees of freedom: a point, -2 ln 0.05."""

# 95% of chi-square at these degrees of freedom; between them it runs smoothly enough for a line.
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


@cache
def chi_square_quantile(probability: float, degrees: int) -> float:
    """The chi-square value that `probability` lies below, by halving on the exact tail."""
    low, high = 0.0, degrees + 10.0
    while _tail(high, degrees) > 1 - probability:
        high *= 2
    for _ in range(200):
        middle = (low + high) / 2
        if _tail(middle, degrees) > 1 - probability:
            low = middle
        else:
            high = middle
    return high


def _tail(value: float, degrees: int) -> float:
    """How much of chi-square lies above `value`: the finite sum for whole degrees of freedom.

    Abramowitz and Stegun, Handbook of Mathematical Functions, 26.4.4 and 26.4.5 (from memory).
    """
    if value <= 0:
        return 1.0
    half = value / 2
    first = 0.0 if degrees % 2 == 0 else 0.5
    above = math.erfc(math.sqrt(half)) if first else 0.0
    steps = (first + step for step in range(degrees // 2))
    return above + sum(math.exp(s * math.log(half) - half - math.lgamma(s + 1)) for s in steps)


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
