"""Poses against scipy, scikit-image and the worked example of Umeyama (1991)."""

import numpy as np
import pytest
from scipy.linalg import lstsq
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation
from skimage.transform import AffineTransform, EuclideanTransform, SimilarityTransform

from marking.errors import RefusedError
from marking.network.pose import as_planned, changed, effect, fit, refine, rigid, turned_over

PEERS = {
    "rigid": EuclideanTransform,
    "similarity": SimilarityTransform,
    "affine": AffineTransform,
}
NOISE = {"rigid": 0.5, "similarity": 0.5, "affine": 0.0}
"""scikit-image fits an affine pose by total least squares, which is ours without noise only."""


def random_points(seed, count, noise=0.5):
    rng = np.random.default_rng(seed)
    plan = rng.uniform(-200, 200, (count, 2)) + rng.uniform(0, 3000, 2)
    pose = rigid(rng.uniform(-40, 40, 2), rng.uniform(-3, 3), plan.mean(axis=0))
    return plan, pose(plan) + noise * rng.normal(size=(count, 2))


def test_umeyamas_worked_example_comes_out_as_printed():
    # Umeyama, "Least-squares estimation of transformation parameters between two point
    # patterns", IEEE PAMI 13 (1991): figures as the issue quotes them.
    plan = np.array([[0.0, 0], [1, 0], [0, 2]])
    table = np.array([[0.0, 0], [-1, 0], [0, 2]])
    pose = fit(plan, table, "similarity")
    np.testing.assert_allclose(pose.scale, 0.721, atol=5e-4)
    np.testing.assert_allclose(
        pose.matrix / pose.scale, [[0.832, 0.555], [-0.555, 0.832]], atol=5e-4
    )
    np.testing.assert_allclose(pose.shift, [-0.800, 0.400], atol=5e-4)


@pytest.mark.parametrize("kind", PEERS)
@pytest.mark.parametrize("count", [3, 4, 6, 40])
def test_every_kind_of_pose_agrees_with_scikit_image(kind, count):
    for seed in range(25):
        plan, table = random_points(seed, count, NOISE[kind])
        middle = plan.mean(axis=0)
        peer = PEERS[kind].from_estimate(plan - middle, table - middle)
        ours = fit(plan, table, kind, about=middle)
        np.testing.assert_allclose(ours(plan), peer(plan - middle) + middle, atol=1e-9)
        np.testing.assert_allclose(ours.matrix, peer.params[:2, :2], atol=1e-9)


def test_an_affine_pose_agrees_with_scipys_linear_least_squares():
    for seed in range(25):
        plan, table = random_points(seed, 6)
        weights = np.random.default_rng(seed).uniform(0.1, 5, 6)
        root = np.sqrt(weights)[:, None]
        middle = plan.mean(axis=0)
        design = np.column_stack([plan - middle, np.ones(6)])
        peer = lstsq(design * root, (table - middle) * root)[0]
        ours = fit(plan, table, "affine", weights, middle)
        np.testing.assert_allclose(ours.matrix, peer[:2].T, atol=1e-9)
        np.testing.assert_allclose(ours.shift, peer[2], atol=1e-9)


def test_a_weighted_rotation_agrees_with_scipy():
    for seed in range(25):
        plan, table = random_points(seed, 5)
        weights = np.random.default_rng(seed).uniform(0.1, 5, 5)
        arms_plan = plan - np.average(plan, axis=0, weights=weights)
        arms_table = table - np.average(table, axis=0, weights=weights)
        flat = [np.column_stack([arms, np.zeros(5)]) for arms in (arms_table, arms_plan)]
        # Weightless arms out of the plane keep scipy's rotation about the third axis.
        upright = [np.vstack([arms, [0, 0, 1.0]]) for arms in flat]
        peer, _ = Rotation.align_vectors(*upright, weights=[*weights, 1e-9])
        ours = fit(plan, table, weights=weights)
        np.testing.assert_allclose(ours.matrix, peer.as_matrix()[:2, :2], atol=1e-9)


