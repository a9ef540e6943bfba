"""What may be said of the line furthest off, and the one outcome that this gives.

Two limits, each of which holds 95 times in 100: some line lies at least so far off, and none lies
further. A cover passes when the second is within the tolerance and fails when the first is past
it, so that words and verdict cannot disagree. It knows figures and doubts, no distance and no
section. Millimetres.
"""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from marking.arrays import BoolArray, FloatArray

ProofOutcome = Literal["pass", "fail", "cannot tell", "measure again"]
SURE = NormalDist().inv_cdf(0.95)
"""Standard deviations past one line's figure that its error stays within 95 times in 100."""
_DRAWS, _SEED = 4000, 20
_EXACT = 1e-9
"""mm: a figure known better than this has no doubt to count."""


class Furthest(Struct, frozen=True):
    """How far the line furthest off lies, by all lines together."""

    line: int
    """Which line that is: the one surest past nothing, or else the one that may lie furthest."""
    at_least: float
    """So far some line lies off, 95 times in 100; 0 where all may be true."""
    at_most: float
    """Further no line lies off, 95 times in 100."""

    def outcome(self, tolerance: float) -> ProofOutcome:
        """What the limits say where `tolerance` is allowed."""
        if self.at_least > tolerance:
            return "fail"
        return "pass" if self.at_most <= tolerance else "cannot tell"


def furthest(values: FloatArray, sds: FloatArray, many: float) -> Furthest:
    """The limits by lines' errors (q,) and their standard deviations (q,).

    That none lies further needs no allowance for their number: a cover with one line further off
    must first slip through at that one (the intersection-union test: Berger, Technometrics 24,
    1982, from memory). That some line lies so far off does need it: of many true lines some look
    off by chance. `many` is `many_lines` of them.
    """
    size = np.abs(values)
    least, most = size - many * sds, size + SURE * sds
    line = int(least.argmax()) if least.max() > 0 else int(most.argmax())
    return Furthest(line, max(0.0, float(least.max())), float(most.max()))


def in_doubt(values: FloatArray, sds: FloatArray, many: float, tolerance: float) -> BoolArray:
    """(q,): which lines neither pass nor fail by themselves, by the limits of `furthest`."""
    size = np.abs(values)
    neither: BoolArray = (size - many * sds <= tolerance) & (size + SURE * sds > tolerance)
    return neither


def many_lines(rows: FloatArray, covariance: FloatArray) -> float:
    """How many standard deviations hold all of q figures at once, 95 times in 100.

    The figures are `rows` (q, k) of k unknowns, so that what they share is counted once. By
    drawing, with a fixed seed.
    """
    values, vectors = np.linalg.eigh(covariance)
    # The symmetric root is the covariance's alone; eigenvectors by themselves may point either way,
    # so that the same seed would draw other figures on another processor.
    moved = rows @ (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    sds = np.sqrt((moved**2).sum(axis=1))
    doubtful = sds > _EXACT
    if not doubtful.any():
        return SURE
    moved = moved[doubtful] / sds[doubtful, None]
    drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(covariance)))
    return float(np.quantile(np.abs(drawn @ moved.T).max(axis=1), 0.95))
