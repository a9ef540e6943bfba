"""What readings share, learned with the poses, against an adjustment that knows no network.

`tests.ways.adjustment` solves all unknowns at once from rows written from a description of the
work alone; `tests/ways/test_adjustment.py` holds it against statsmodels and scipy.
"""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from marking.network.datum import EXACT
from tests.network.as_the_oracle import placed_in_turn, targets_of
from tests.ways import figures
from tests.ways.adjustment import Adjustment
from tests.ways.cover_model import Errors, marked
from tests.ways.test_cover_model import _plan

# The datum is carried beside and never estimated, so here tape and square are true.
TRUE_DATUM = {"tape_most": 0.0, "temperature": 0.0, "lean": 0.0}


class Kept:
    """A placement of the reference that keeps what was read and sent."""

    def __init__(self, plan, errors):
        self.adjustment = Adjustment(plan, errors, rounds=3)

    def __call__(self, k, read, sent):
        self.read, self.sent = read.copy(), sent.copy()
        return self.adjustment(k, read, sent)


@pytest.mark.parametrize("fence", [False, True])
def test_poses_device_and_marks_are_those_of_one_joint_adjustment(fence):
    plan, errors = _plan(fence=fence), Errors(pointer=0.2, **TRUE_DATUM)
    kept = Kept(plan, errors)
    marked(plan, errors, 4, np.random.default_rng(4), kept, figures.points(plan))
    found = placed_in_turn(plan, errors, EXACT, kept.read, kept.sent)
    once = Adjustment(plan, errors)
    u, last = once.unknowns, len(plan.sections) - 1
    state = once.solve(np.zeros((4, u.size)), last, kept.read, kept.sent, rounds=1)
    spread = once.covariance(last)
    per = {"plotter": (u.scale, 1000.0), "pointer": (u.pointer, 1.0)}
    per |= {section.id: (u.poses[k], 1.0) for k, section in enumerate(plan.sections)}
    per |= {f"mark t{i}": (u.marks[i], 1.0) for i in range(len(plan.marks))}
    per |= {f"fence {f}": (u.clampings[f], 1.0) for f in range(len(plan.clampings))}
    for name, (at, unit) in per.items():
        block = found.places[name]
        np.testing.assert_allclose(found.mean[block].T * unit, state[:, at], atol=1e-6)
        theirs = spread[np.ix_(at, at)]
        np.testing.assert_allclose(found.by_tape[block, block] * unit**2, theirs, atol=1e-6)


@pytest.mark.parametrize("plan", [_plan(rows=6), _plan(fence=True)], ids=["apart", "fence"])
def test_the_covariance_stays_even_and_positive_after_each_section(plan):
    """Or what rounding leaves of one section grows in the next, along the whole chain."""
    zeros, counts = np.zeros((1, len(plan.readings), 2)), []

    def even(k, network):
        assert (network.by_tape == network.by_tape.T).all()
        scale = np.sqrt(np.diag(network.by_tape))
        assert (scale > 0).all()
        least = np.linalg.eigvalsh(network.by_tape / np.outer(scale, scale))[0]
        assert least > 0
        counts.append(k)

    placed_in_turn(plan, Errors(), EXACT, zeros, zeros, even)
    assert counts == list(range(len(plan.sections)))


def test_a_far_end_of_a_row_is_known_as_its_struck_line_is():
    """By hand: no reading yet, so a mark at the end of a row errs by that end, not by the other."""
    from marking.network.error_model import NO_ERRORS
    from marking.network.network import known, met

    plan = _plan()
    errors = replace(NO_ERRORS, row_ends=0.3, mark=0.1)
    network = known(targets_of(plan).values(), EXACT, errors)
    network = met(network, ["t0", "t3", "t1"])
    block = {m: network.places[f"mark {m}"] for m in ("t0", "t1", "t3")}
    y0, y1, y3 = (block[m].start + 1 for m in ("t0", "t1", "t3"))
    assert network.by_tape[y0, y3] == pytest.approx(0.0)
    # A third of the way along: two thirds of one end's error and a third of the other's.
    assert network.by_tape[y0, y1] == pytest.approx(0.3**2 * 2 / 3)
    assert network.by_tape[y3, y1] == pytest.approx(0.3**2 / 3)
    assert network.by_tape[y1, y1] == pytest.approx(0.1**2 + 0.3**2 * (4 / 9 + 1 / 9))