@pytest.mark.parametrize("kind", PEERS)
def test_marks_that_share_errors_are_weighed_as_scipys_least_squares_weighs_them(kind):
    rng = np.random.default_rng(7)
    plan, table = random_points(3, 6)
    root = rng.normal(size=(12, 12)) * 0.3
    covariance = root @ root.T + 0.05 * np.eye(12)
    about = plan.mean(axis=0)
    ours, spread = refine(fit(plan, table, kind, about=about), plan, table, covariance, kind)
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    size = spread.shape[0]

    def whitened(change):
        return white @ (table - changed(ours, change)(plan)).ravel()

    peer = least_squares(
        whitened, np.full(size, 1e-4), x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    np.testing.assert_allclose(effect(kind, table, about) @ peer.x, 0, atol=1e-7)
    # scipy differentiates by differences, which costs half its digits.
    np.testing.assert_allclose(spread, np.linalg.inv(peer.jac.T @ peer.jac), rtol=1e-5, atol=1e-9)


def test_counting_a_turn_from_nominal_places_moves_a_pose_by_less_than_a_micrometre():
    plan, table = random_points(3, 6)
    about, covariance = plan.mean(axis=0), np.diag(np.linspace(0.05, 0.4, 12))
    start = fit(plan, table, about=about)
    exact, _ = refine(start, plan, table, covariance)
    nominal, _ = refine(start, plan, table, covariance, levers=table)
    np.testing.assert_allclose(nominal(plan), exact(plan), atol=1e-3)


def test_marks_that_fit_exactly_give_the_true_pose_however_far_the_device_was_turned():
    for turn in np.linspace(-3, 3, 13):
        true = rigid(np.array([31.0, -18.0]), turn, np.array([200.0, 130.0]))
        plan = np.array([[10.0, 10], [380, 20], [30, 250]])
        covariance = np.eye(6)
        start = fit(plan, true(plan), about=true.about)
        found, _ = refine(start, plan, true(plan), covariance)
        np.testing.assert_allclose(found.matrix, true.matrix, atol=1e-12)
        np.testing.assert_allclose(found.shift, true.shift, atol=1e-9)


def test_a_pose_and_its_inverse_leave_a_point_where_it_was():
    rng = np.random.default_rng(2)
    for kind_size in (3, 4, 6):
        pose = changed(
            rigid(np.array([5.0, -3]), 0.4, np.array([100.0, 50])),
            rng.normal(0, 0.05, kind_size),
        )
        points = rng.uniform(0, 400, (9, 2))
        np.testing.assert_allclose(pose.inverse(pose(points)), points, atol=1e-10)
        np.testing.assert_allclose(pose.after(pose.inverse)(points), points, atol=1e-10)
        np.testing.assert_allclose(pose.after(pose)(points), pose(pose(points)), atol=1e-10)


@pytest.mark.parametrize("kind", PEERS)
def test_the_effect_of_a_small_change_is_its_derivative(kind):
    rng = np.random.default_rng(4)
    points, about = rng.uniform(0, 400, (5, 2)), np.array([200.0, 130.0])
    by_point = effect(kind, points, about)
    for parameter in range(by_point.shape[2]):
        step = np.zeros(by_point.shape[2])
        step[parameter] = 1e-6
        moved = changed(as_planned(about), step)(points) - changed(as_planned(about), -step)(points)
        np.testing.assert_allclose(moved / 2e-6, by_point[:, :, parameter], atol=1e-6)


SQUARE = np.array([[0.0, 0], [100, 0], [100, 100], [0, 100]])


@pytest.mark.parametrize(
    ("plan", "table", "kind", "reason"),
    [
        (SQUARE[:1], SQUARE[:1], "rigid", "read at least 2"),
        (SQUARE[[0, 0]], SQUARE[[0, 0]], "rigid", "all in one place"),
        (SQUARE[[0, 0]] + 3000, SQUARE[:2], "similarity", "all in one place"),
        (SQUARE[:2], SQUARE[:2], "affine", "read at least 3"),
        (SQUARE[[0, 0, 1]], SQUARE[[0, 0, 1]], "affine", "on one line"),
        (np.array([[0.0, 0], [50, 25], [100, 50]]), SQUARE[:3], "affine", "on one line"),
        (SQUARE, SQUARE[[1, 0, 3, 2]], "affine", "turned over"),
        (SQUARE, SQUARE[[1, 0, 3, 2]], "rigid", "every rotation"),
        (SQUARE * np.nan, SQUARE, "rigid", "finite"),
    ],
)
def test_marks_that_cannot_tell_are_refused_with_the_reason(plan, table, kind, reason):
    with pytest.raises(RefusedError, match=reason):
        fit(plan, table, kind)


def test_a_bed_seen_from_below_is_noticed_and_one_turned_about_is_not():
    plan = np.array([[10.0, 10], [380, 20], [30, 250]])
    assert turned_over(plan, plan * [-1, 1])
    assert turned_over(plan, plan * [1, -1] + 40)
    assert not turned_over(plan, -plan)
    assert not turned_over(plan, plan + 3)
