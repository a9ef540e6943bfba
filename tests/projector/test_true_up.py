"""Truing up, held against OpenCV, scikit-image and a homography worked by hand."""

from __future__ import annotations

import itertools
import re

import cv2
import numpy as np
import pytest
from msgspec.structs import replace
from scipy.stats import norm
from skimage.transform import ProjectiveTransform

from devices.projector.light.mapping import LightMapping, apply
from devices.projector.light.throw import lens_axis
from devices.projector.trueup.calibration import (
    Landing,
    LandingErrors,
    calibrate,
    direct_linear_transform,
)
from devices.projector.trueup.result import SET_BY_HAND, from_kept, kept, solved
from devices.projector.trueup.suspects import blunder_lines, solve
from devices.projector.trueup.targets import suggest
from marking.errors import BadInputError, RefusedError
from marking.least_squares.chi_square import POINT_95
from tests.projector.browsers import hung_crooked, millrace
from tests.projector.taping import held

PIXELS = (1920, 1080)
AXIS, RADIUS = (960.0, 540.0), float(np.hypot(960, 540))
FOCAL = 2880.0
CAMERA = np.array([[FOCAL, 0, AXIS[0]], [0, FOCAL, AXIS[1]], [0, 0, 1]])
TABLE = np.array([[x, y] for y in (740.0, 380.0, 30.0) for x in (40.0, 700.0, 1380.0)])
SPOTS = np.array([[x, y] for y in np.linspace(0, 760, 9) for x in np.linspace(0, 1400, 9)])


def opencv_px(table, k1=0.0, lean=0.2):
    """Pixels by OpenCV's own camera model: a projector is a camera run backwards."""
    turned, moved_by = np.array([np.pi - lean, 0.05, 0.03]), np.array([-700.0, 380.0, 2300.0])
    raised = np.column_stack([table, np.zeros(len(table))])
    px, _ = cv2.projectPoints(raised, turned, moved_by, CAMERA, np.array([k1, 0, 0, 0, 0.0]))
    return px[:, 0]


def landings_of(px, table):
    pairs = zip(px, table, strict=True)
    return [
        Landing(str(n), (float(p[0]), float(p[1])), (float(t[0]), float(t[1])))
        for n, (p, t) in enumerate(pairs, 1)
    ]


def exact(k1=0.0):
    return landings_of(opencv_px(TABLE, k1), TABLE)


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    return millrace(tmp_path_factory.mktemp("trueup"))


def test_the_homography_of_a_square_onto_a_trapezium_is_the_one_worked_by_hand():
    # Worked by Heckbert's formulas for a unit square onto a quadrilateral ("Fundamentals of
    # Texture LightMapping and Image Warping", 1989, section 2.2.3; from memory): g = 0, h = 1,
    # a = 2, b = 1, e = 2, so that (x, y) goes to ((2x + y) / (y + 1), 2y / (y + 1)).
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    trapezium = np.array([[0.0, 0.0], [2.0, 0.0], [1.5, 1.0], [0.5, 1.0]])
    found = direct_linear_transform(square, trapezium)
    by_hand = np.array([[2.0, 1.0, 0.0], [0.0, 2.0, 0.0], [0.0, 1.0, 1.0]])
    assert np.allclose(found / found[2, 2], by_hand, atol=1e-12)
    # The middle goes to where the diagonals cross.
    assert apply(found, np.array([[0.5, 0.5]]))[0] == pytest.approx((1, 2 / 3))


def test_exact_landings_give_opencv_s_and_scikit_image_s_mapping():
    found = calibrate(exact(), AXIS, RADIUS, radial=False).mapping.to_px(SPOTS)
    by_skimage = ProjectiveTransform.from_estimate(TABLE, opencv_px(TABLE))(SPOTS)
    assert np.abs(found - opencv_px(SPOTS)).max() < 1e-6
    assert np.abs(found - by_skimage).max() < 1e-6


def test_four_exact_landings_give_opencv_s_homography():
    # OpenCV takes these points in single precision, so they are rounded to it first.
    table = TABLE[[0, 2, 6, 8]]
    px = opencv_px(table).astype(np.float32)
    found = calibrate(landings_of(px.astype(float), table), AXIS, RADIUS).mapping.to_px(SPOTS)
    matrix, _ = cv2.findHomography(table.astype(np.float32), px)
    assert np.abs(found - cv2.perspectiveTransform(SPOTS[None], matrix)[0]).max() < 1e-6


