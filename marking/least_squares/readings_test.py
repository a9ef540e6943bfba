"""The one test of readings: whether they agree, and which of them stands against all the others.

Each reading's residual is held against its own standard deviation (Baarda, A testing procedure
for use in geodetic networks, 1968). A reading is one figure or the coordinates of a point: `d`
rows. It knows no mark and no message.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.least_squares.chi_square import exceeded, of_a_point

if TYPE_CHECKING:
    from marking.arrays import BoolArray, FloatArray

FALSE_ALARM = 0.008
"""How often readings that are all good may be doubted for one that stands out."""
FALSE_ALARM_TOTAL = 0.001
"""The same, for readings that disagree in sum though none stands out."""
TRUST = 3.0
"""Standard deviations past which one measurement of a tape is a mistake and no longer the tape."""
LIKELIER = 5.0
"""How many times likelier a slip in one reading must be than in another to be put down to it."""
UNCHECKED = 1e-6
"""Share of a reading's own error that the others must show, its redundancy number, to call it
checked. Rounding leaves some 1e-12 where nothing checks it."""


class AgainstOthers(Struct, frozen=True):
    """Each reading against all the others."""

    off: FloatArray
    """(k, d): its misfit had it not been used; nan where the others cannot say."""
    in_sds: FloatArray
    """(k,): the length of that over its standard deviation, chi-square of d when squared; nan
    likewise."""


def against_others(pulls: FloatArray, blocks: FloatArray, own: FloatArray) -> AgainstOthers:
    """Each reading's misfit had it not been used, from the one solution that used all.

    `pulls` (k, d) are the projector times the misfits, `blocks` (k, d, d) the readings' own
    blocks of the projector, `own` (k,) their own variances.
    """
    off: FloatArray = np.full(pulls.shape, np.nan)
    in_sds: FloatArray = np.full(len(pulls), np.nan)
    sure = checked(blocks, own)
    alone = np.linalg.solve(blocks[sure], pulls[sure][:, :, None])[:, :, 0]
    off[sure] = alone
    in_sds[sure] = np.sqrt(np.maximum((pulls[sure] * alone).sum(axis=1), 0.0))
    return AgainstOthers(off, in_sds)


def one_by_one(pulls: FloatArray, projector: FloatArray, own: FloatArray) -> AgainstOthers:
    """`against_others` for readings of one figure each: `pulls` (m,), `projector` (m, m)."""
    return against_others(pulls[:, None], np.diag(projector)[:, None, None], own)


def checked(blocks: FloatArray, own: FloatArray) -> BoolArray:
    """(k,): whether the others check a reading, in whichever direction it slips."""
    found: BoolArray = least_share(blocks) * own > UNCHECKED
    return found


def least_share(blocks: FloatArray) -> FloatArray:
    """(...,): the least eigenvalue of blocks (..., d, d), of the direction that shows least."""
    return np.asarray(np.linalg.eigvalsh(blocks)[..., 0], dtype=np.float64)


def own_blocks(matrix: FloatArray, size: int = 2) -> FloatArray:
    """(k, d, d): the blocks of `size` d on the diagonal of a matrix (kd, kd)."""
    count = len(matrix) // size
    index = np.arange(count)
    blocks: FloatArray = matrix.reshape(count, size, count, size)[index, :, index, :]
    return blocks


def limit(count: int, leniency: float = 1.0) -> float:
    """What the squared `in_sds` of one of `count` points exceeds by chance alone too seldom.

    `leniency` above 1 doubts good readings as many times more seldom.
    """
    return of_a_point(FALSE_ALARM / count / leniency)


def agree_in_sum(total: float, degrees: int, leniency: float = 1.0) -> bool:
    """Whether the sum of squared misfits, each over its sd, is no more than chance explains.

    With one degree of freedom no reading can stand out of it, so that the sum alone decides.
    """
    if degrees <= 0:
        return True
    share = FALSE_ALARM_TOTAL if degrees > 1 else FALSE_ALARM
    return total <= exceeded(share / leniency, degrees)


def as_likely(in_sds: FloatArray, worst: int) -> BoolArray:
    """(k,): readings that may be the wrong one almost as well as the `worst` one.

    Taking a reading out lessens the sum of squares by its own `in_sds` squared, which is twice
    the logarithm of how much likelier that makes the rest.
    """
    rivals: BoolArray = in_sds**2 > in_sds[worst] ** 2 - 2 * math.log(LIKELIER)
    return rivals
