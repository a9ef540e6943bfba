"""The bench page in real Chromium: what is typed, what is shown, and who may see it."""

from __future__ import annotations

import json
import subprocess
from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import (
    command,
    field,
    in_job,
    kept,
    opened,
    shown,
    small_job,
    surroundings,
    until,
)

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from playwright.sync_api import Browser

    from tests.bench.benches import Bench
    from tests.conftest import RunCli


def laid_out(run_cli: RunCli, folder: Path) -> dict[str, Any]:
    said = run_cli("layout", "--job", folder, "--json")
    record: dict[str, Any] = json.loads(said.stdout)
    return record


def test_what_is_typed_shows_at_once_and_is_kept_when_the_field_is_left(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "typed", "# ours\n[grid]\npitch = '1 in'   # to count by\n")
    page = opened(browser, run, "typed")
    other = opened(browser, run, size=(390, 844))
    page.locator(field("grid.pitch")).fill("2")
    page.locator('[data-name="grid.pitch"] .fault').get_by_text('write "2 in"').wait_for()
    page.locator(field("grid.pitch")).blur()
    assert "pitch = '1 in'" in kept(folder)
    # Left at once, before anyone has said that it is right.
    page.locator(field("grid.pitch")).fill("2 in")
    page.locator(field("grid.pitch")).blur()
    in_job(page, folder, 'pitch = "2 in"   # to count by')
    assert "# ours" in kept(folder)
    shown(other, "grid.pitch", "2 in")
    page.get_by_role("button", name="Undo").click()
    in_job(page, folder, "pitch = '1 in'   # to count by")
    page.locator("#redo:enabled").click()
    in_job(page, folder, 'pitch = "2 in"')
    # On keys, too.
    page.locator("#undo:enabled").wait_for()
    page.keyboard.press("Control+z")
    in_job(page, folder, "pitch = '1 in'   # to count by")
    page.locator("#redo:enabled").wait_for()
    page.keyboard.press("Control+Shift+z")
    in_job(page, folder, 'pitch = "2 in"')
    # An editor beside it is heard.
    (folder / "job.toml").write_text(kept(folder).replace("2 in", "3 in"), "utf-8")
    shown(page, "grid.pitch", "3 in")


def test_a_wrong_value_stays_where_it_was_typed_while_another_is_tried(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "wrong")
    page = opened(browser, run, "wrong")
    page.locator(field("grid.pitch")).fill("a foot")
    page.locator(field("grid.margin")).fill("2 in")
    page.locator(field("grid.margin")).blur()
    in_job(page, folder, 'margin = "2 in"')
    page.locator('[data-name="grid.pitch"] .fault').get_by_text("a foot").wait_for()
    assert page.locator(field("grid.pitch")).input_value() == "a foot"
    assert "pitch" not in kept(folder)


def test_each_step_says_done_of_nothing_that_was_not_done(run: Bench, browser: Browser) -> None:
    # One marker for all ink, as one holder takes.
    folder = small_job(run.root / "steps", '[pens]\nnumerals = { slot = 1, width = "1 mm" }\n')
    page = opened(browser, run, "steps")
    said = page.locator("#steps a")
    texts = dict(text.split("\n", 1) for text in said.all_inner_texts())
    assert texts == {
        "Measure": "Six measurements to take",
        "Choose": "Nothing wrong",
        "See it": "Nothing to note",
        "Way": "None chosen",
        "Get ready": "Nothing written yet",
        "Mark": "Nothing inked yet",
        "Prove": "Nothing measured yet",
        "Keep": "Page not written yet",
    }
    page.locator(field("table.survey.near")).fill("26 in")
    page.locator(field("table.survey.near")).blur()
    said.get_by_text("1 of 6 measured").wait_for()
    assert "survey" not in kept(folder)
    page.get_by_role("button", name="The page to staple under the table").click()
    said.get_by_text("Page written").wait_for()
    # What the verb printed, and its file to open.
    assert "1 page" in page.locator('[data-of="keep-page"] .printed').inner_text()
    link = page.locator('[data-of="keep-page"] a').get_attribute("href")
    assert link == "/out/paper/keep.pdf"
    answer = page.request.get(run.url.partition("?")[0].rstrip("/") + link)
    assert answer.body().startswith(b"%PDF")