@pytest.mark.parametrize("k1", [-0.06, 0.04])
def test_exact_landings_give_back_opencv_s_lens(k1):
    found = calibrate(exact(k1), AXIS, RADIUS)
    assert found.mapping.k == pytest.approx(k1 * (RADIUS / FOCAL) ** 2, rel=1e-6)
    assert np.abs(found.mapping.to_px(SPOTS) - opencv_px(SPOTS, k1)).max() < 1e-6
    assert np.abs(found.mapping.to_table(opencv_px(SPOTS, k1)) - SPOTS).max() < 1e-6


def test_noisy_landings_leave_opencv_s_residuals():
    rng = np.random.default_rng(5)
    for _ in range(20):
        px = opencv_px(TABLE) + rng.normal(0, 0.7, TABLE.shape)
        ours = calibrate(
            landings_of(px, TABLE), AXIS, RADIUS, LandingErrors(0.0, 0.7), radial=False
        )
        matrix, _ = cv2.findHomography(TABLE, px)
        theirs = px - cv2.perspectiveTransform(TABLE[None], matrix)[0]
        rms = np.sqrt((ours.residual_px**2).mean())
        assert rms == pytest.approx(np.sqrt((theirs**2).mean()), rel=0.02)


def test_exact_landings_give_the_mapping_of_opencv_s_camera_calibration():
    # One view of a plane does not tell a focal length and a tilt apart well, so OpenCV is given
    # the focal length; pose and lens are for it to find.
    dense = np.array([[x, y] for y in np.linspace(30, 740, 7) for x in np.linspace(40, 1380, 9)])
    px = opencv_px(dense, -0.06, lean=0.35)
    raised = np.column_stack([dense, np.zeros(len(dense))]).astype(np.float32)
    rms, camera, lens, turned, shift = calibrated_by_opencv(raised, px.astype(np.float32))
    theirs, _ = cv2.projectPoints(raised.astype(float), turned, shift, camera, lens)
    ours = calibrate(landings_of(px, dense), AXIS, RADIUS)
    assert np.abs(ours.mapping.to_px(dense) - px).max() < 1e-6
    assert rms < 1e-3  # OpenCV takes these points in single precision
    assert np.abs(ours.mapping.to_px(dense) - theirs[:, 0]).max() < 1e-3
    assert ours.mapping.k == pytest.approx(lens.ravel()[0] * (RADIUS / FOCAL) ** 2, rel=1e-3)


def test_noisy_landings_leave_the_residuals_of_opencv_s_camera_calibration():
    rng = np.random.default_rng(17)
    dense = np.array([[x, y] for y in np.linspace(30, 740, 7) for x in np.linspace(40, 1380, 9)])
    raised = np.column_stack([dense, np.zeros(len(dense))]).astype(np.float32)
    for _ in range(10):
        px = opencv_px(dense, -0.06, lean=0.35) + rng.normal(0, 0.7, dense.shape)
        rms, *_ = calibrated_by_opencv(raised, px.astype(np.float32))
        ours = calibrate(landings_of(px, dense), AXIS, RADIUS, LandingErrors(0.0, 0.7))
        # OpenCV solves for seven unknowns where we have nine, of 126 equations.
        assert np.sqrt((ours.residual_px**2).sum(axis=1).mean()) == pytest.approx(rms, rel=0.02)


def calibrated_by_opencv(raised, px):
    """rms, camera, lens, turn and shift: pose and first radial term by cv2.calibrateCamera."""
    fixed = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_PRINCIPAL_POINT
        | cv2.CALIB_FIX_FOCAL_LENGTH
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    rms, camera, lens, turned, shift = cv2.calibrateCamera(
        [raised], [px], (1920, 1080), CAMERA.copy(), np.zeros(5), flags=fixed
    )
    return rms, camera, lens, turned[0], shift[0]


def test_the_derivatives_are_those_of_differences():
    mapping = calibrate(exact(-0.06), AXIS, RADIUS).mapping
    step = 1e-3
    for axis in (0, 1):
        ahead, behind = SPOTS.copy(), SPOTS.copy()
        ahead[:, axis] += step
        behind[:, axis] -= step
        by_difference = (mapping.to_px(ahead) - mapping.to_px(behind)) / (2 * step)
        assert np.allclose(mapping.jacobian(SPOTS)[:, :, axis], by_difference, atol=1e-6)


