"""Stage and remote in real browsers, the remote a phone in someone's hand."""

from __future__ import annotations

import io
import re
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image

from tests.projector.browsers import (
    beam,
    hung_crooked,
    remote_page,
    stage_page,
    true_up,
    when,
)

KEPT = "JSON.stringify({...desk, pairing: null})"
"""All of the desk but what each run has anew."""


def lit_pixels(stage):
    picture = Image.open(io.BytesIO(stage.screenshot())).convert("L")
    return sum(picture.histogram()[32:])


def brightest(stage):
    return Image.open(io.BytesIO(stage.screenshot())).convert("L").getextrema()[1]


def traced(remote):
    return remote.evaluate("desk.sections.find((one) => one.id === desk.section).traced")


def trace(remote, count):
    for _ in range(count):
        before = traced(remote)
        remote.get_by_role("button", name="Traced, next line").click()
        when(remote, f"desk.sections.find((s) => s.id === desk.section).traced === {before + 1}")


def test_three_sections_are_trued_up_and_stepped_through_with_a_reload_and_a_crash(
    browser, work, tmp_path
):
    with beam(tmp_path) as run:
        stage, remote = stage_page(browser, run), remote_page(browser, run)
        assert brightest(stage) < 110, "only the picture's edge is lit before a true-up"
        for place, section in enumerate(work.section_ids[:3]):
            true_up(remote, work, section, hung_crooked(work, section))
            assert remote.get_by_text("Good: at the worst place").is_visible()
            remote.get_by_role("tab", name="Trace").click()
            when(stage, f"look.lit && scene.section === '{section}' && scene.lines.length > 0")
            assert lit_pixels(stage) > 10_000
            trace(remote, 3)
            if place == 1:
                now = remote.evaluate("desk.line")
                stage.reload()
                remote.reload()
                when(stage, f"look && look.line === '{now}' && display.ok")
                when(remote, f"desk && desk.line === '{now}'")
                assert traced(remote) == 3
                trace(remote, 1)
            if place < 2:
                remote.get_by_role("button", name="Next section").click()
                when(remote, f"desk.section === '{work.section_ids[place + 1]}'")
        remote.get_by_role("tab", name="Notes").click()
        remote.get_by_label("Notes on this job").fill("numeral 7 is smudged")
        when(remote, "desk.notes === 'numeral 7 is smudged'")
        told = remote.evaluate(KEPT)
        run.process.kill()
        run.process.wait(60)
    with beam(tmp_path) as run:
        stage, again = stage_page(browser, run), remote_page(browser, run)
        when(stage, "display.ok && look.lit")
        when(again, "desk.stage === ''")
        assert again.evaluate(KEPT) == told


def test_a_second_run_on_one_job_is_refused_and_names_the_first(work, tmp_path, run_cli):
    with beam(tmp_path) as run:
        second = run_cli("beam", "--job", str(tmp_path), "--port", "0", "--no-open")
        assert second.returncode == 1
        assert f"beam (process {run.process.pid}" in second.stderr
    again = run_cli("beam", "--job", str(tmp_path), "--plan")
    assert again.returncode == 0


