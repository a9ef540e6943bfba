"""How large a slip in one reading must be to be found, told before any reading is taken.

What Baarda's reliability theory calls the least detectable bias; and, beyond it, of a slip that
is also put down to its own reading and no other. It knows projectors of readings, no mark.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from marking.least_squares.readings_test import LIKELIER, UNCHECKED, checked, least_share, limit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import BoolArray, FloatArray

SEEN = 2.3263478740408408
"""The normal distribution's 99%: with so many standard deviations beyond the test's limit, a slip
is found 99 times in 100. The length of a point's error with a bias exceeds what its part along
the bias does, so that it holds for points too."""
_MISSED = 0.01
"""How often a slip of the size told may stay unnamed."""
_ANGLES = 8
_CLOSE = 0.01
"""To which the size is told, in the readings' unit: mm."""
_LARGEST = 100.0
"""mm: a slip that only shows beyond this is no slip of a reading."""


def least_shown(blocks: FloatArray, sure: BoolArray, in_sds: float) -> FloatArray:
    """(k,): the slip of each reading that the test finds 99 times in 100.

    In the direction that shows least; infinite where nothing checks a reading, as `sure` (k,)
    says. `blocks` (k, d, d) are the readings' own of the projector; the test doubts a reading
    that is more than `in_sds` off the others.
    """
    found = np.full(len(blocks), np.inf)
    found[sure] = (in_sds + SEEN) / np.sqrt(least_share(blocks[sure]))
    return found


def least_named(
    one: int, names: Sequence[str], projector: FloatArray, variances: FloatArray
) -> float:
    """The least slip of point `one` that is found, and not put down to a point of another name.

    `projector` (2k, 2k) of k points with their own `variances` (k,); infinite where the others
    do not tell.
    """
    shows = _shows(one, names, projector, variances)
    if shows is None:
        return math.inf
    doubted = math.sqrt(limit(len(names)))
    low, high = 0.0, _LARGEST
    if _unnamed(high, doubted, *shows).max() > _MISSED:
        return math.inf
    while high - low > _CLOSE:
        middle = (low + high) / 2
        if _unnamed(middle, doubted, *shows).max() > _MISSED:
            low = middle
        else:
            high = middle
    return high


def unnamed_share(
    size: float, names: Sequence[str], projector: FloatArray, variances: FloatArray
) -> float:
    """How often a slip of `size` in a point and a direction taken at random stays unnamed.

    At most so often: of two others that it may be put down to either counts in full. `projector`
    (2k, 2k) and `variances` (k,) as for `least_named`.
    """
    doubted = math.sqrt(limit(len(names)))
    each = []
    for one in range(len(names)):
        shows = _shows(one, names, projector, variances)
        missed = 1.0 if shows is None else np.minimum(_unnamed(size, doubted, *shows), 1.0).mean()
        each.append(float(missed))
    return sum(each) / len(each)


def _shows(
    one: int, names: Sequence[str], projector: FloatArray, variances: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """How many standard deviations a millimetre of point `one` comes to in each direction, (a,),
    and how many of them a slip of each other point cannot explain, (k, a); None where that is
    nothing."""
    own = _block(projector, one, one)
    if not checked(own, variances[one]):
        return None
    angles = np.pi * np.arange(_ANGLES) / _ANGLES
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    found = np.sqrt(np.einsum("ai,ij,aj->a", ways, own, ways))
    others = []
    for two, name in enumerate(names):
        theirs = _block(projector, two, two)
        if name == names[one] or not checked(theirs, variances[two]):
            continue
        between = _block(projector, one, two)
        apart = own - between @ np.linalg.solve(theirs, between.T)
        if least_share(apart) * variances[one] < UNCHECKED:
            return None
        others.append(np.sqrt(np.einsum("ai,ij,aj->a", ways, apart, ways)))
    return found, np.array(others)


def _unnamed(size: float, doubted: float, found: FloatArray, apart: FloatArray) -> FloatArray:
    """(a,): how often a slip of `size` stays unnamed, in each direction.

    `found` (a,) is how many standard deviations a millimetre of it comes to in each direction,
    `apart` (k, a) how many of them another reading's slip cannot explain.
    """
    # A two-way normal error with a bias is longer than its part along the bias.
    missed = _below(doubted - size * found)
    if apart.size:
        sd = np.maximum(2 * size * apart, 1e-12)
        missed = missed + _below((2 * math.log(LIKELIER) - (size * apart) ** 2) / sd).sum(axis=0)
    return missed


def _below(value: FloatArray) -> FloatArray:
    """The normal distribution's share below `value`."""
    shares = [math.erfc(-one / math.sqrt(2)) / 2 for one in value.ravel().tolist()]
    return np.array(shares).reshape(value.shape)


def _block(projector: FloatArray, one: int, two: int) -> FloatArray:
    return projector[2 * one : 2 * one + 2, 2 * two : 2 * two + 2]
