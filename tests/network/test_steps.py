"""Steps read off verniers at joins, adjusted with all readings: against scipy's least squares."""

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.optimize import least_squares

from marking.network.adjustment import adjust
from marking.network.datum import EXACT, Datum
from marking.network.error_model import NO_ERRORS
from marking.network.misfits import ink
from marking.network.network import known
from marking.network.part_of_network import concerning
from marking.network.pose import changed, rigid
from marking.network.scatter import scatter
from marking.network.steps import StepRead, expected, made_whole, misread, with_steps
from tests.network.four_sections import CENTRES, SPOTS, setups, targets

STEPS = (
    StepRead("v01", ("a", "b"), 0, (380.0, 60.0), 0.3, 0.1),
    StepRead("v02", ("a", "b"), 0, (380.0, 200.0), -0.2, 0.1),
    StepRead("v03", ("a", "b"), 1, (380.0, 130.0), 0.5, 0.1),
    StepRead("v04", ("c", "d"), 1, (380.0, 400.0), -0.4, 0.1),
    StepRead("v05", ("b", "d"), 1, (600.0, 250.0), 0.1, 0.1),
)
CLOTH = 0.1


def in_turn(steps, errors=NO_ERRORS, datum=EXACT, scatter=0.15):
    network = known(targets(scatter), datum, errors)
    for setup in setups():
        network = made_whole(ink(network, setup), steps, setup.section)
    return network


def moved(section, change, at):
    """By hand: where a small shift and turn about the middle of a window take a table point."""
    x, y = np.subtract(at, CENTRES[section])
    return change[:2] + change[2] * np.array([-y, x])


