"""Truing up on a phone: all of a landing on one screen, and the answer where the finger is."""

from __future__ import annotations

import numpy as np
import pytest

from tests.projector.browsers import (
    beam,
    hung_crooked,
    remote_page,
    stage_page,
    true_up,
    when,
)

SIZES = [(390, 844), (360, 640)]
NEEDED = ["#at", "#along", "#across", "#landed"]
"""What a landing takes beside the arrows."""
IN_SIGHT = """(one) => { const box = one.getBoundingClientRect();
  return box.width > 0 && box.top >= 0 && box.left >= 0 && box.bottom <= innerHeight
    && box.right <= innerWidth; }"""


def begun(browser, run, size=SIZES[0]):
    remote = remote_page(browser, run, size)
    remote.get_by_role("tab", name="True up").click()
    remote.get_by_role("button", name="True up this section").click()
    when(remote, "desk.true_up !== null && link.waiting.length === 0")
    return remote


def land(remote, number, along, across):
    remote.locator("#at").get_by_text(f"Target {number}:").wait_for()
    remote.get_by_label("Along").fill(along)
    remote.get_by_label("Across").fill(across)
    remote.get_by_role("button", name="Landed", exact=True).click()
    remote.get_by_role("button", name=f"Target {number}, landed").wait_for()


@pytest.mark.parametrize("size", SIZES)
def test_target_arrows_and_landed_stand_on_one_screen(browser, work, tmp_path, size):
    with beam(tmp_path) as run:
        stage = stage_page(browser, run)
        when(stage, "display.ok")
        remote = begun(browser, run, size)
        when(remote, "desk.stage === ''")
        # A corner's second landing has the most to say.
        remote.get_by_role("button", name="Target 13").click()
        remote.locator("#at").get_by_text("Target 13:").wait_for()
        when(remote, "link.waiting.length === 0")
        remote.evaluate("scrollTo(0, 0)")
        for place in [*NEEDED, ".up", ".down", ".left", ".right", "#step"]:
            assert remote.locator(place).first.evaluate(IN_SIGHT), place


@pytest.mark.parametrize("size", SIZES)
def test_a_refused_true_up_is_answered_on_the_screen_at_hand(browser, work, tmp_path, size):
    with beam(tmp_path) as run:
        remote = begun(browser, run, size)
        spots = remote.evaluate("desk.true_up.targets.map((t) => [t.along, t.across])")
        for number in range(1, 6):
            # All on one point of the table.
            land(remote, number, *spots[0])
        # The finger is where the button is, wherever the page has been moved to.
        remote.evaluate("scrollTo(0, document.body.scrollHeight)")
        remote.evaluate(
            """() => { window.signs = []; const first = socket.send.bind(socket);
              socket.send = (text) => { first(text);
                if (text.includes('finish')) setTimeout(() => window.signs.push(
                  document.getElementById('answer').hidden ? '' :
                  document.getElementById('say').textContent), 0); }; }"""
        )
        remote.get_by_role("button", name="Work it out").click()
        remote.locator("#say").get_by_text("landed on the same point").wait_for()
        assert remote.locator("#say").evaluate(IN_SIGHT)
        # In the same turn as the tap: long before three tenths of a second.
        assert remote.evaluate("window.signs") == ["Working it out…"]
        remote.get_by_role("button", name="OK").click()
        assert not remote.locator("#answer").is_visible()


def test_a_number_without_a_unit_is_read_in_the_unit_beside_the_field(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = begun(browser, run)
        assert remote.get_by_label("Along (in)").is_visible()
        land(remote, 1, "28 3/8", "41.5")
        target = remote.evaluate("desk.true_up.targets[0]")
        assert (target["along"], target["across"]) == ("28 3/8 in", "41 1/2 in")


def test_after_a_good_true_up_the_way_on_is_the_big_button(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        true_up(remote, work, "r1c1", hung_crooked(work, "r1c1"))
        big = remote.locator("#true button.main:visible")
        assert big.all_inner_texts() == ["Trace this section"]
        assert big.evaluate(IN_SIGHT)
        big.click()
        assert remote.get_by_role("button", name="Traced, next line").is_visible()


def test_typed_landings_leave_one_cross_lit_on_each_corner(work):
    from devices.projector.desk.desk import acted, begun
    from devices.projector.desk.what_pages_show import look

    desk = acted(begun(work), work, {"do": "true-up"})
    real, rng = hung_crooked(work, "r1c1"), np.random.default_rng(3)
    for _ in range(13):
        target = next(t for t in desk.true_up.targets if t.name == desk.true_up.at)
        fell = real.to_table(np.array([target.at_px]))[0] + rng.normal(0, 0.4, 2)
        said = {"along": f"{fell[0]:.1f} mm", "across": f"{fell[1]:.1f} mm"}
        desk = acted(desk, work, {"do": "landed", **said})
        lit = np.array([one["at"] for one in look(desk, work)["targets"]])
        apart = np.linalg.norm(lit[:, None] - lit[None], axis=2)[np.triu_indices(len(lit), 1)]
        assert len(lit) == 9
        # A cross is 24 px across, its name beside it.
        assert apart.min() > 100
