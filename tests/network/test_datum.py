"""What the tape and the square shift all tape marks by, against statsmodels and simulation.

Places are the tape's: weighted least squares without the datum's errors, which statsmodels solves
too. How far they may be off, and whether readings agree, is told with the datum's errors in the
covariance, which statsmodels' generalised least squares takes whole.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from msgspec.structs import replace
from statsmodels.regression import linear_model

from marking.network.adjustment import adjust
from marking.network.allowed_errors import Allowed
from marking.network.datum import EXACT, Datum
from marking.network.inked import ink_error
from marking.network.misfits import ink, misfit
from marking.network.network import Reading, known
from marking.network.worth_of_readings import gain
from marking.placement.placement import place
from marking.sections.neighbours import butts
from marking.tape_marks.forecast import forecast
from tests.network.four_sections import CENTRES, SEEN, SPOTS, setups, targets
from tests.placement.inking import READING_SD, coverage, ink_many, ink_once, set_out_by_tape

DATUM = Datum((20.0, 20.0), 0.8e-3, 1.1e-3)
"""On a cloth of 0.7 m as bad as a tape and a square are on one of 5 m."""
RUNS = 1500


def by_hand():
    """Rows of every observation of the small network, and their covariance, without the code.

    Unknowns are each tape mark's place and each section's shift and turn; observations are that
    a mark lies where it should, and that a reading and its mark are one.
    """
    controls = [name for name, (_, _, by) in SPOTS.items() if by is None]
    column = {name: 2 * count for count, name in enumerate(controls)}
    column |= {name: 2 * len(controls) + 3 * count for count, name in enumerate(SEEN)}
    size = 2 * len(controls) + 3 * len(SEEN)

    def moved(section, spot, sign):
        row, (x, y) = np.zeros((2, size)), np.subtract(spot, CENTRES[section])
        row[:, column[section] : column[section] + 3] = sign * np.array([[1, 0, -y], [0, 1, x]])
        return row

    rows, observed, noise = [], [], []
    for name in controls:
        rows.append(np.eye(size)[column[name] : column[name] + 2])
        observed.append([0, 0])
        noise.append(0.4)
    for setup in setups():
        for reading in setup.readings:
            x, y, by = SPOTS[reading.mark]
            row = moved(setup.section, (x, y), 1)
            if by is None:
                row[:, column[reading.mark] : column[reading.mark] + 2] -= np.eye(2)
            else:
                row += moved(by, (x, y), -1)
            rows.append(row)
            observed.append(np.subtract((x, y), setup.pose(np.array(reading.at))))
            noise.append(reading.sd)
    covariance = np.diag(np.repeat(noise, 2) ** 2)
    at = np.array([SPOTS[name][:2] for name in controls]) - DATUM.zero
    scale = np.zeros(len(covariance))
    lean = np.zeros(len(covariance))
    scale[: at.size] = DATUM.scale_sd * at.ravel()
    lean[: at.size : 2] = DATUM.lean_sd * at[:, 1]
    covariance += np.outer(scale, scale) + np.outer(lean, lean)
    return np.concatenate(rows), np.concatenate(observed), np.repeat(noise, 2), covariance, column


def test_sections_err_as_statsmodels_says_when_the_tape_and_the_square_do():
    design, observed, sd, covariance, column = by_hand()
    peer = linear_model.WLS(observed, design, weights=sd**-2).fit()
    solve = peer.model.pinv_wexog / sd
    spread = solve @ covariance @ solve.T
    together = adjust(targets(), setups(), DATUM).network
    by_turns = known(targets(), DATUM)
    for setup in setups():
        by_turns = ink(by_turns, setup)
    for state in (together, by_turns):
        for name in SEEN:
            here, there = state.places[name], np.arange(3) + column[name]
            np.testing.assert_allclose(state.mean[here], peer.params[there], atol=1e-9)
            np.testing.assert_allclose(
                state.covariance[here, here], spread[np.ix_(there, there)], atol=1e-9
            )
        one, two = (state.places[name] for name in ("a", "d"))
        here = column["a"] + np.arange(3), column["d"] + np.arange(3)
        np.testing.assert_allclose(state.covariance[one, two], spread[np.ix_(*here)], atol=1e-9)


def test_readings_agree_as_far_as_statsmodels_says_with_the_datum_in_the_covariance():
    design, observed, _, covariance, _ = by_hand()
    peer = linear_model.GLS(observed, design, sigma=covariance).fit()
    adjusted = adjust(targets(), setups(), DATUM)
    assert adjusted.variance_factor == pytest.approx(peer.scale, rel=1e-9)
    assert adjusted.variance_factor < adjust(targets(), setups()).variance_factor
    # The last section's reading of w5, left out and foretold from all the others.
    rows = np.flatnonzero(np.arange(len(observed)) // 2 != len(observed) // 2 - 3)
    out = np.setdiff1d(np.arange(len(observed)), rows)
    others = linear_model.GLS(
        observed[rows], design[rows], sigma=covariance[np.ix_(rows, rows)]
    ).fit()
    off = observed[out] - design[out] @ others.params
    closure = next(c for c in adjusted.closures if (c.section, c.mark) == ("d", "w5"))
    np.testing.assert_allclose(closure.misclosure, -off, atol=1e-9)
    spread = covariance[np.ix_(out, out)]
    spread = spread + design[out] @ others.normalized_cov_params @ design[out].T
    assert closure.in_sds == pytest.approx(np.sqrt(off @ np.linalg.solve(spread, off)), rel=1e-9)


def test_one_sections_readings_are_doubted_with_the_datum_in_mind():
    network = ink(known(targets(), DATUM), setups()[0])
    third = setups()[2]
    gained = gain(network, third.readings, third.pose.about, "rigid")
    misfits = misfit(network, third).ravel()
    arms = np.array([SPOTS[r.mark][:2] for r in third.readings]) - CENTRES["c"]
    design = np.array([row for x, y in arms for row in ([1, 0, -y], [0, 1, x])])
    sigma = gained.carrier @ gained.network.covariance @ gained.carrier.T
    sigma += np.diag(np.repeat([reading.sd**2 for reading in third.readings], 2))
    peer = linear_model.GLS(misfits, design, sigma=sigma).fit()
    assert misfits @ gained.projector @ misfits == pytest.approx(peer.ssr, rel=1e-9)


def test_no_reading_by_a_plotter_corrects_the_tape():
    exact, shifting = known(targets()), known(targets(), DATUM)
    for setup in setups():
        exact, shifting = ink(exact, setup), ink(shifting, setup)
    np.testing.assert_array_equal(shifting.mean, exact.mean)
    for name in SEEN:
        points = np.array([CENTRES[name]])
        surer, told = (ink_error(state, name, points)[1] for state in (exact, shifting))
        assert (np.trace(told, axis1=1, axis2=2) > np.trace(surer, axis1=1, axis2=2)).all()


@cache
def bench(profile, spacing, every):
    return set_out_by_tape(profile, spacing, every)


@pytest.mark.parametrize(
    ("profile", "spacing", "every"), [("flatbed-24x36", 152.4, 0), ("flatbed-a3", 76.2, 2)]
)
def test_95_percent_regions_hold_when_tape_and_square_are_drawn_once_for_each_table(
    profile, spacing, every
):
    plan, seen, datum = bench(profile, spacing, every)
    told = ink_many(plan, seen, RUNS, seed=1, datum=datum)
    for kind, shares in coverage(told).items():
        assert shares.min() >= 0.93, kind
        assert shares.max() <= 0.97, kind
    found = forecast(plan, seen, READING_SD, Allowed(25.4 / 16), 1, datum)
    for drawn, said in (
        (told.worst_line(), found.worst_line),
        (told.worst_step(), found.worst_step),
    ):
        assert np.quantile(drawn, 0.95) == pytest.approx(said, rel=0.04)


def test_the_same_tables_told_without_the_datum_are_told_too_well():
    plan, seen, datum = bench("flatbed-24x36", 152.4, 0)
    told = ink_many(plan, seen, RUNS, seed=1, datum=datum)
    said = ink_many(plan, seen, 2, seed=1)
    shares = coverage(replace(told, spread=said.spread))["worst point, radius"]
    assert shares.min() < 0.75


def test_place_keeps_its_word_on_tables_whose_tape_and_square_are_off():
    plan, seen, datum = bench("flatbed-24x36", 152.4, 0)
    kept, doubted, count = 0, 0, 0
    for seed in range(40):
        for _, placed, true in ink_once(plan, seen, Allowed(2.0), seed, datum=datum):
            laid = true.after(placed.inking.setup.pose.inverse)
            off = laid(np.array([placed.inking.worst_at])) - placed.inking.worst_at
            kept += bool(np.hypot(*off[0]) <= placed.inking.error)
            doubted += bool(placed.doubts)
            count += 1
    assert count == 40 * 15
    # Sections of one table share its tape, so 40 tables tell the share to about 2 %.
    assert 0.91 <= kept / count <= 0.99
    assert doubted < 0.02 * count


def test_more_marks_do_not_help_against_a_bad_tape_and_place_says_what_does():
    plan, seen, datum = bench("flatbed-24x36", 152.4, 0)
    bad = replace(datum, scale_sd=5 * datum.scale_sd)
    section = plan.sections[4]
    marks = [m for m in seen.seen[section.id] if not seen.targets[m].inked_by]
    readings = [Reading(m, seen.targets[m].mark.at_table, READING_SD) for m in marks]
    joints, limits = butts(plan.sections), Allowed(25.4 / 16)
    targets = seen.targets.values()
    good = place(known(targets, datum), section, readings, joints, limits)
    assert good.verdict == "ink"
    told = place(known(targets, bad), section, readings, joints, limits)
    assert told.verdict == "add a mark"
    assert "Compare the tape with a known length" in told.advice
    assert place(known(targets, EXACT), section, readings, joints, limits).verdict == "ink"
