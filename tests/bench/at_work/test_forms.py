"""Verbs asked by a form on the page: mending, hemming, placing, ticking off line by line."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from devices.bench.form_options import options_of, write_readings
from marking.errors import BadInputError
from marking.record.readings import READING_SD, read_readings
from tests.bench.benches import opened, small_job, until

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench
    from tests.conftest import RunCli

RULED = '[hems]\ndepth = "2 in"\nfolds = []\n[inking]\ncross_lines = "ruled"\n'


def said(page: Page, kind: str, text: str) -> None:
    """Waits until a verb has said something where its form stands."""
    place = page.locator(f'.outcome[data-of~="{kind}"]')
    until(page, lambda: text in place.inner_text(), f"{text!r} of {kind}")


def test_a_panel_is_hemmed_and_a_mend_and_a_placement_asked_for_by_forms(
    run: Bench, browser: Browser
) -> None:
    """As the verbs answer: what to cut, that nothing is inked to mend, that no marks are set."""
    folder = small_job(run.root / "forms")
    page = opened(browser, run, "forms")
    page.locator("#hem-by-hand summary").click()
    page.locator("#hem-width").fill("10")
    hems = page.get_by_role("button", name="Which lines its hems are laid to")
    # What is not there, or lacks its unit, is said at the field that it is of.
    hems.click()
    page.locator("#hem-length-fault", has_text="This is needed.").wait_for()
    page.locator("#hem-length").fill("12 in")
    assert page.locator("#hem-length-fault").count() == 0
    hems.click()
    lacks = page.locator("#hem-width-fault")
    lacks.wait_for()
    assert lacks.inner_text() == 'no unit; write "10 in" or "10 mm"'
    assert page.locator("#hem-width").get_attribute("aria-describedby") == "hem-width-fault"
    said(page, "hem", "What is wrong stands where it is typed.")
    page.locator("#hem-width").fill("10 in")
    hems.click()
    # What is wrong is the verb's own word, beside the form.
    said(page, "hem", "they would meet")
    page.locator("#hem-bottom").fill("single 1 in")
    page.locator("#hem-sides").fill("single 1 in")
    page.locator("#hem-heading").fill("none")
    page.locator("#hem-name").fill("parlour")
    hems.click()
    said(page, "hem", "Cut: 12 in wide by 13 in long.")
    page.locator('.outcome[data-of="hem"] a').get_by_text("hem-parlour.pdf").wait_for()
    assert (folder / "out" / "hem-parlour.pdf").read_bytes().startswith(b"%PDF")

    page.locator("#mending summary").click()
    ask = page.get_by_role("button", name="Ask for these anew")
    ask.click()
    # A reason is needed, and asked for where it is typed.
    assert page.evaluate("document.activeElement.id") == "mend-why"
    page.locator("#mend-lines").fill("3")
    page.locator("#mend-why").fill("dry pen")
    ask.click()
    said(page, "mend", "nothing is inked by the record")

    page.locator("#by-files summary").click()
    page.locator("#placed-section").fill("r1c1")
    page.locator("#placed-readings").fill("c1 12.5")
    page.get_by_role("button", name="Where it stands").click()
    page.locator("#say").get_by_text("reading 1").wait_for()
    page.locator("#placed-readings").fill("c1 12.5 30\nc2; 100.25; 31")
    page.get_by_role("button", name="Where it stands").click()
    said(page, "placed", "no tape marks are set out")
    readings = read_readings(folder / "readings.csv")
    assert [(one.section, one.mark, one.at_bed) for one in readings] == [
        ("r1c1", "c1", (12.5, 30.0)), ("r1c1", "c2", (100.25, 31.0)),
    ]  # fmt: skip


def test_lines_ruled_by_hand_are_ticked_by_check_boxes_and_by_a_tap_on_the_line(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    folder = small_job(run.root / "ticks", RULED)
    page = opened(browser, run, "ticks")
    page.get_by_role("button", name="Tick them one by one").click()
    first = page.locator('#ticks [data-line="3"]')
    first.wait_for()
    # By keyboard, and two at once: neither is lost.
    first.focus()
    page.keyboard.press("Space")
    page.locator('#ticks [data-line="5"]').check()
    page.locator("#steps").get_by_text("2 lines ruled").wait_for()
    # The line in the middle of the picture, found as the picture is drawn.
    until(page, lambda: page.evaluate("document.querySelector('#marking').width > 300"), "sized")
    box = page.locator("#marking").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.locator("#steps").get_by_text("3 lines ruled").wait_for()
    ticked = page.locator("#ticks input:checked")
    assert ticked.count() == 3
    # 26 in wide, the zero line 1 in from its end: the middle is line 12.
    assert page.locator('#ticks [data-line="12"]').is_checked()
    first.uncheck()
    page.locator("#steps").get_by_text("2 lines ruled").wait_for()
    # They are this job's, and no other's.
    small_job(run.root / "whole")
    page.goto(f"{run.url}&job=whole")
    page.locator("#folder").get_by_text("whole").wait_for()
    assert not page.locator("#ticks").is_visible()
    told = json.loads(run_cli("rule", "--job", folder, "--json").stdout)
    assert [one["name"] for one in told["lines"] if one["ruled"]] == ["5", "12"]


def test_a_form_gives_a_verb_no_option_that_it_has_no_field_for() -> None:
    given = {"lines": "36", "why": "--undo=m1", "section": " ", "undo": "m1", "lined": True}
    assert options_of("mend", given) == ("--lines=36", "--why=--undo=m1")
    assert options_of("hem", {"lined": True, "width": "48 in"}) == ("--width=48 in", "--lined")
    assert options_of("cover", {"width": "48 in"}) == ()
    box = {"x0": "30 in", "y0": "20 in", "x1": "42 in", "y1": "28 in"}
    assert options_of("mend", box) == ("--patch", "30 in", "20 in", "42 in", "28 in")
    for wrong in ("", "--undo=m1", "-1 in"):
        with pytest.raises(BadInputError, match="four lengths"):
            options_of("mend", {**box, "y1": wrong})


@pytest.mark.parametrize("typed", ["", "  \n", "c1 12", "c1,12", "c1 1 2 3 4"])
def test_readings_that_are_none_are_named_with_what_would_do(tmp_path: Path, typed: str) -> None:
    with pytest.raises(BadInputError, match=r"c12 103\.4 55\.2|no readings are typed"):
        write_readings(tmp_path / "readings.csv", "r1c1", typed)
    assert not (tmp_path / "readings.csv").exists()


@pytest.mark.parametrize(
    "typed", ["c12 103.4 55.2", "c12, 103.4, 55.2", "c12,103.4,55.2", "c12; 103.4; 55.2"]
)
def test_a_reading_is_taken_however_its_figures_are_parted(tmp_path: Path, typed: str) -> None:
    write_readings(tmp_path / "readings.csv", "r1c1", typed)
    (found,) = read_readings(tmp_path / "readings.csv")
    assert (found.mark, found.at_bed, found.sd) == ("c12", (103.4, 55.2), READING_SD)
