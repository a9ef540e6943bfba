"""The joint state against statsmodels and scipy, and its solver against published traverses."""

import math

import numpy as np
import pytest
from msgspec.structs import replace
from scipy import stats
from statsmodels.regression import linear_model

from marking.errors import BadInputError, RefusedError
from marking.least_squares.linear import solve
from marking.network.adjustment import adjust
from marking.network.confidence import radius_95
from marking.network.inked import ink_error, join_step
from marking.network.misfits import ink, mark_positions, misfit
from marking.network.network import Reading, Setup, known
from marking.network.pose import as_planned, effect
from marking.network.worth_of_readings import gain
from tests.network.four_sections import CENTRES, SEEN, SPOTS, setups, targets


def inked(scatter=0.0, seed=1):
    network = known(targets(scatter))
    for setup in setups(seed):
        network = ink(network, setup)
    return network


@pytest.mark.parametrize("scatter", [0.0, 0.15])
def test_sections_taken_one_by_one_and_all_at_once_agree(scatter):
    network = inked(scatter)
    together = adjust(targets(scatter), setups()).network
    order = np.concatenate([np.arange(s.start, s.stop) for s in network.places.values()])
    other = np.concatenate([np.arange(*together.places[n].indices(10_000)) for n in network.places])
    np.testing.assert_allclose(together.mean[other], network.mean[order], atol=1e-9)
    np.testing.assert_allclose(
        together.covariance[np.ix_(other, other)],
        network.covariance[np.ix_(order, order)],
        atol=1e-9,
    )


def test_the_order_in_which_setups_are_adjusted_does_not_matter():
    one = adjust(targets(), setups()).network
    two = adjust(targets(), setups()[::-1]).network
    for section in SEEN:
        np.testing.assert_allclose(
            one.mean[one.places[section]], two.mean[two.places[section]], atol=1e-9
        )


def test_a_section_on_correlated_marks_is_placed_as_statsmodels_would():
    network = known(targets())
    first, second, *_ = setups()
    network = ink(network, first)
    gained = gain(network, second.readings, second.pose.about, "rigid")
    at = np.array([SPOTS[reading.mark][:2] for reading in second.readings])
    design = effect("rigid", at, second.pose.about).reshape(6, 3)
    covariance = gained.carrier @ gained.network.covariance @ gained.carrier.T
    covariance += np.diag(np.repeat([reading.sd**2 for reading in second.readings], 2))
    assert abs(covariance[0, 2]) > 0.05
    misfits = misfit(network, second).ravel()
    peer = linear_model.GLS(misfits, design, sigma=covariance).fit()
    np.testing.assert_allclose(gained.change @ misfits, peer.params, atol=1e-9)
    np.testing.assert_allclose(gained.spread, peer.normalized_cov_params, atol=1e-9)
    total = misfits @ gained.projector @ misfits
    np.testing.assert_allclose(total, peer.ssr, rtol=1e-9)


def balanced(legs, lengths):
    """Latitudes and departures of a closed traverse, each leg's variance its length."""
    count = len(legs)
    design = np.zeros((count, count - 1))
    for leg in range(count):
        if leg < count - 1:
            design[leg, leg] = 1
        if leg:
            design[leg, leg - 1] = -1
    corners = [solve(design, legs[:, axis], np.sqrt(lengths)).unknowns for axis in (0, 1)]
    places = np.vstack([np.zeros(2), np.column_stack(corners), np.zeros(2)])
    return np.diff(places, axis=0), places


