"""The bench page for whoever uses no mouse, a phone, a reader or a dark room, in real Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING

from axe_playwright_python.sync_playwright import Axe

from tests.bench.benches import bench, field, in_job, opened, small_job, until

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

WIDE, PHONE = (1440, 900), (390, 844)
# axe-core, by Deque: rules tagged with WCAG 2.0 to 2.2, levels A and AA.
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# The places of what it passes are told by nobody: it need not put them into words.
AXE_ASKS = {
    "runOnly": {"type": "tag", "values": WCAG},
    "resultTypes": ["violations", "incomplete"],
}


def faults(page: Page) -> list[tuple[str, list[str]]]:
    """What axe finds, wide in the light and at a phone's width in the dark."""
    found = []
    for size, dark in ((WIDE, False), (PHONE, True)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.emulate_media(color_scheme="dark" if dark else "light")
        # From the top: the head, which stays, lies over nothing there.
        page.evaluate("scrollTo(0, 0)")
        said = Axe().run(page, options=AXE_ASKS).response
        assert len(said["passes"]) > 10
        found += [
            (one["id"], [node["html"] for node in one["nodes"]])
            for kind in ("violations", "incomplete")
            for one in said[kind]
            # The contrast of a lone arrow, and of text half scrolled away, axe leaves to us.
            if (kind, one["id"]) != ("incomplete", "color-contrast")
        ]
    wide = """() => [document.documentElement.scrollWidth, [...document.querySelectorAll("body *")]
        .filter((one) => one.getBoundingClientRect().right > innerWidth && !one.closest("nav"))
        .map((one) => one.outerHTML.slice(0, 200))]"""
    assert page.evaluate(wide) == [PHONE[0], []]
    return found


def test_axe_finds_nothing_against_wcag_a_and_aa_in_any_step(
    tmp_path: Path, browser: Browser
) -> None:
    """Every step is on the one page: looked at empty, filled, wrong, and with a machine asking."""
    with bench(tmp_path) as run:
        page = opened(browser, run)
        assert faults(page) == []
        small_job(tmp_path / "a")
        page.goto(f"{run.url}&job=a")
        for button in ("Reckon the ways", "What to measure", "Canvas, underlay, pad"):
            page.get_by_role("button", name=button).click()
        page.locator("#ways-table article").first.wait_for(timeout=120_000)
        page.locator("#proof-fields input").first.wait_for()
        page.locator('[data-of="cover"] .printed').wait_for()
        page.locator(field("grid.pitch")).fill("a foot")
        page.locator('[data-name="grid.pitch"] .fault').get_by_text("a foot").wait_for()
        page.get_by_role("button", name="Rehearse").click()
        page.locator("#asks").get_by_text("?").wait_for()
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        assert faults(page) == []


def reach(page: Page, name: str) -> None:
    """Tabs on until what is named is in focus."""
    for _ in range(150):
        if page.evaluate("(name) => document.activeElement.matches(name)", name):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"no Tab leads to {name}")


def test_the_keyboard_alone_leads_from_an_empty_folder_to_ink(
    tmp_path: Path, browser: Browser
) -> None:
    with bench(tmp_path) as run:
        page = opened(browser, run)
        reach(page, "#new-name")
        page.keyboard.type("Sampler")
        reach(page, "#new-table")
        page.keyboard.press("End")
        reach(page, "#new-length")
        page.keyboard.type("26 in")
        reach(page, "#new-width")
        page.keyboard.type("17 in")
        reach(page, "#make-new")
        page.keyboard.press("Enter")
        page.locator(field("grid.margin")).wait_for()
        reach(page, field("grid.margin").split(" :is")[0] + " input")
        page.keyboard.press("Control+a")
        page.keyboard.type("1 1/2 in")
        page.keyboard.press("Tab")
        in_job(page, tmp_path / "Sampler", 'margin = "1 1/2 in"')
        reach(page, '[data-errand="tape-marks"]')
        page.keyboard.press("Enter")
        page.locator('.outcome[data-of~="tape-marks"]').get_by_text("ja0").first.wait_for()
        reach(page, "#rehearse")
        page.keyboard.press("Enter")
        inks = page.locator("#told").get_by_text("strokes, about")

        def begun() -> bool:
            if page.locator("#answers").is_visible():
                page.keyboard.press("Enter")
                page.locator("#told li").last.wait_for()
            elif page.locator("#card-marks").is_visible():
                # A nudge, and from then on each mark is read where the pen hangs.
                if page.locator("#told").get_by_text("x +0.1").count() == 0:
                    page.keyboard.press("1")
                    page.keyboard.press("ArrowRight")
                    page.locator("#told").get_by_text("x +0.1").wait_for()
                page.keyboard.press("Enter")
            return inks.count() > 0

        until(page, begun, "strokes are drawn")
        page.keyboard.press("Escape")
        page.get_by_text("It ended before all was drawn").wait_for(timeout=60_000)
        assert page.evaluate("document.activeElement.id") == "mark"