def test_predicted_errors_are_those_met_and_near_the_least_possible():
    rng = np.random.default_rng(11)
    truth, setting = opencv_px(TABLE, -0.06), LandingErrors(0.5, 0.0)
    squares, bounds, inside = [], [], []
    for _ in range(250):
        table = TABLE + rng.normal(0, 0.5, TABLE.shape)
        found = calibrate(landings_of(truth, table), AXIS, RADIUS, setting)
        errors = found.mapping.to_table(opencv_px(SPOTS, -0.06)) - SPOTS
        covariance = found.covariance_table(SPOTS)
        squares.append((errors**2).sum(axis=1).mean())
        bounds.append(np.trace(covariance, axis1=1, axis2=2).mean())
        reach = np.einsum("ni,nij,nj->n", errors, np.linalg.inv(covariance), errors)
        inside.append((reach <= POINT_95).mean())
    assert np.sqrt(np.mean(squares) / np.mean(bounds)) < 1.1
    assert 0.92 < np.mean(inside) < 0.98


def test_the_leave_one_out_figure_is_that_of_really_leaving_one_out():
    rng = np.random.default_rng(2)
    table = TABLE + rng.normal(0, 0.5, TABLE.shape)
    landings = landings_of(opencv_px(TABLE), table)
    whole = calibrate(landings, AXIS, RADIUS, LandingErrors(0.5))
    total = whole.misfit * whole.spare
    for index in range(len(landings)):
        rest = landings[:index] + landings[index + 1 :]
        without = calibrate(rest, AXIS, RADIUS, LandingErrors(0.5))
        fall = total - without.misfit * without.spare
        assert whole.suspicion[index] == pytest.approx(fall, rel=0.05, abs=0.02)


def test_a_landing_five_millimetres_off_is_named():
    table = TABLE.copy()
    table[4] += (5.0, 0.0)
    found = calibrate(landings_of(opencv_px(TABLE), table), AXIS, RADIUS)
    assert found.blunders[0] == 4
    said = blunder_lines(found, "mm")
    assert said[0].startswith("Target 5 contradicts the others by 5 mm")


def test_corners_landed_twice_name_a_slip_of_three_millimetres():
    # Half a millimetre in all, as the bench of the projector measures it in 2,000 cases.
    rng, setting = np.random.default_rng(23), LandingErrors(0.5 / 2**0.5)
    places = np.vstack([TABLE, TABLE[[0, 2, 6, 8]]])
    named = {9: 0, 13: 0}
    for _ in range(400):
        wrong, way = int(rng.integers(9)), rng.uniform(0, 2 * np.pi)
        table = places + rng.normal(0, setting.table, places.shape)
        table[wrong] += 3 * np.array([np.cos(way), np.sin(way)])
        for count in named:
            landings = landings_of(opencv_px(places[:count]), table[:count])
            blunders = calibrate(landings, AXIS, RADIUS, setting).blunders
            named[count] += bool(blunders) and blunders[0] == wrong
    assert named[13] >= 393
    assert named[9] < 380


def test_the_least_slip_that_is_named_is_named_99_times_in_100():
    rng, setting = np.random.default_rng(29), LandingErrors(0.5)
    places = np.vstack([TABLE, TABLE[[0, 2, 6, 8]]])
    exact_px = opencv_px(places)
    found = calibrate(landings_of(exact_px, places), AXIS, RADIUS, setting)
    for wrong in (0, 4, 5):
        values, ways = np.linalg.eigh(found.shown[wrong])
        assert found.slip_named[wrong] == pytest.approx(
            (np.sqrt(-2 * np.log(0.008 / 13)) + norm.ppf(0.99)) / np.sqrt(values[0])
        )
        suspected = 0
        for _ in range(200):
            table = places + rng.normal(0, 0.5, places.shape)
            table[wrong] += found.slip_named[wrong] * ways[:, 0]
            landings = landings_of(exact_px, table)
            suspected += wrong in calibrate(landings, AXIS, RADIUS, setting).blunders
        assert suspected >= 195


def test_a_slip_where_nothing_checks_a_landing_is_said_to_be_unseen(work):
    four = solved(work.aim("r1c1"), honest(work, count=4))
    assert any("check nothing" in line for line in four.lines)
    every = solved(work.aim("r1c1"), honest(work))
    assert any("in any one landing would be named" in line for line in every.lines)


