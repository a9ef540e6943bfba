"""Unknowns that act in curves: the one Gauss-Newton, and Levenberg and Marquardt's method.

Gauss and Newton's is our own, of a few matrix products, so that a top comes out with the same
bytes whatever release of SciPy is installed; it needs a first guess near the truth. Levenberg and
Marquardt's is SciPy's, for a guess that may be far. It knows functions of unknowns and nothing of
what they mean.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.least_squares.linear import OPEN

if TYPE_CHECKING:
    from collections.abc import Callable

    from marking.arrays import FloatArray

_STEPS = 50
_STILL = 1e-10
"""In the unit of the observations: computed figures that move no more than this are at rest."""
_FINEST = float(np.finfo(np.float64).eps)
_ROUNDING = 1e-14
"""Share by which equal sums of squares may differ."""

State = TypeVar("State")


class Settled(Struct, Generic[State], frozen=True):
    """Where an iteration ended."""

    state: State
    settled: bool
    """Whether it came to rest; observations far out may keep it from that."""


def gauss_newton(
    start: State,
    linearised: Callable[[State], tuple[FloatArray, FloatArray]],
    whiten: FloatArray,
    moved: Callable[[State, FloatArray], State],
    still: float = _STILL,
) -> Settled[State]:
    """The state whose misfits, times `whiten` (m, m), have the least sum of squares.

    `linearised` gives a state's misfits (m,), measured less computed, and the derivatives (m, n)
    of what was computed; `moved` is a state after a change (n,) of its unknowns. Raises
    RefusedError when the observations leave an unknown open.
    """
    state = start
    for _ in range(_STEPS):
        misfits, design = linearised(state)
        solved, _, rank, _ = np.linalg.lstsq(whiten @ design, whiten @ misfits, rcond=None)
        if rank < design.shape[1]:
            raise RefusedError(OPEN)
        change = np.asarray(solved, dtype=np.float64)
        state = moved(state, change)
        if float(np.abs(design @ change).max()) < still:
            return Settled(state, True)
    return Settled(state, False)


def levenberg_marquardt(
    start: FloatArray,
    errors: Callable[[FloatArray], FloatArray],
    derivatives: Callable[[FloatArray], FloatArray],
) -> FloatArray:
    """The unknowns (n,) whose `errors` (m,) of unit variance have the least sum of squares.

    `derivatives` (m, n) are the errors' own; m is at least n. Raises numpy.linalg.LinAlgError
    when the errors at the start are no numbers.
    """
    from scipy.optimize import least_squares

    if not np.isfinite(errors(start)).all():
        raise np.linalg.LinAlgError("errors that are no numbers")
    found = least_squares(
        errors,
        start,
        derivatives,
        method="lm",
        x_scale="jac",
        ftol=_FINEST,
        xtol=_FINEST,
        gtol=_FINEST,
    )
    # SciPy stops where the sum of squares no longer tells two guesses apart, which is half the
    # digits early. One step more of Gauss and Newton's brings the other half.
    finer = found.x - np.linalg.lstsq(found.jac, found.fun, rcond=None)[0]
    left = errors(finer)
    better = left @ left <= (1 + _ROUNDING) * (found.fun @ found.fun)
    return np.asarray(finer if better else found.x, dtype=np.float64)