def test_a_remote_of_an_earlier_run_is_asked_for_the_new_code(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        port = urlsplit(run.remote).port
    with beam(tmp_path, port) as run:
        remote.reload()
        assert "earlier run" in remote.get_by_role("alert").inner_text()
        remote.get_by_label("Code").fill(run.code)
        remote.keyboard.press("Enter")
        remote.get_by_text("In step").wait_for()


def test_a_remote_finds_its_way_back_when_the_connection_was_lost(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        remote.evaluate("socket.close()")
        when(remote, "at('link').textContent === 'Not connected'")
        remote.get_by_text("In step").wait_for()
        remote.get_by_role("button", name="Blank").click()
        when(remote, "desk.blank")


def test_a_tap_that_comes_late_marks_no_other_line(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        true_up(remote, work, "r1c1", hung_crooked(work, "r1c1"))
        stale = remote.evaluate("desk.line")
        remote.get_by_role("tab", name="Trace").click()
        trace(remote, 1)
        remote.evaluate(f"send({{do: 'done', line: '{stale}'}})")
        remote.get_by_text("the light has moved on").wait_for()
        assert traced(remote) == 1


@pytest.mark.parametrize(
    ("viewport", "ratio", "said"),
    [
        ((1600, 900), 1, "1600 x 900 pixels and the projector has 1920 x 1080"),
        ((1280, 720), 1.5, "150% zoom or display scaling"),
    ],
    ids=["wrong resolution", "scaled display"],
)
def test_a_stage_that_cannot_be_true_lights_nothing_and_says_why(
    browser, work, tmp_path, viewport, ratio, said
):
    with beam(tmp_path) as run:
        context = browser.new_context(
            viewport={"width": viewport[0], "height": viewport[1]}, device_scale_factor=ratio
        )
        stage = context.new_page()
        stage.goto(run.stage)
        stage.get_by_text(said).wait_for()
        remote = remote_page(browser, run)
        remote.get_by_text(said).wait_for()
        remote.get_by_role("tab", name="True up").click()
        remote.get_by_role("button", name="True up this section").click()
        when(stage, "look.targets.length === 9")
        drawn = stage.evaluate(
            "pen.getImageData(0, 0, canvas.width, canvas.height).data"
            ".some((value, place) => place % 4 < 3 && value > 0)"
        )
        assert not drawn


def test_a_second_stage_waits_until_it_is_asked_to_take_over(browser, work, tmp_path):
    with beam(tmp_path) as run:
        first, second = stage_page(browser, run), stage_page(browser, run)
        second.get_by_text("Another window is the stage").wait_for()
        when(first, "display.ok")
        second.get_by_role("button", name="Use this window").click()
        when(second, "display.ok")
        first.get_by_text("Another window is the stage").wait_for()


def test_everything_at_the_remote_is_done_by_keyboard_alone(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        remote.keyboard.press("2")
        for _ in range(40):
            remote.keyboard.press("Tab")
            if remote.evaluate("document.activeElement.id") == "begin":
                break
        remote.keyboard.press("Enter")
        when(remote, "desk.true_up !== null")
        remote.evaluate("document.activeElement.blur()")
        at = remote.evaluate("desk.true_up.at")
        remote.keyboard.press("Shift+ArrowRight")
        remote.keyboard.press("Enter")
        when(remote, f"desk.true_up.targets.find((t) => t.name === '{at}').landed")
        remote.keyboard.press("PageDown")
        when(remote, f"desk.section === '{work.section_ids[1]}'")
        remote.keyboard.press("b")
        when(remote, "desk.blank")
        remote.keyboard.press("c")
        when(remote, "desk.check")


def test_swapped_landings_are_told_on_the_page_and_none_is_lost(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        remote.get_by_role("tab", name="True up").click()
        remote.get_by_role("button", name="True up this section").click()
        when(remote, "desk.true_up !== null")
        spots = remote.evaluate("desk.true_up.targets.map((t) => [t.along, t.across])")
        spots[0], spots[2], spots[9], spots[11] = spots[2], spots[0], spots[11], spots[9]
        for number, (along, across) in enumerate(spots, 1):
            remote.locator("#at").get_by_text(f"Target {number}:").wait_for()
            remote.get_by_label("Along").fill(along)
            remote.get_by_label("Across").fill(across)
            remote.get_by_role("button", name="Landed", exact=True).click()
            remote.get_by_role("button", name=f"Target {number}, landed").wait_for()
        remote.get_by_role("button", name="Work it out").click()
        remote.get_by_text("targets 1 and 3 look swapped").wait_for()
        assert remote.evaluate("desk.true_up.targets.every((t) => t.landed)")


@pytest.mark.parametrize(
    ("typed", "said"),
    [("", "empty"), ("9000", "longer|beyond the table"), ("two feet", "length")],
)
def test_a_reading_that_cannot_be_is_told_on_the_page(browser, work, tmp_path, typed, said):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        remote.get_by_role("tab", name="True up").click()
        remote.get_by_role("button", name="True up this section").click()
        remote.get_by_label("Along").fill(typed)
        remote.get_by_role("button", name="Landed", exact=True).click()
        remote.locator("#say").get_by_text(re.compile(f"Along: .*({said})")).wait_for()
        assert remote.get_by_label("Along").input_value() == typed


def luminance(rgb):
    """Relative luminance, as WCAG 2.2 defines it."""
    parts = [value / 255 for value in rgb]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first, second):
    """Contrast ratio, as WCAG 2.2 defines it."""
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


SEEN = """
() => [...document.querySelectorAll('button, p, li, label, legend, h1, h2, td, caption, option')]
  .filter((one) => one.offsetParent && one.textContent.trim() && !one.disabled)
  .map((one) => {
    let ground = one;
    while (ground && getComputedStyle(ground).backgroundColor === 'rgba(0, 0, 0, 0)')
      ground = ground.parentElement;
    return [one.textContent.trim().slice(0, 40), getComputedStyle(one).color,
      getComputedStyle(ground || document.documentElement).backgroundColor];
  })
"""


def rgb(text):
    return tuple(float(part) for part in re.findall(r"[\d.]+", text)[:3])


def test_the_contrast_formula_gives_its_known_ends():
    # WCAG 2.2: ratios range from 1 to 21; #767676 on white is the palest grey that passes 4.5.
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)
    assert contrast((0x76,) * 3, (255,) * 3) >= 4.5 > contrast((0x77,) * 3, (255,) * 3)


def test_the_remote_meets_wcag_aa_in_contrast_names_and_size(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        true_up(remote, work, "r1c1", hung_crooked(work, "r1c1"))
        for tab in ("Trace", "True up", "Look", "Notes"):
            remote.get_by_role("tab", name=tab).click()
            for text, ink, ground in remote.evaluate(SEEN):
                assert contrast(rgb(ink), rgb(ground)) >= 4.5, (tab, text)
            unnamed = remote.evaluate(
                "[...document.querySelectorAll('button, input, select, textarea')]"
                ".filter((one) => one.offsetParent && !(one.labels && one.labels.length)"
                " && !one.getAttribute('aria-label') && !one.textContent.trim())"
                ".map((one) => one.outerHTML)"
            )
            assert unnamed == []
            # 2.5.8 asks for 24 px; fingers with chalk on them are given twice that.
            small = remote.evaluate(
                "[...document.querySelectorAll('button')].filter((one) => one.offsetParent"
                " && Math.min(one.offsetWidth, one.offsetHeight) < 48).map((one) => one.id)"
            )
            assert small == []
            wide = remote.evaluate("document.documentElement.scrollWidth <= innerWidth")
            assert wide, f"{tab} scrolls sideways on a phone"


def test_axe_finds_nothing_against_wcag_a_and_aa_on_any_page_of_the_remote(browser, work, tmp_path):
    # axe-core, by Deque: rules tagged with WCAG 2.0 to 2.2, levels A and AA.
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    asks = {"runOnly": {"type": "tag", "values": rules}, "resultTypes": ["violations"]}

    def faults(page):
        found = Axe().run(page, options=asks).response
        assert len(found["passes"]) > 5
        return [(one["id"], [node["html"] for node in one["nodes"]]) for one in found["violations"]]

    with beam(tmp_path) as run:
        gate = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        gate.goto(run.remote)
        assert faults(gate) == []
        remote = remote_page(browser, run)
        remote.get_by_role("tab", name="True up").click()
        remote.get_by_role("button", name="True up this section").click()
        when(remote, "desk.true_up !== null")
        assert faults(remote) == []
        remote.get_by_role("button", name="Give up").click()
        true_up(remote, work, "r1c1", hung_crooked(work, "r1c1"))
        for tab in ("Trace", "True up", "Look", "Notes"):
            remote.get_by_role("tab", name=tab).click()
            assert faults(remote) == [], tab


def test_a_port_in_use_is_told_and_what_would_do(work, tmp_path, run_cli):
    with beam(tmp_path) as run:
        port = urlsplit(run.remote).port
        done = run_cli("beam", "--job", str(tmp_path), "--no-open", "--port", str(port))
    assert done.returncode == 1
    assert f"--port {port}: cannot be used" in done.stderr
    assert "--port 0" in done.stderr
