"""The joint adjustment held against statsmodels and scipy on the same data."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse
from scipy.stats import norm
from statsmodels.regression import linear_model

from tests.ways import figures
from tests.ways.adjustment import (
    Adjustment,
    believed,
    joint_adjustment,
    misclosures,
    read_rows,
    solved,
)
from tests.ways.cover_model import Errors, Plan, marked, truth
from tests.ways.test_cover_model import _plan


class _Kept:
    """A placement function that keeps the last readings it was given."""

    def __init__(self, plan: Plan, errors: Errors) -> None:
        self.adjustment = Adjustment(plan, errors, rounds=12)

    def __call__(self, k: int, read: np.ndarray, sent: np.ndarray) -> np.ndarray:
        self.read, self.sent = read.copy(), sent.copy()
        return self.adjustment(k, read, sent)


def _marked(plan: Plan, errors: Errors, covers: int) -> _Kept:
    kept = _Kept(plan, errors)
    marked(plan, errors, covers, np.random.default_rng(4), kept, figures.points(plan))
    return kept


@pytest.mark.parametrize("fence", [False, True])
def test_the_joint_adjustment_is_scipys_minimum_to_a_millionth_of_a_millimetre(fence: bool) -> None:
    """scipy.optimize.least_squares on the exact residuals, with its own derivatives."""
    plan, errors = _plan(fence=fence), Errors(pointer=0.2)
    kept = _marked(plan, errors, 2)
    u = kept.adjustment.unknowns
    for cover in range(2):
        read, sent = kept.read[cover], kept.sent[cover]
        state, _ = joint_adjustment(plan, errors, read, sent)
        off = (state - solved(plan, errors, read, sent))[np.r_[u.poses.ravel(), u.marks.ravel()]]
        assert abs(off).max() < 1e-6


def test_keeping_the_derivatives_as_planned_costs_a_hundredth_of_a_millimetre_at_most() -> None:
    """The many-covers solver against the exact one, devices set down by hand 5 mrad askew."""
    plan, errors = _plan(), Errors()
    kept = _marked(plan, errors, 3)
    assert kept.adjustment.state is not None
    poses = kept.adjustment.unknowns.poses
    for cover in range(3):
        state, _ = joint_adjustment(plan, errors, kept.read[cover], kept.sent[cover])
        off = (kept.adjustment.state[cover] - state)[poses] * [1, 1, 150]
        assert abs(off).max() < 0.01


def test_linear_estimate_and_covariance_are_statsmodels_own() -> None:
    """statsmodels WLS on the same rows, to 1e-6 mm, and its covariance of the unknowns."""
    plan, errors = _plan(fence=True), Errors()
    kept = _marked(plan, errors, 1)
    u = kept.adjustment.unknowns
    prior, readings = believed(plan, errors, u), read_rows(plan, errors, u)
    count = len(plan.readings)
    zero = np.zeros((1, u.size))
    off = misclosures(plan, u, zero, kept.read, kept.sent, count)[0]
    design = scipy.sparse.vstack([prior.matrix(u.size), readings.matrix(u.size)]).toarray()
    seen = np.concatenate([np.zeros(len(prior.doubts)), -off])
    weights = 1 / np.square(prior.doubts + readings.doubts)
    fit = linear_model.WLS(seen, design, weights=weights).fit(cov_type="fixed scale")
    once = Adjustment(plan, errors)
    last = len(plan.sections) - 1
    state = once.solve(zero, last, kept.read, kept.sent, rounds=1)[0]
    np.testing.assert_allclose(state, fit.params, atol=1e-6)
    np.testing.assert_allclose(
        once.covariance(last), fit.normalized_cov_params, rtol=1e-5, atol=1e-9
    )


def test_the_error_that_is_told_is_the_error_that_is_there() -> None:
    """The spread of the poses' errors over covers is the covariance's, within chance."""
    plan = _plan()
    errors = Errors(cloth=0.0, row_sag=0.0)
    covers = 600
    rng = np.random.default_rng(4)
    adjustment = Adjustment(plan, errors)
    marked(plan, errors, covers, rng, adjustment, figures.points(plan))
    real = truth(plan, errors, covers, np.random.default_rng(4))
    assert adjustment.state is not None
    last = len(plan.sections) - 1
    at = adjustment.unknowns.poses[last]
    off = adjustment.state[:, at] - real.poses[:, last, :3]
    told = np.sqrt(np.diag(adjustment.covariance(last))[at])
    np.testing.assert_allclose(off.std(axis=0), told, rtol=0.1)


def test_a_slip_as_large_as_told_is_named_ninety_nine_times_in_a_hundred() -> None:
    """Slip one reading of the last section by the least that is told, and test its residual."""
    plan, errors = _plan(), Errors(cloth=0.0, row_sag=0.0)
    last = len(plan.sections) - 1
    mine = [i for i, r in enumerate(plan.readings) if r.section == last]
    kept = _marked(plan, errors, 400)
    adjustment = kept.adjustment
    slip = adjustment.least_slips()[mine[0]]
    u = adjustment.unknowns
    rows = read_rows(plan, errors, u)
    part = rows.matrix(u.size).toarray()
    doubts = np.array(rows.doubts)
    spread = np.sqrt(doubts**2 - np.einsum("ij,jk,ik->i", part, adjustment.covariance(last), part))

    def largest(read: np.ndarray) -> np.ndarray:
        state = adjustment.solve(np.zeros((400, u.size)), last, read, kept.sent, 6)
        off = misclosures(plan, u, state, read, kept.sent, len(plan.readings))
        rows_of = np.concatenate([[2 * i, 2 * i + 1] for i in mine])
        return abs(off[:, rows_of] / spread[rows_of]).max(axis=1)

    limit = norm.isf(0.01 / 2 / (2 * len(mine)))
    slipped = kept.read.copy()
    slipped[:, mine[0], 0] += slip
    assert (largest(slipped) > limit).mean() > 0.97
    assert (largest(kept.read) > limit).mean() < 0.03