def test_four_targets_check_nothing_wherever_they_lie():
    # Eight equations for eight unknowns, by counting: whatever one of them slips, a picture fits.
    # What is left is rounding, which is another one on every processor.
    rng = np.random.default_rng(31)
    for case in range(200):
        table = TABLE[[0, 2, 6, 8]] + rng.uniform(-150, 150, (4, 2))
        px = opencv_px(table)
        table[case % 4] += rng.normal(0, 20, 2)
        found = calibrate(landings_of(px, table), AXIS, RADIUS)
        assert np.isinf(found.slip_named).all(), found.slip_named
        assert not found.checked.any()
        assert (found.suspicion == 0).all()


def test_beside_three_on_a_line_nothing_checks_the_other_two():
    # Without one of the two, three on a line and a single point off it are left, and those fix no
    # picture (a homography takes four points, no three of them on a line).
    found = calibrate(landings_of(opencv_px(five := TABLE[[0, 1, 2, 6, 8]]), five), AXIS, RADIUS)
    assert found.checked.tolist() == [True, True, True, False, False]
    assert np.isfinite(found.slip_named).tolist() == found.checked.tolist()
    assert found.slip_named[found.checked].max() < 20


def test_honest_landings_are_seldom_suspected():
    rng = np.random.default_rng(3)
    alarms = 0
    for _ in range(300):
        table = TABLE + rng.normal(0, 0.5, TABLE.shape)
        alarms += bool(calibrate(landings_of(opencv_px(TABLE), table), AXIS, RADIUS).blunders)
    assert alarms <= 6


def solve_for(work, landings, section="r1c1"):
    return solve(
        landings,
        work.expected(section),
        work.job.projector.pixels,
        work.layout.top.corners_table,
        LandingErrors(),
    )


def targets_of(work, section="r1c1"):
    return suggest(work.section(section).window, work.expected(section), work.by_tape)


def honest(work, section="r1c1", count=13):
    targets = targets_of(work, section)[:count]
    px = np.array([target.at_px for target in targets])
    return landings_of(px, hung_crooked(work, section).to_table(px))


def with_table(landings, change):
    return [
        replace(landing, at_table=change(number, *landing.at_table))
        for number, landing in enumerate(landings)
    ]


@pytest.mark.parametrize("count", [1, 3])
def test_three_targets_or_fewer_are_refused(work, count):
    with pytest.raises(BadInputError, match="needs 4"):
        solve_for(work, honest(work, count=count))


def test_targets_on_one_line_are_refused(work):
    row = [honest(work)[index] for index in (0, 4, 1)]
    more = replace(row[0], name="4", at_px=(700.0, row[0].at_px[1]))
    more = replace(
        more, at_table=tuple(hung_crooked(work, "r1c1").to_table(np.array([more.at_px]))[0])
    )
    with pytest.raises(BadInputError, match="all lie on one line"):
        solve_for(work, [*row, more])


def test_three_of_four_targets_on_one_line_are_refused(work):
    with pytest.raises(BadInputError, match="no three may"):
        solve_for(work, [honest(work)[index] for index in (0, 1, 4, 6)])


def test_one_point_landed_on_twice_is_refused(work):
    landings = honest(work)
    twice = with_table(landings, lambda n, x, y: landings[0].at_table if n == 1 else (x, y))
    with pytest.raises(BadInputError, match="same point"):
        solve_for(work, twice)


@pytest.mark.parametrize(("first", "second"), [(0, 1), (0, 8), (3, 5)])
def test_two_swapped_targets_are_named(work, first, second):
    landings = honest(work)
    places = [landing.at_table for landing in landings]
    places[first], places[second] = places[second], places[first]
    swapped = with_table(landings, lambda n, *_: places[n])
    with pytest.raises(BadInputError, match=f"targets {first + 1} and {second + 1} look swapped"):
        solve_for(work, swapped)


def test_a_mirrored_picture_is_told_by_name(work):
    mirrored = with_table(honest(work), lambda _, x, y: (1500 - x, y))
    with pytest.raises(BadInputError, match="mirrored"):
        solve_for(work, mirrored)


def test_readings_in_no_order_fold_the_picture_and_are_refused(work):
    landings = honest(work, count=9)
    order = [3, 7, 0, 5, 1, 8, 2, 6, 4]
    places = [landings[index].at_table for index in order]
    with pytest.raises(BadInputError, match="fold the picture"):
        solve_for(work, with_table(landings, lambda n, *_: places[n]))


