"""The bench page on a phone and in a dark room: no word is broken, and every drawn line shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import opened, small_job, until
from tests.bench.looked_at.test_light_or_dark import BRIGHT, DARK, paper
from tests.bench.test_bench_for_everyone import PHONE

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench

BROKEN = """(some) => [...document.querySelectorAll(some)].flatMap((one) => {
    const found = [], walker = document.createTreeWalker(one, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        for (const { 0: word, index } of walker.currentNode.data.matchAll(/\\S+/g)) {
            const range = new Range();
            range.setStart(walker.currentNode, index);
            range.setEnd(walker.currentNode, index + word.length);
            if (new Set([...range.getClientRects()].map((box) => Math.round(box.top))).size > 1) {
                found.push(word);
            }
        }
    }
    return found;
})"""
"""Words that stand on two lines, within what a selector finds."""
COLOURS = """() => {
    const drawn = (one) => getComputedStyle(document.querySelector(one)).stroke;
    const card = getComputedStyle(document.querySelector("#measure")).backgroundColor;
    const lines = ["#top polygon:nth-of-type(2)", "#top line", "#square line"];
    return [card, ...lines.map(drawn), drawn("#square line:last-of-type")];
}"""


@pytest.fixture
def page(run: Bench, browser: Browser) -> Page:
    folder = small_job(run.root / "looked-at")
    text = (folder / "job.toml").read_text("utf-8")
    named = text.replace("Millrace sampler", "Back bench of the Millrace workroom, by the window")
    (folder / "job.toml").write_text(named, "utf-8")
    return opened(browser, run, "looked-at", PHONE)


def test_no_word_of_the_head_or_of_a_table_is_broken_on_a_phone(page: Page) -> None:
    until(page, lambda: "Back bench" in page.locator("#title").inner_text(), "the job's name")
    assert page.evaluate(BROKEN, "#title") == []
    head = page.evaluate("document.querySelector('header').getBoundingClientRect().height")
    assert head < PHONE[1] / 4
    page.locator('[data-errand="cover"]').click()
    page.locator("#buy-card table").wait_for()
    page.locator('[data-errand="forecast"]').click()
    page.locator("#tape-card table").wait_for(timeout=60_000)
    assert page.evaluate(BROKEN, "#buy-card :is(th, td)") == []
    assert page.evaluate(BROKEN, "#tape-card :is(th, td)") == []
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    beside = "(one) => one.scrollWidth <= one.clientWidth"
    assert page.locator("#buy-card .wide").evaluate(beside), "nothing of it stands off the screen"


def test_what_is_drawn_of_the_top_and_the_square_shows_in_the_dark_too(page: Page) -> None:
    """3 to 1 at least: WCAG 2.2, 1.4.11, non-text contrast."""
    for scheme, ground in (("light", BRIGHT), ("dark", DARK)):
        page.emulate_media(color_scheme=scheme)
        until(page, lambda ground=ground: paper(page) == ground, scheme)
        card, *drawn = map(luminance, page.evaluate(COLOURS))
        for one in drawn:
            assert (max(one, card) + 0.05) / (min(one, card) + 0.05) >= 3


def test_how_well_the_distances_tell_is_said_once(page: Page) -> None:
    page.locator('[data-errand="to-prove"]').click()
    page.locator("#proof-fields input").first.wait_for(timeout=60_000)
    assert page.locator("#prove").get_by_text("any line is known to").count() == 1
    assert page.locator("#proof-fields .help").first.inner_text().startswith("square; about ")


def luminance(colour: str) -> float:
    """Relative luminance of `rgb(r, g, b)`: WCAG 2.2."""
    parts = [int(part) / 255 for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b
