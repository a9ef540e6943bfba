"""Results as cards and over the picture, against the JSON of the verbs, in real Chromium."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from tests.bench.benches import kept, opened, small_job, until

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench
    from tests.conftest import RunCli

WAYS = '[ways]\nway = "flatbed-a3"\n[plotter]\nprofile = "flatbed-a3"\n'


def said(run_cli: RunCli, folder: Path, *words: str) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(run_cli(*words, "--job", folder, "--json").stdout)
    return record


_COUNT = """(range) => {
    const canvas = document.querySelector('#marking');
    const pixels = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
    let count = 0;
    for (let at = 0; at < pixels.length; at += 4) {
        const is = ([low, high], n) => pixels[at + n] >= low && pixels[at + n] <= high;
        if (range.every(is)) count += 1;
    }
    return count;
}"""


def ink_over(page: Page) -> int:
    """How many pixels of the picture are of the brown that a distance is drawn in."""
    found: int = page.evaluate(_COUNT, [[141, 169], [0, 69], [0, 39]])
    return found


def green(page: Page) -> int:
    """How many are of the green of what is ruled by hand."""
    found: int = page.evaluate(_COUNT, [[5, 25], [110, 126], [102, 118]])
    return found


def violet(page: Page) -> int:
    """How many are of the violet that sections are drawn in."""
    found: int = page.evaluate(_COUNT, [[110, 135], [50, 75], [145, 170]])
    return found


def test_what_to_buy_and_tape_marks_and_the_square_are_cards_of_the_verbs_figures(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    folder = small_job(run.root / "cards", WAYS)
    cover = said(run_cli, folder, "cover")
    forecast = said(run_cli, folder, "control", "--only-look")["forecast"]
    page = opened(browser, run, "cards")
    page.get_by_role("button", name="Canvas, underlay, pad").click()
    page.get_by_role("button", name="What they would hold").click()
    page.get_by_role("button", name="Write the square to draw on scrap").click()
    canvas = page.locator("#buy-card tr", has_text="Canvas").first
    canvas.wait_for()
    # Rounded up to the inch, and as wide as it is sold.
    assert f"{-(-cover['canvas']['cut'][0] // 25.4):.0f} in" in canvas.inner_text()
    assert f"{cover['canvas']['bought_width'] / 25.4:g} in" in canvas.inner_text()
    staples = page.locator("#buy-card tr", has_text="Staples").inner_text()
    assert str(cover["staples"]) in staples
    card = page.locator("#tape-card article")
    card.wait_for()
    # In the job's own unit, finer than a tape shows.
    assert f"{forecast['worst_line'] / 25.4:.3f} in" in card.inner_text()
    assert " mm" not in card.inner_text()
    assert ("They hold." in card.inner_text()) is forecast["holds"]
    near = page.locator("#measured-squared-AC")
    until(page, lambda: near.get_attribute("placeholder") == "14 5/32 in", "near 10 in by 1.414")
    assert page.locator("#square text").all_text_contents() == ["A", "B", "C", "D"]
    page.get_by_role("button", name="Show the sections of the way chosen").click()
    page.locator("#over-words").get_by_text("4 sections of the way chosen").wait_for()
    page.get_by_role("button", name="Take it off the picture").click()
    page.locator("#over-words").wait_for(state="hidden")


def test_each_distance_is_drawn_as_it_is_typed_and_the_verdict_is_a_card_and_a_map(
    run: Bench, browser: Browser
) -> None:
    small_job(run.root / "map", WAYS)
    page = opened(browser, run, "map")
    page.get_by_role("button", name="What to measure").click()
    fields = page.locator("#proof-fields .field")
    fields.first.wait_for()
    page.evaluate("document.activeElement.blur()")
    until(page, lambda: ink_over(page) == 0, "nothing lies over the picture")
    fields.first.locator("input").focus()
    page.locator("#over-words").get_by_text("The distance p01").wait_for()
    until(page, lambda: ink_over(page) > 300, "the distance on the picture")
    for field in fields.all():
        near = field.locator(".help").inner_text().rpartition("about ")[2]
        field.locator("input").fill(near)
        field.locator("input").blur()
    first = page.locator('[data-name="proved.p01"]')
    near, stands = first.locator("input").first.input_value(), first.get_by_label("and it stands")
    first.locator("input").first.fill("27 in")
    assert stands.count() == 0
    page.get_by_role("button", name="Judge the cover").click()
    # One that is far off is taken once it is said that it was measured again, and of that one only.
    first.locator(".fault", has_text="Count the lines").wait_for()
    stands.check()
    assert page.locator("[data-stands]").count() == 1
    page.get_by_role("button", name="Judge the cover").click()
    page.locator('[data-of="proved"]').get_by_text("What stands after +/-").wait_for()
    # What that verdict would have measured again may stand too.
    again = page.locator('.outcome[data-of="proved"]').inner_text()
    assert "tick “Measured again, and it stands” there" in again
    doubted = re.findall(r"p\d\d", again.partition("again, the first one first")[0])
    ticks = page.locator("[data-stands]").evaluate_all(
        "all => all.map((one) => one.dataset.stands)"
    )
    assert doubted
    assert set(doubted) <= set(ticks)
    first.locator("input").first.fill(near)
    assert stands.count() == 0 or not stands.is_checked()
    first.locator("input").first.blur()
    page.get_by_role("button", name="Judge the cover").click()
    card = page.locator("#proof-card article")
    card.wait_for()
    assert "Any line, from zero" in card.inner_text()
    assert re.search(r"Longer\s+[+−]0\.\d{3} in, give or take 0\.\d{3} in", card.inner_text())
    assert " mm" not in card.inner_text()
    page.locator("#over-words").get_by_text("times too long").wait_for()
    # The words stand below, as a terminal has them.
    page.locator('[data-of="proved"] .printed').get_by_text("What stands after +/-").wait_for()


def test_the_next_covers_job_is_made_where_the_page_to_keep_is(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "worn", "[grid]\nmargin = '2 in'   # ours\n")
    page = opened(browser, run, "worn")
    page.locator("#next-name").fill("worn again")
    page.get_by_role("button", name="Make the next cover's job from this one").click()
    page.locator("#folder").get_by_text("worn again").wait_for()
    # Under a name of its own, so that nobody takes one for the other.
    assert kept(folder).count("Millrace sampler") == 1
    made = kept(folder).replace("Millrace sampler", "worn again")
    assert kept(run.root / "worn again") == made


def test_a_way_that_is_pointed_at_shows_its_sections_and_the_one_before_comes_back(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    """Those that `section` has for each, whichever is chosen; and what is ruled between them."""
    folder = small_job(run.root / "pointed", f'[hems]\ndepth = "2 in"\nfolds = []\n{WAYS}')
    page = opened(browser, run, "pointed")
    page.get_by_role("button", name="Reckon the ways").click()
    cards = page.locator("#ways-table article")
    cards.first.wait_for(timeout=120_000)
    page.get_by_role("button", name="Show the sections of the way chosen").click()
    page.locator("#over-words").get_by_text("4 sections of the way chosen").wait_for()
    before = violet(page)
    assert before > 1000
    for way, zone in (("hand", "reach"), ("flatbed-a3", "plotter")):
        told = page.evaluate(f"fetch('/sections?way={way}').then((answer) => answer.json())")
        wanted = said(run_cli, folder, "section", "--for", zone)["sections"]
        assert told["sections"] == [{"id": one["id"], "core": one["core"]} for one in wanted]
    bands = page.evaluate("fetch('/sections?way=flatbed-a3-bands').then((one) => one.json())")
    ruled = '[hems]\ndepth = "2 in"\nfolds = []\n[inking]\ncross_lines = "ruled"\n'
    beside = small_job(run.root / "beside-pointed", f'{ruled}[plotter]\nprofile = "flatbed-a3"\n')
    wanted = said(run_cli, beside, "section")["ruled"]
    assert len(bands["ruled"]) > 20
    assert bands["ruled"] == [one["points"] for one in wanted]
    page.locator("#way-name").hover()
    assert green(page) == 0
    page.locator('#ways-table [data-way="flatbed-a3-bands"]').hover()
    until(page, lambda: green(page) > 1000, "the lines that are ruled by hand")
    page.locator("#way-name").hover()
    until(page, lambda: green(page) == 0 and violet(page) == before, "what was there before")
    # By the pointer, and by the keyboard.
    by_hand = page.locator('#ways-table [data-way="hand"]')
    by_hand.hover()
    until(page, lambda: violet(page) not in (0, before), "what a hand's reach divides it into")
    reached = violet(page)
    page.locator("#way-name").hover()
    until(page, lambda: violet(page) == before, "what was there before")
    by_hand.get_by_role("button").focus()
    until(page, lambda: violet(page) == reached, "as by the pointer")
    page.locator("#show-sections").focus()
    until(page, lambda: violet(page) == before, "what was there before")
    page.locator('#ways-table [data-way="full-size"]').hover()
    until(page, lambda: violet(page) == 0, "paper over the whole of it has no sections")
    # One that is none is drawn by nothing.
    none = page.evaluate("fetch('/sections?way=by-sea').then((answer) => answer.json())")
    assert "no way of marking this cover" in none["fault"]