@pytest.mark.parametrize("factor", [25.4, 1 / 25.4, 2.54, 10.0])
def test_readings_in_a_wrong_unit_are_told_from_the_picture_s_size(work, factor):
    wrong = with_table(honest(work), lambda _, x, y: (x * factor, y * factor))
    with pytest.raises(BadInputError, match="unit"):
        solve_for(work, wrong)


def test_a_picture_beside_the_table_is_refused(work):
    beside = with_table(honest(work), lambda _, x, y: (x + 6000, y))
    with pytest.raises(RefusedError, match="misses the table"):
        solve_for(work, beside)


def test_a_true_up_of_a_crooked_projector_lights_lines_where_they_belong(work):
    real = hung_crooked(work, "r1c1")
    found = solved(work.aim("r1c1"), honest(work))
    x0, y0, x1, y1 = work.section("r1c1").core
    spots = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1], [(x0 + x1) / 2, y0]])
    assert np.abs(real.to_table(found.mapping.to_px(spots)) - spots).max() < 1e-6
    assert found.good
    assert found.worst_mm < work.job.tolerance


def test_a_true_up_is_remembered_to_the_last_bit(work):
    found = solved(work.aim("r1c1"), honest(work))
    again = from_kept(kept(found))
    assert np.array_equal(again.mapping.matrix, found.mapping.matrix)
    assert replace(again, mapping=found.mapping) == found


def test_a_nudge_moves_all_light_by_whole_pixels():
    mapping = LightMapping(calibrate(exact(), AXIS, RADIUS).mapping.matrix, AXIS, RADIUS, -0.01)
    nudged = mapping.shifted(3, -2)
    assert np.allclose(nudged.to_px(SPOTS) - mapping.to_px(SPOTS), (3, -2))
    assert np.abs(nudged.to_table(nudged.to_px(SPOTS)) - SPOTS).max() < 1e-6


@pytest.mark.parametrize(("first", "second"), [(0, 1), (0, 3), (1, 2)])
def test_two_targets_swapped_in_both_their_landings_are_named(work, first, second):
    landings = honest(work)
    order = list(range(len(landings)))
    for one, other in ((first, second), (first + 9, second + 9)):
        order[one], order[other] = other, one
    places = [landings[place].at_table for place in order]
    swapped = with_table(landings, lambda n, *_: places[n])
    with pytest.raises(BadInputError, match=f"targets {first + 1} and {second + 1} look swapped"):
        solve_for(work, swapped)


@pytest.mark.parametrize("typed", [True, False], ids=["typed", "nudged"])
def test_what_a_true_up_tells_holds_in_95_of_100_with_a_tape_s_errors_in_it(work, typed):
    # 240 true-ups: a share of 95 % has a standard deviation of 1.4 % of its own, so that 93 to
    # 97 % is widened by it. The bench of the projector tells the share of 2,000.
    share, _ = held(work, "r1c1", 240, 41, typed=typed)
    assert 0.93 - 0.014 < share < 0.97 + 0.014


def test_a_slip_of_half_an_inch_accuses_no_landing_that_does_not_explain_it(work):
    targets = honest(work)
    for slipped, (x, y) in itertools.product(range(13), [(12.7, 0), (0, -12.7), (9, 9)]):
        rng = np.random.default_rng(slipped)
        moved = with_table(
            targets,
            lambda n, along, across, at=slipped, by=(x, y), rng=rng: (
                along + rng.normal(0, 0.35) + (by[0] if n == at else 0),
                across + rng.normal(0, 0.35) + (by[1] if n == at else 0),
            ),
        )
        found = calibrate(moved, *lens_axis(work.job.projector), LandingErrors(SET_BY_HAND))
        said = blunder_lines(found, "in")
        assert said[0].startswith(f"Target {slipped + 1} contradicts the others")
        accused = {int(n) for line in said[1:] for n in re.findall(r"try ([\d, then]+):", line)[0]
                   .replace("then", "").replace(",", " ").split()}  # fmt: skip
        assert len(said) <= 2
        if accused:
            assert "one of them is enough" in said[1]
        for name in accused:
            rest = [one for one in moved if one.name != str(name)]
            without = calibrate(rest, *lens_axis(work.job.projector), LandingErrors(SET_BY_HAND))
            # 99.9 % of chi-squared over 15 degrees of freedom: 37.7, any table of it.
            assert without.misfit * without.spare < 40
