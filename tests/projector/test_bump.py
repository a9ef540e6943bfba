"""After a bump: what check targets say of a move, held against scikit-image's rigid fit."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from skimage.transform import EuclideanTransform

from devices.job import Job
from devices.projector.desk.work import work_for
from devices.projector.light.mapping import apply
from devices.projector.trueup.bump import check_targets, moved, retrued, stirred
from devices.projector.trueup.calibration import Landing
from devices.projector.trueup.result import SET_BY_HAND, carried, checked, from_kept, kept, solved
from devices.projector.trueup.targets import relit, suggest
from marking.errors import BadInputError, RefusedError
from marking.job.folder import load_job
from tests.projector.browsers import hung_crooked, millrace

SD = SET_BY_HAND
SPOTS = np.array([[x, y] for y in np.linspace(20, 740, 5) for x in np.linspace(20, 1280, 7)])


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    return millrace(tmp_path_factory.mktemp("bump"))


@pytest.fixture(scope="module")
def held(work):
    targets = suggest(work.section("r1c1").window, work.expected("r1c1"), work.by_tape)
    return solved(work.aim("r1c1"), fallen(targets, hung_crooked(work, "r1c1")))


def fallen(targets, real, move=None, slips=()):
    """Landings of lights left where they are, typed; each off by its slip."""
    fell = real.to_table(np.array([target.at_px for target in targets]))
    if move is not None:
        fell = apply(move, fell)
    slips = dict(slips)
    return [
        Landing(t.name, t.at_px, (x + slips.get(n, (0, 0))[0], y + slips.get(n, (0, 0))[1]))
        for n, (t, (x, y)) in enumerate(zip(targets, fell, strict=True))
    ]


def bumped(degrees, x, y):
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[cos, -sin, x], [sin, cos, y], [0, 0, 1]])


def check_lights(work, held):
    targets = suggest(work.section("r1c1").window, work.expected("r1c1"), work.by_tape)
    return relit(check_targets(targets), held.mapping)


def test_the_check_is_by_the_two_targets_farthest_apart_each_twice(work, held):
    one, two, one_again, two_again = check_lights(work, held)
    assert one.at_table == one_again.at_table
    assert two.at_table == two_again.at_table
    x0, y0, x1, y1 = work.section("r1c1").window
    assert np.hypot(*np.subtract(one.at_table, two.at_table)) > 0.85 * np.hypot(x1 - x0, y1 - y0)


def test_a_bump_is_told_as_scikit_image_tells_it_and_is_re_trued(work, held):
    before, bump = held.mapping, bumped(0.3, 6.0, -3.0)
    rng = np.random.default_rng(4)
    slips = {n: rng.normal(0, SD, 2) for n in range(4)}
    landings = fallen(check_lights(work, held), before, bump, slips.items())
    move = moved(before, landings, SD)
    old = before.to_table(np.array([one.at_px for one in landings]))
    theirs = EuclideanTransform.from_estimate(old, np.array([one.at_table for one in landings]))
    assert np.allclose(move.matrix, theirs.params, atol=1e-9)
    again = retrued(before, move)
    off = before.to_table(again.to_px(apply(bump, SPOTS))) - SPOTS
    assert np.abs(off).max() < 2.5


def test_where_nothing_moved_the_true_up_stays_as_it_was(work, held):
    once = fallen(check_lights(work, held)[:2], held.mapping, None, {0: (0.4, -0.3)}.items())
    after = checked(work.aim("r1c1"), held, once)
    assert after.mapping is held.mapping
    assert after.worst_mm == held.worst_mm
    assert "nothing has moved" in after.lines[1]
    assert checked(work.aim("r1c1"), after, once).lines == after.lines, "said once"


def test_honest_landings_seldom_look_like_a_move(work, held):
    rng = np.random.default_rng(6)
    lights = check_lights(work, held)[:2]
    looks = 0
    for _ in range(500):
        # The true-up's own error at a target is about that of a landing.
        slips = {n: rng.normal(0, np.sqrt(2) * SD, 2) for n in range(2)}
        looks += stirred(held.mapping, fallen(lights, held.mapping, None, slips.items()), SD) > 0
    assert looks <= 20


def test_one_target_landed_twice_checks_nothing(work, held):
    one, _, again, _ = check_lights(work, held)
    with pytest.raises(BadInputError, match="land both targets"):
        checked(work.aim("r1c1"), held, fallen([one, again], held.mapping))


def test_a_move_by_single_landings_is_asked_for_again(work, held):
    once = fallen(check_lights(work, held)[:2], held.mapping, bumped(0, 5, 0))
    with pytest.raises(BadInputError, match="a second time"):
        checked(work.aim("r1c1"), held, once)


@pytest.mark.parametrize("slip", [(12.0, 0.0), (0.0, 12.0), (3.0, -3.0)])
def test_a_slip_in_one_landing_is_not_taken_for_a_move(work, held, slip):
    landings = fallen(check_lights(work, held), held.mapping, bumped(0.1, 4, 2), {2: slip}.items())
    with pytest.raises(BadInputError, match="two landings of target 1 differ"):
        checked(work.aim("r1c1"), held, landings)


def test_a_changed_zoom_is_no_bump(work, held):
    grown = np.diag([1.01, 1.01, 1.0])
    landings = fallen(check_lights(work, held), held.mapping, grown)
    with pytest.raises(BadInputError, match="True up anew"):
        checked(work.aim("r1c1"), held, landings)


def test_a_re_true_is_worth_less_than_the_true_up_and_says_so(work, held):
    landings = fallen(check_lights(work, held), held.mapping, bumped(0.2, 5, -4))
    after = checked(work.aim("r1c1"), held, landings)
    assert after.worst_mm > held.worst_mm
    assert after.good == (after.worst_mm <= work.job.tolerance)
    assert "the table had moved" in after.lines[1]
    assert from_kept(kept(after)).landings == ()


def test_another_section_s_true_up_is_judged_anew_where_it_is_used(tmp_path):
    # High enough to light both long edges at once, over the middle of the table.
    millrace(tmp_path)
    high = (tmp_path / "job.toml").read_text("utf-8") + 'distance = "190 in"\n'
    (tmp_path / "job.toml").write_text(high, "utf-8")
    work = work_for(load_job(tmp_path, Job))
    expected = work.expected("r1c1")
    y0, y1 = (work.section(name).window[edge] for name, edge in (("r1c1", 1), ("r2c1", 3)))
    x0, _, x1, _ = work.section("r1c1").window
    middle = expected.to_table(np.array([[960.0, 540.0]]))[0]
    to_middle = np.eye(3)
    to_middle[:2, 2] = middle - ((x0 + x1) / 2, (y0 + y1) / 2)
    real = replace(expected, matrix=expected.matrix @ to_middle, k=-0.004)
    targets = suggest(work.section("r1c1").window, real, work.by_tape)
    held = solved(work.aim("r1c1"), fallen(targets, real))
    again = from_kept(kept(held))
    assert again.landings == held.landings
    there = carried(work.aim("r2c1"), again, work.light("r2c1", again.mapping).unlit)
    assert there.mapping is again.mapping
    assert there.worst_mm > 2 * held.worst_mm, "beyond the targets the light is less sure"
    assert not there.good
    with pytest.raises(RefusedError, match="outside the picture"):
        carried(work.aim("r1c2"), again, work.light("r1c2", again.mapping).unlit)
    with pytest.raises(RefusedError, match="True up this section itself"):
        carried(work.aim("r2c1"), replace(held, landings=()), 0.0)