def test_lengths_under_the_pointer_are_those_of_the_layout(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    record = laid_out(run_cli, small_job(run.root / "lengths"))
    across = [one["points"][0][0] for one in record["strokes"] if one["layer"] == "cross"]
    last, first = max(across), min(across)
    page = opened(browser, run, "lengths")
    until(page, lambda: page.evaluate("document.querySelector('#marking').width > 300"), "sized")
    long, wide = record["fit"]["top"]["corners"][2]
    count = round((last - first) / 25.4)

    def read() -> bool:
        box = page.locator("#marking").bounding_box()
        assert box is not None
        scale = 0.94 * min(box["width"] / long, box["height"] / wide)
        x = box["x"] + box["width"] / 2 + (last - long / 2) * scale
        page.mouse.move(x + 1, box["y"] + box["height"] / 2)
        page.mouse.move(x, box["y"] + box["height"] / 2)
        said = page.locator("#pointer").inner_text()
        # A pixel is coarser than a 32nd here.
        return bool(said) and abs(float(said.split(" in")[0].split()[0]) - count) <= 1

    until(page, read, f"{count} in from zero is read")


def test_numerals_are_shown_at_their_true_size(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    """By the browser's own measure of 96 pixels to the inch (CSS Values and Units 4, 6.2)."""
    numeral = laid_out(run_cli, small_job(run.root / "numerals"))["numerals"][0]
    page = opened(browser, run, "numerals")
    page.locator("#numerals svg").first.wait_for()
    high = page.evaluate("""() => {
        const lines = document.querySelector('#numerals svg').querySelectorAll('polyline');
        const boxes = Array.from(lines, (one) => one.getBoundingClientRect());
        const low = Math.max(...boxes.map((one) => one.bottom));
        return low - Math.min(...boxes.map((one) => one.top));
    }""")
    pen = 0.8  # of numerals by default; the box of a line is that of its middle
    assert high / 96 * 25.4 + pen == pytest.approx(numeral["height"], abs=0.1)


def test_a_broken_job_says_so_on_the_page_and_is_shown_again_once_mended(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "broken")
    page = opened(browser, run, "broken")
    good = kept(folder)
    (folder / "job.toml").write_text(good + "[grid\n", "utf-8")
    page.get_by_text("broken TOML").wait_for()
    # The last good picture stays.
    assert page.evaluate("document.querySelector('#marking').width") > 0
    (folder / "job.toml").write_text(good, "utf-8")
    page.get_by_text("broken TOML").wait_for(state="hidden")


def test_without_the_key_nothing_is_shown_and_no_other_page_may_post(
    run: Bench, browser: Browser
) -> None:
    small_job(run.root / "closed")
    page = browser.new_context().new_page()
    bare = run.url.partition("?")[0]
    refused = page.goto(bare)
    assert refused is not None
    assert refused.status == 403
    for path in ("layout", "inked", "ports", "out/paper/keep.pdf"):
        assert page.request.get(bare + path).status == 403
    page.goto(f"{run.url}&job=closed")
    posted = page.request.post(
        f"{bare}try",
        data='{"name":"grid.pitch","value":"2 in"}',
        headers={"Origin": "http://elsewhere.example"},
    )
    assert posted.status == 403


def test_a_second_start_finds_the_first_and_opens_the_job_that_it_names(
    run: Bench, browser: Browser
) -> None:
    small_job(run.root / "one")
    other = small_job(run.root / "the other")
    page = opened(browser, run, "one")
    again = subprocess.run(
        command("bench", "--job", other, "--no-open", "--json"),
        capture_output=True, text=True, check=True, env=surroundings(),
    )  # fmt: skip
    url = json.loads(again.stdout)["page"]
    assert url.startswith(run.url)
    page.goto(url)
    page.locator("#folder").get_by_text("the other").wait_for()