def test_least_squares_closes_a_published_traverse_as_the_compass_rule_does():
    # Mahun, "Traverse Computations", solution to problem 2 (jerrymahun.com, open access):
    # azimuth, length, adjusted latitude and departure in feet. The compass rule is the
    # least-squares answer when a leg's variance grows with its length.
    printed = [
        (226, 54, 23, 639.15, -436.631, -466.761),
        (0, 0, 0, 523.69, 523.715, -0.023),
        (235, 2, 29, 409.54, -234.640, -335.663),
        (79, 35, 2, 815.93, 147.556, 802.447),
    ]
    azimuths = np.radians([d + m / 60 + s / 3600 for d, m, s, *_ in printed])
    lengths = np.array([row[3] for row in printed])
    legs = lengths[:, None] * np.column_stack([np.cos(azimuths), np.sin(azimuths)])
    np.testing.assert_allclose(legs.sum(axis=0), [-0.115, 0.107], atol=1e-3)
    adjusted, _ = balanced(legs, lengths)
    np.testing.assert_allclose(adjusted, [row[4:] for row in printed], atol=6e-4)


def test_least_squares_gives_the_corners_of_another_published_traverse():
    # Purdue University, ASM 215, "Traverse calculations": latitudes and departures as printed
    # there (two decimals), balanced by the compass rule to these coordinates, north then east.
    legs = np.array(
        [
            (255.88, 125.72),
            (-153.70, 590.78),
            (-694.28, -192.54),
            (202.91, -6.02),
            (388.48, -517.41),
        ]
    )
    lengths = np.array([285.10, 610.45, 720.48, 203.00, 647.02])
    _, places = balanced(legs, lengths)
    printed = [
        (10000.00, 10000.00),
        (10255.96, 10125.66),
        (10102.44, 10716.31),
        (9408.37, 10523.62),
        (9611.34, 10517.55),
        (10000.00, 10000.00),
    ]
    np.testing.assert_allclose(places + 10000, printed, atol=0.01)


def test_a_closure_is_the_reading_against_the_network_without_it():
    made = setups()
    closures = {(c.section, c.mark): c for c in adjust(targets(), made).closures}
    # Section d reads w4; leave that reading out and predict it from all the others.
    last = made[3]
    without = replace(last, readings=tuple(r for r in last.readings if r.mark != "w4"))
    network = adjust(targets(), [*made[:3], without]).network
    w4 = next(r for r in last.readings if r.mark == "w4")
    at = np.array([SPOTS["w4"][:2]])
    reads = (
        last.pose(np.array(w4.at))
        + (effect("rigid", at, last.pose.about)[0]) @ network.mean[network.places["d"]]
    )
    expected = reads - mark_positions(network, ["w4"])[0]
    np.testing.assert_allclose(closures["d", "w4"].misclosure, expected, atol=1e-9)


def test_closures_find_the_tape_setting_that_was_wrong():
    made = setups(seed=4)
    wrong = [
        replace(t, mark=replace(t.mark, at_table=(t.mark.at_table[0] + 12.7, t.mark.at_table[1])))
        if t.mark.id == "c4"
        else t
        for t in targets()
    ]
    adjusted = adjust(wrong, made)
    worst = max(
        (c for c in adjusted.closures if c.section is None and np.isfinite(c.in_sds)),
        key=lambda c: c.in_sds,
    )
    assert worst.mark == "c4"
    assert 10 < np.hypot(*worst.misclosure) < 16
    assert adjusted.variance_factor > adjusted.limits[1]


def test_a_network_nothing_checks_has_no_closure_to_show():
    adjusted = adjust(targets(), [replace(setups()[0], readings=setups()[0].readings[:2])])
    assert adjusted.degrees == 1
    empty = adjust(targets(), [])
    assert empty.closures == ()


def test_later_readings_tell_more_of_ink_that_lies_already():
    network = known(targets())
    before = None
    for setup in setups():
        network = ink(network, setup)
        spread = network.covariance[network.places["a"], network.places["a"]]
        if before is not None:
            assert np.linalg.eigvalsh(before - spread).min() > -1e-12
        before = spread
    assert network.mean[network.places["a"]].any()