def by_scipy(steps):
    """Every tape mark, every inked mark's own scatter and every pose at once, by scipy."""
    made, scattered = setups(), [name for name, (_, _, by) in SPOTS.items() if by]
    taped = [name for name, (_, _, by) in SPOTS.items() if by is None]
    own = {name: slice(2 * n, 2 * n + 2) for n, name in enumerate([*taped, *scattered])}
    first = 2 * len(own)
    poses = {s.section: slice(first + 3 * n, first + 3 * n + 3) for n, s in enumerate(made)}

    def off(u):
        rows = [u[own[m]] / 0.4 for m in taped] + [
            u[own[m]] / np.hypot(0.15, CLOTH) for m in scattered
        ]
        for setup in made:
            for reading in setup.readings:
                x, y, by = SPOTS[reading.mark]
                lies = np.array([x, y]) + u[own[reading.mark]]
                if by is not None:
                    lies = lies + moved(by, u[poses[by]], (x, y))
                stands = setup.pose(np.array(reading.at)) + moved(
                    setup.section, u[poses[setup.section]], (x, y)
                )
                rows.append((lies - stands) / np.hypot(reading.sd, CLOTH))
        for step in steps:
            one, two = (moved(name, u[poses[name]], step.at) for name in step.sections)
            # Either section's ink lies where the cloth gave there.
            sd = np.sqrt(step.sd**2 + 2 * CLOTH**2)
            rows.append(np.atleast_1d((two - one)[step.axis] - step.step) / sd)
        return np.concatenate(rows)

    count = first + 3 * len(made)
    found = least_squares(off, np.zeros(count), method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return {name: found.x[at] for name, at in poses.items()}


@pytest.mark.parametrize("how", ["in turn", "at once"])
def test_every_pose_is_what_scipy_makes_of_the_same_readings_and_steps(how):
    errors = replace(NO_ERRORS, cloth=CLOTH)
    found = in_turn(STEPS, errors)
    if how == "at once":
        found = adjust(targets(0.15), setups(), EXACT, errors, STEPS).network
    theirs, without = by_scipy(STEPS), by_scipy(())
    for name, change in theirs.items():
        x, y = CENTRES[name]
        corners = [(x + dx, y + dy) for dx in (-180, 180) for dy in (-110, 110)]
        for at in corners:
            ours = moved(name, found.mean[found.places[name]], at)
            assert np.abs(ours - moved(name, change, at)).max() < 1e-6
        # And the steps do tell something.
        assert np.abs(change - without[name])[:2].max() > 0.01


def test_one_by_one_or_all_at_once_the_doubt_is_the_same_and_the_tape_stays_in_it():
    errors, datum = replace(NO_ERRORS, cloth=CLOTH, scale=3e-4), Datum((0, 0), 2e-4, 1e-4)
    network = in_turn(STEPS, errors, datum)
    together = adjust(targets(0.15), setups(), datum, errors, STEPS).network
    order = np.concatenate([np.arange(s.start, s.stop) for s in network.places.values()])
    other = np.concatenate([np.arange(*together.places[n].indices(999)) for n in network.places])
    np.testing.assert_allclose(together.mean[other], network.mean[order], atol=1e-9)
    index = np.ix_(other, other)
    np.testing.assert_allclose(
        together.covariance[index], network.covariance[np.ix_(order, order)], atol=1e-9
    )


def test_only_what_concerns_a_few_marks_gives_the_same_figures_with_steps_too():
    whole = in_turn(STEPS)
    few = concerning(targets(0.15), setups(), ["w5", "w4"], ["d"], steps=STEPS)
    for name in ("b", "c", "d"):
        at, of = few.places[name], whole.places[name]
        np.testing.assert_allclose(few.mean[at], whole.mean[of], atol=1e-12)
        np.testing.assert_allclose(few.covariance[at, at], whole.covariance[of, of], atol=1e-12)
    assert "a" not in few.places
    assert scatter(targets(0.15), setups(), EXACT, NO_ERRORS, STEPS) is None


def test_a_step_lessens_the_doubt_of_the_step_and_is_told_before_it_is_read():
    bare = in_turn(())
    told = expected(bare, STEPS[0])
    one = with_steps(bare, STEPS[:1])
    assert told.sd > 0.2
    # Read once it is known about as well as one reads it.
    assert expected(one, STEPS[0]).sd < 1.5 * STEPS[0].sd
    assert told.in_sds(told.step + 3 * told.sd) == pytest.approx(3.0)


def test_a_step_read_on_the_wrong_side_of_the_long_line_is_named():
    rng, named, falsely = np.random.default_rng(3), 0, 0
    bare = in_turn(())
    for _ in range(60):
        truth = rng.multivariate_normal(bare.mean, bare.covariance)
        steps = []
        for step in STEPS[:3]:
            one, two = (moved(s, truth[bare.places[s]], step.at) for s in step.sections)
            read = (two - one)[step.axis] + rng.normal(0, 0.1)
            steps.append(replace(step, step=read))
        falsely += misread(bare, steps) is not None
        wrong = [*steps[:2], replace(steps[2], step=steps[2].step + 3.0)]
        found = misread(bare, wrong)
        named += found is not None and found.step.id == "v03" and not found.rivals
    assert falsely <= 2
    assert named >= 57


def test_halves_drawn_for_another_pose_than_the_ink_tell_of_the_ink():
    """By hand: the device stands still; its ink is sent 0.4 mm further along than its half was."""
    about = np.array(CENTRES["b"])
    halves = rigid((0.1, 0.0), 0.001, about)
    inked = changed(halves, np.array([-0.4, 0.0, 0.0]))
    step = StepRead("v", ("a", "b"), 0, (380.0, 60.0), 0.0, 0.1)
    assert step.as_inked("b", halves, inked).step == pytest.approx(0.4, abs=1e-3)
    other = replace(step, sections=("b", "a"))
    assert other.as_inked("b", halves, inked).step == pytest.approx(-0.4, abs=1e-3)
    assert replace(step, axis=1).as_inked("b", halves, inked).step == pytest.approx(0, abs=1e-3)
