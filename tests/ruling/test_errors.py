"""How ruling adds to the errors of stubs, against the variance of a straight line's ends.

For independent ends with variance v each, a place at share t has (1 - t)^2 v + t^2 v: the
propagation of variance as in any textbook of surveying, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from marking.ruling.errors import LAID, ruled_errors, steps_at_stubs

RUNS = 40_000


def test_a_ruled_line_spreads_the_errors_of_its_ends_as_variance_propagates() -> None:
    rng = np.random.default_rng(5)
    near, far = 0.5 * rng.standard_normal((2, RUNS))
    shares = np.linspace(0, 1, 5)
    errors = ruled_errors(near, far, shares, rng)
    # An even spread from -LAID to LAID has a variance of LAID^2 / 3.
    end = 0.5**2 + LAID**2 / 3
    wanted = np.sqrt(end * ((1 - shares) ** 2 + shares**2))
    assert errors.shape == (RUNS, 5)
    assert np.allclose(errors.std(axis=0), wanted, rtol=0.02)


def test_what_both_stubs_share_the_whole_line_has() -> None:
    rng = np.random.default_rng(6)
    both = np.full((3, 4), 0.7)
    assert ruled_errors(both, both, np.array([0.0, 0.4, 1.0]), rng, laid=0.0) == pytest.approx(0.7)


def test_where_line_and_stub_meet_only_the_laying_shows() -> None:
    rng = np.random.default_rng(7)
    near, far = rng.standard_normal((2, RUNS))
    ruled = ruled_errors(near, far, np.array([0.0, 1.0]), rng, laid=0.25)
    for steps in steps_at_stubs(near, far, ruled):
        assert np.quantile(steps, 0.95) == pytest.approx(0.95 * 0.25, rel=0.03)


def test_stubs_of_other_runs_are_refused() -> None:
    rng = np.random.default_rng(8)
    with pytest.raises(ValueError, match="one for each run"):
        ruled_errors(np.zeros(3), np.zeros(4), np.zeros(1), rng)