def test_the_step_at_a_join_counts_out_what_both_sections_share():
    network = inked()
    points = np.array([[380.0, 25.0], [380.0, 235.0]])
    _, step = join_step(network, "b", "a", points)
    apart = ink_error(network, "b", points)[1] + ink_error(network, "a", points)[1]
    assert (np.trace(step, axis1=1, axis2=2) < 0.7 * np.trace(apart, axis1=1, axis2=2)).all()


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        ([("w9", 380.0, 25.0)], "w9 is not known"),
        ([("w5", 380.0, 460.0)], "w5 is not inked yet: section c"),
    ],
)
def test_marks_that_nobody_can_have_read_are_named(readings, reason):
    network = ink(known(targets()), setups()[0])
    made = tuple(Reading(m, (x, y), 0.25) for m, x, y in readings)
    with pytest.raises(BadInputError, match=reason):
        ink(network, Setup("b", as_planned(np.array(CENTRES["b"])), made))


def test_a_network_refuses_what_would_corrupt_it():
    network = ink(known(targets()), setups()[0])
    with pytest.raises(BadInputError, match="inked already"):
        ink(network, setups()[0])
    with pytest.raises(BadInputError, match="given twice"):
        known([*targets(), targets()[0]])
    with pytest.raises(BadInputError, match="cannot be"):
        known([replace(targets()[0], sd=0.0)])
    with pytest.raises(BadInputError, match="is given twice"):
        adjust(targets(), [*setups(), setups()[0]])
    with pytest.raises(BadInputError, match="no section here"):
        adjust(targets(), setups()[1:2])
    one = replace(setups()[0], readings=setups()[0].readings[:1])
    with pytest.raises(RefusedError, match="1 mark, too few"):
        adjust(targets(), [one])


@pytest.mark.parametrize("ratio", [0.0, 0.1, 0.3, 0.6, 1.0])
@pytest.mark.parametrize("offset", [0.0, 0.5, 2.0, 6.0])
def test_the_95_percent_radius_holds_95_of_100_errors(ratio, offset):
    # Held against the exact distribution: scipy's noncentral chi-square along one axis,
    # integrated over the other.
    covariance = np.diag([1.0, ratio**2])
    mean = offset * np.array([0.6, 0.8])
    radius = radius_95(covariance[None], mean[None])[0]
    if ratio == 0:
        rest = np.sqrt(max(0.0, radius**2 - mean[1] ** 2))
        held = stats.norm.cdf(rest, mean[0]) - stats.norm.cdf(-rest, mean[0])
    else:
        y = np.linspace(mean[1] - 8 * ratio, mean[1] + 8 * ratio, 4001)
        half = np.sqrt(np.maximum(0, radius**2 - y**2))
        inner = stats.norm.cdf(half, mean[0]) - stats.norm.cdf(-half, mean[0])
        inner[np.abs(y) > radius] = 0
        held = np.trapezoid(inner * stats.norm.pdf(y, mean[1], ratio), y)
    assert held == pytest.approx(0.95, abs=0.01)


def test_least_squares_adjusts_a_published_levelling_network():
    """Seven height differences between two bench marks and three new points, equal weights.

    Ghilani and Wolf, Adjustment Computations, the example of differential levelling (from
    memory): A 105.141, B 104.483, C 106.188, standard deviation of unit weight 0.050.
    """
    x, y = 100.00, 107.50
    design = np.array(
        [[1, 0, 0], [-1, 0, 0], [0, 0, 1], [0, 0, -1], [-1, 1, 0], [0, 1, 0], [0, -1, 1]],
        dtype=float,
    )
    observed = np.array([x + 5.10, 2.34 - y, y - 1.25, -6.13 - x, -0.68, y - 3.00, 1.70])
    found = solve(design, observed, np.ones(7))
    assert found.unknowns == pytest.approx([105.141, 104.483, 106.188], abs=0.0006)
    assert math.sqrt(found.variance_factor) == pytest.approx(0.050, abs=0.0006)
