"""The test of readings against statsmodels' influence measures, SciPy and printed tables."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression import linear_model

from marking.least_squares.chi_square import POINT_95, exceeded
from marking.least_squares.least_slip import least_named, least_shown
from marking.least_squares.linear import weighed
from marking.least_squares.readings_test import (
    FALSE_ALARM,
    against_others,
    agree_in_sum,
    as_likely,
    checked,
    limit,
    one_by_one,
    own_blocks,
)


def line(seed=1, count=9):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(count), rng.uniform(0, 10, count)])
    return design, design @ [3.0, -0.5] + rng.normal(size=count)


def test_readings_of_one_figure_stand_off_as_statsmodels_says():
    design, observed = line()
    projector = weighed(design, np.eye(len(observed))).projector
    found = one_by_one(projector @ observed, projector, np.ones(len(observed)))
    fit = linear_model.OLS(observed, design).fit()
    peer = fit.get_influence()
    np.testing.assert_allclose(found.off[:, 0], peer.resid_press, rtol=1e-9)
    studentized = np.abs(peer.resid_studentized_internal) * np.sqrt(fit.mse_resid)
    np.testing.assert_allclose(found.in_sds, studentized, rtol=1e-9)


def test_a_point_stands_off_the_others_as_statsmodels_fits_them_without_it():
    rng = np.random.default_rng(2)
    design, observed = rng.normal(size=(12, 4)), rng.normal(size=12)
    root = rng.normal(size=(6, 2, 2))
    # Each point's two coordinates are correlated, but no two points.
    covariance = np.zeros((12, 12))
    for point in range(6):
        rows = slice(2 * point, 2 * point + 2)
        covariance[rows, rows] = root[point] @ root[point].T + 0.1 * np.eye(2)
    projector = weighed(design, covariance).projector
    own = np.diag(covariance).reshape(-1, 2).mean(axis=1)
    pulls = (projector @ observed).reshape(-1, 2)
    found = against_others(pulls, own_blocks(projector), own)
    whole = linear_model.GLS(observed, design, sigma=covariance).fit()
    for point in range(6):
        rest = np.r_[0 : 2 * point, 2 * point + 2 : 12]
        peer = linear_model.GLS(
            observed[rest], design[rest], sigma=covariance[np.ix_(rest, rest)]
        ).fit()
        rows = slice(2 * point, 2 * point + 2)
        np.testing.assert_allclose(
            found.off[point], observed[rows] - design[rows] @ peer.params, atol=1e-9
        )
        assert found.in_sds[point] ** 2 == pytest.approx(whole.ssr - peer.ssr, rel=1e-9)


def test_a_reading_that_nothing_checks_is_neither_doubted_nor_found_wrong():
    # The last unknown is seen by the last reading alone.
    design = np.zeros((5, 3))
    design[:4, :2], design[4, 2] = line(count=4)[0], 1.0
    projector = weighed(design, np.eye(5)).projector
    shares = np.diag(projector)[:, None, None]
    sure = checked(shares, np.ones(5))
    found = one_by_one(projector @ np.array([0.1, -0.2, 0.3, 0.1, 50.0]), projector, np.ones(5))
    slips = least_shown(shares, sure, 3.0)
    assert sure.tolist() == [True, True, True, True, False]
    assert np.isnan(found.in_sds).tolist() == [False, False, False, False, True]
    assert np.isinf(slips).tolist() == [False, False, False, False, True]


@pytest.mark.parametrize("size", [1, 2])
def test_the_least_slip_shown_is_found_99_times_in_100(size):
    """Against SciPy's noncentral chi-square, which the test's statistic is once a slip is there."""
    rng = np.random.default_rng(8)
    projector = weighed(rng.normal(size=(12, 3)), np.eye(12)).projector
    blocks = own_blocks(projector, size)
    doubted = 3.7
    slips = least_shown(blocks, checked(blocks, np.ones(len(blocks))), doubted)
    for slip, block in zip(slips, blocks, strict=True):
        weakest = np.linalg.eigh(block)[1][:, 0] * slip
        shown = stats.ncx2.sf(doubted**2, size, weakest @ block @ weakest)
        assert 0.99 - 1e-9 <= shown < 0.994


def test_a_slip_named_is_larger_than_one_only_shown_and_none_is_where_two_could_be_it():
    rng = np.random.default_rng(9)
    projector = weighed(rng.normal(size=(16, 3)), np.eye(16)).projector
    names, own = [f"m{point}" for point in range(8)], np.ones(8)
    blocks = own_blocks(projector)
    shown = least_shown(blocks, checked(blocks, own), np.sqrt(limit(8)))
    named = np.array([least_named(point, names, projector, own) for point in range(8)])
    assert (named >= shown - 0.02).all()
    assert np.isfinite(named).all()
    # Two points and one common shift: whichever slips, the other might have.
    two = weighed(np.tile(np.eye(2), (2, 1)), np.eye(4)).projector
    assert np.isinf(least_named(0, ["m1", "m2"], two, np.ones(2)))
    assert np.isfinite(least_named(0, ["m1", "m1"], two, np.ones(2)))


def test_good_readings_are_doubted_as_seldom_as_is_said():
    rng = np.random.default_rng(10)
    design = rng.normal(size=(24, 3))
    projector = weighed(design, np.eye(24)).projector
    blocks, draws = own_blocks(projector), rng.normal(size=(20000, 24))
    pulls = (draws @ projector).reshape(-1, 12, 2)
    squared = (pulls * np.linalg.solve(blocks, pulls[..., None])[..., 0]).sum(axis=2)
    alarms = int((squared.max(axis=1) > limit(12)).sum())
    # Shares of points that hang together are a little less than their sum (Bonferroni).
    low, high = stats.binom.ppf([0.001, 0.999], 20000, FALSE_ALARM)
    assert 0.85 * low <= alarms <= high
    totals = ((draws @ projector) * draws).sum(axis=1)
    disagree = sum(not agree_in_sum(total, 21) for total in totals.tolist())
    low, high = stats.binom.ppf([0.001, 0.999], 20000, 0.001)
    assert low <= disagree <= high


def test_chi_square_figures_are_the_printed_ones():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, upper critical values (from
    # memory).
    printed = {
        (0.05, 1): 3.841,
        (0.05, 2): 5.991,
        (0.05, 10): 18.307,
        (0.01, 5): 15.086,
        (0.001, 2): 13.816,
        (0.001, 30): 59.703,
    }
    for (share, degrees), value in printed.items():
        assert exceeded(share, degrees) == pytest.approx(value, abs=6e-4)
    assert exceeded(0.05, 2) == pytest.approx(POINT_95, rel=1e-12)
    for degrees in (1, 2, 3, 7, 30, 400):
        for share in (0.975, 0.05, 0.025, 0.004, 0.001):
            peer = stats.chi2.isf(share, degrees)
            assert exceeded(share, degrees) == pytest.approx(peer, rel=1e-9)


def test_a_reading_is_a_rival_as_long_as_it_is_a_fifth_as_likely_wrong():
    # Twice the logarithm of the likelihoods' ratio is the difference of the squares.
    worst = 5.0
    edge = np.sqrt(worst**2 - 2 * np.log(5))
    rivals = as_likely(np.array([edge - 1e-6, worst, edge + 1e-6, np.nan]), 1)
    assert rivals.tolist() == [False, True, True, False]
