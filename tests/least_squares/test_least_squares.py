"""Least squares against statsmodels and the certified figures of NIST's reference datasets."""

import numpy as np
import pytest
from statsmodels.regression import linear_model

from marking.errors import RefusedError
from marking.least_squares.linear import believed, solve, weighed, whitening
from marking.least_squares.nonlinear import gauss_newton, levenberg_marquardt

# NIST StRD, nonlinear regression, dataset Misra1a: data, starts and certified figures (from
# memory; ten digits do not come out of figures that are remembered wrong).
MISRA_X = np.array(
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760]
)
MISRA_Y = np.array(
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47]
    + [81.78]
)
MISRA_STARTS = [(500.0, 1e-4), (250.0, 5e-4)]
MISRA_FOUND = (2.3894212918e02, 5.5015643181e-04)
MISRA_SDS = (2.7070075241e00, 7.2668688436e-06)
MISRA_SQUARES = 1.2455138894e-01


def misra(unknowns):
    """Misfits of Misra1a's model, and the derivatives of what it computes."""
    most, rate = unknowns
    left = np.exp(-rate * MISRA_X)
    return MISRA_Y - most * (1 - left), np.column_stack([1 - left, most * MISRA_X * left])


def correlated(size, seed):
    root = np.random.default_rng(seed).normal(size=(size, size))
    return root @ root.T / size + 0.2 * np.eye(size)


def test_the_solver_agrees_with_statsmodels_on_one_design():
    rng = np.random.default_rng(3)
    design, observed = rng.normal(size=(30, 7)), rng.normal(size=30)
    sd = rng.uniform(0.1, 2, 30)
    ours = solve(design, observed, sd)
    peer = linear_model.WLS(observed, design, weights=sd**-2).fit()
    np.testing.assert_allclose(ours.unknowns, peer.params, atol=1e-9)
    np.testing.assert_allclose(ours.covariance, peer.normalized_cov_params, atol=1e-9)
    np.testing.assert_allclose(ours.variance_factor, peer.scale, rtol=1e-9)


def test_an_unknown_that_nothing_observes_is_refused():
    with pytest.raises(RefusedError, match="undetermined"):
        solve(np.ones((3, 2)), np.zeros(3), np.ones(3))
    with pytest.raises(RefusedError, match="undetermined"):
        solve(np.eye(2)[:1], np.zeros(1), np.ones(1))
    with pytest.raises(RefusedError, match="undetermined"):
        gauss_newton(np.zeros(2), lambda _: (np.ones(3), np.ones((3, 2))), np.eye(3), np.add)


def test_correlated_observations_are_weighed_as_statsmodels_weighs_them():
    rng = np.random.default_rng(4)
    design, observed, covariance = rng.normal(size=(12, 4)), rng.normal(size=12), correlated(12, 5)
    ours = weighed(design, covariance)
    peer = linear_model.GLS(observed, design, sigma=covariance).fit()
    np.testing.assert_allclose(ours.gain @ observed, peer.params, atol=1e-9)
    np.testing.assert_allclose(ours.spread, peer.normalized_cov_params, atol=1e-9)
    np.testing.assert_allclose(observed @ ours.projector @ observed, peer.ssr, rtol=1e-9)


def test_what_was_believed_before_counts_as_observations_of_nothing_do():
    rng = np.random.default_rng(6)
    design, observed = rng.normal(size=(5, 8)), rng.normal(size=5)
    sd, prior = rng.uniform(0.2, 0.5, 5), rng.uniform(0.5, 3, 8)
    ours = believed(design, prior, sd)
    peer = linear_model.WLS(
        np.append(observed, np.zeros(8)),
        np.vstack([design, np.eye(8)]),
        weights=np.append(sd, prior) ** -2.0,
    ).fit()
    np.testing.assert_allclose(ours.carried @ observed, peer.params, atol=1e-9)
    np.testing.assert_allclose(ours.covariance, peer.normalized_cov_params, atol=1e-9)
    np.testing.assert_allclose(observed @ ours.weight @ observed, peer.ssr, rtol=1e-9)
    np.testing.assert_allclose(np.diag(np.linalg.inv(ours.weight)), ours.own, rtol=1e-9)


def test_whitened_errors_are_independent_and_of_unit_variance():
    covariance = np.stack([correlated(3, seed) for seed in (7, 8)])
    whiten = whitening(covariance)
    white = whiten @ covariance @ whiten.transpose(0, 2, 1)
    np.testing.assert_allclose(white, np.broadcast_to(np.eye(3), (2, 3, 3)), atol=1e-12)


def test_gauss_newton_finds_what_nist_certifies():
    rest = gauss_newton(np.array(MISRA_STARTS[1]), misra, np.eye(len(MISRA_X)), np.add)
    misfits, design = misra(rest.state)
    squares = float(misfits @ misfits)
    variance = squares / (len(MISRA_X) - 2)
    spread = weighed(design, variance * np.eye(len(MISRA_X))).spread
    assert rest.settled
    assert rest.state.tolist() == pytest.approx(MISRA_FOUND, rel=1e-10)
    assert squares == pytest.approx(MISRA_SQUARES, rel=1e-10)
    assert np.sqrt(np.diag(spread)).tolist() == pytest.approx(MISRA_SDS, rel=1e-9)


@pytest.mark.parametrize("start", MISRA_STARTS)
def test_levenberg_and_marquardts_method_finds_what_nist_certifies(start):
    found = levenberg_marquardt(
        np.array(start), lambda guess: -misra(guess)[0], lambda guess: misra(guess)[1]
    )
    assert found.tolist() == pytest.approx(MISRA_FOUND, rel=1e-10)


def test_what_does_not_come_to_rest_is_not_called_settled():
    # Newton's steps on the root of x go from one side of nothing to the other for ever.
    rest = gauss_newton(
        np.array([1.0]),
        lambda x: (-np.sign(x) * np.sqrt(np.abs(x)), 0.5 / np.sqrt(np.abs(x))[:, None]),
        np.eye(1),
        np.add,
    )
    assert not rest.settled
    with pytest.raises(np.linalg.LinAlgError):
        levenberg_marquardt(np.array([np.nan]), lambda x: x, lambda x: np.eye(1))
