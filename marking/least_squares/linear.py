"""Linear least squares: unknowns from observations of known covariance, and what they leave open.

Equations are `design` (m, n) times the unknowns (n,), near the observations (m,). It knows no
iteration and no test. Units are the caller's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError

if TYPE_CHECKING:
    from marking.arrays import FloatArray

_UNTIED = 1e-10
"""Share of the surest unknown's hold below which nothing holds an unknown."""
OPEN = "these observations leave something undetermined; take more of them"


class Solution(Struct, frozen=True):
    """A least-squares adjustment of observations with known standard deviations."""

    unknowns: FloatArray
    """(n,)."""
    covariance: FloatArray
    """(n, n), from the standard deviations given and not from the residuals."""
    residuals: FloatArray
    """(m,): adjusted less observed."""
    hat: FloatArray
    """(m, n) orthonormal: what spans the observations that fit exactly, each over its sd."""
    variance_factor: float
    """Sum of squared residuals, each over its sd, by the degrees of freedom; 1 expected."""
    degrees: int


def solve(design: FloatArray, observed: FloatArray, sd: FloatArray) -> Solution:
    """Least squares of `design` (m, n) against `observed` (m,), each with its `sd` (m,).

    By orthogonal triangles, which keep twice the digits that normal equations do. Raises
    RefusedError when the observations leave an unknown open.
    """
    basis, triangle = np.linalg.qr(design / sd[:, None])
    size = np.abs(np.diag(triangle))
    if len(observed) < design.shape[1] or size.min() <= _UNTIED * size.max():
        raise RefusedError(OPEN)
    back = np.linalg.inv(triangle)
    unknowns = back @ (basis.T @ (observed / sd))
    residuals = design @ unknowns - observed
    degrees = len(observed) - design.shape[1]
    total = float(((residuals / sd) ** 2).sum())
    factor = total / degrees if degrees else float("nan")
    return Solution(unknowns, back @ back.T, residuals, basis, factor, degrees)


class Weighed(Struct, frozen=True):
    """What observations of a known covariance are worth, whatever their figures turn out to be."""

    gain: FloatArray
    """(n, m): from the observations to the unknowns."""
    spread: FloatArray
    """(n, n): covariance of the unknowns."""
    projector: FloatArray
    """(m, m): from misfits to their weights once the unknowns are taken out of them. Times the
    covariance, its diagonal holds the redundancy numbers."""


def weighed(design: FloatArray, covariance: FloatArray) -> Weighed:
    """Generalised least squares of `design` (m, n), observations of `covariance` (m, m).

    Raises numpy.linalg.LinAlgError when the observations leave an unknown open.
    """
    weights = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    pulls = design.T @ weights
    spread = np.asarray(np.linalg.inv(pulls @ design), dtype=np.float64)
    gain = spread @ pulls
    return Weighed(gain, spread, weights - pulls.T @ gain)


class Believed(Struct, frozen=True):
    """What is believed of unknowns that were believed to be near nothing before."""

    carried: FloatArray
    """(n, m): from the observations to the unknowns."""
    covariance: FloatArray
    """(n, n)."""
    weight: FloatArray
    """(m, m): inverse covariance of the observations, what was believed before included; so it
    is the projector, for nothing is left free."""
    own: FloatArray
    """(m,): variance of each observation, likewise."""


def believed(design: FloatArray, prior_sd: FloatArray, sd: FloatArray) -> Believed:
    """Unknowns of `prior_sd` (n,) about nothing, by `design` (m, n) observed to `sd` (m,).

    There may be fewer observations than unknowns. What was believed counts as an observation of
    nothing for each unknown; by orthogonal triangles, since what a wide belief leaves after sharp
    observations is a small difference of large figures otherwise.
    """
    count = len(sd)
    basis, triangle = np.linalg.qr(np.vstack([design / sd[:, None], np.diag(1 / prior_sd)]))
    back, seen = np.linalg.inv(triangle), basis[:count] / sd[:, None]
    weight = np.diag(sd**-2) - seen @ seen.T
    own = sd**2 + ((design * prior_sd) ** 2).sum(axis=1)
    return Believed(back @ seen.T, back @ back.T, weight, own)


def whitening(covariance: FloatArray) -> FloatArray:
    """(..., m, m): what turns errors of `covariance` into independent ones of unit variance."""
    whiten: FloatArray = np.linalg.inv(np.linalg.cholesky(covariance))
    return whiten
