"""Readings that scatter more than they were declared to, told by chi-square of their misfits."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.stats import chi2

from marking.network.datum import EXACT
from marking.network.error_model import ErrorModel
from marking.network.misfits import ink
from marking.network.network import KnownMark, Reading, Setup, known
from marking.network.pose import as_planned
from marking.network.scatter import FALSE_ALARM, scatter
from marking.sections.locating_marks import Mark

ERRORS = ErrorModel()
JOBS = 60
SECTIONS = 8


def job(rng, sd, since=0):
    """A row of sections with six marks each, whose readings scatter by `sd` from one on."""
    targets, setups = [], []
    for count in range(SECTIONS):
        spots = [(400.0 * count + x, y) for x in (20, 200, 380) for y in (20, 260)]
        named = [Mark(f"t{count}-{n}", at, "control") for n, at in enumerate(spots)]
        marks = [KnownMark(mark, None, 0.15) for mark in named]
        targets += marks
        scale = sd if count >= since else 0.25
        readings = []
        for mark in marks:
            own = 0.15 * rng.standard_normal(2) + 0.1 * rng.standard_normal(2)
            x, y = np.array(mark.mark.at_table) + own + scale * rng.standard_normal(2)
            readings.append(Reading(mark.mark.id, (float(x), float(y)), 0.25))
        middle = np.array([400.0 * count + 200, 140.0])
        setups.append(Setup(f"s{count}", as_planned(middle), tuple(readings)))
    return targets, setups


def test_readings_that_scatter_as_declared_are_let_be_99_times_in_100():
    rng = np.random.default_rng(1)
    told = [scatter(*job(rng, 0.25), EXACT, ERRORS) is not None for _ in range(JOBS)]
    # Chance lets 3 or more of so many through 2 times in 100 at the most.
    assert sum(told) <= 2


def test_readings_of_a_tired_hand_are_told_with_how_much_they_scatter_and_since_when():
    rng = np.random.default_rng(2)
    found = [scatter(*job(rng, 0.5, since=3), EXACT, ERRORS) for _ in range(12)]
    assert all(found)
    worth = [one.of(0.25, ERRORS.cloth) for one in found]
    assert np.mean(worth) == pytest.approx(0.5, abs=0.06)
    assert np.median([int(one.since[1:]) for one in found]) == 3


def test_the_limit_is_chi_squares():
    """Against scipy.stats: a job just within it is let be, one just past it is not."""
    targets, setups = job(np.random.default_rng(3), 0.25)
    few = setups[:1]
    network = known(targets, EXACT, ERRORS)
    degrees = 2 * 6 - 3
    limit = chi2.isf(FALSE_ALARM, degrees)
    low, high = 1.0, 20.0
    for _ in range(40):
        times = (low + high) / 2
        told = scatter(targets, [stretched(few[0], targets, times)], EXACT, ERRORS)
        low, high = (low, times) if told else (times, high)
    from marking.network.resection import resect

    edge = stretched(few[0], targets, low)
    found = resect(network, edge.readings, edge.pose.about)
    assert found.degrees == degrees
    assert found.total == pytest.approx(limit, rel=1e-3)


def stretched(setup, targets, times):
    """The same readings with their own errors made so many times larger."""
    at = {target.mark.id: np.array(target.mark.at_table) for target in targets}
    readings = []
    for one in setup.readings:
        x, y = at[one.mark] + times * (np.array(one.at) - at[one.mark])
        readings.append(replace(one, at=(float(x), float(y))))
    return replace(setup, readings=tuple(readings))


def test_what_is_placed_after_such_readings_counts_them_for_less():
    targets, setups = job(np.random.default_rng(4), 0.6)
    found = scatter(targets, setups, EXACT, ERRORS)
    assert found is not None
    states = []
    for each in (setups, found.applied(setups, ERRORS.cloth)):
        network = known(targets, EXACT, ERRORS)
        for setup in each:
            network = ink(network, setup)
        states.append(np.diag(network.by_tape)[network.places[setups[-1].section]])
    assert (states[1] > 1.5 * states[0]).all()
