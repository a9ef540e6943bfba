"""What is not kept as it was typed, in real Chromium: a length without a unit, a value refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import field, in_job, kept, opened, shown, small_job, until
from tests.bench.fields.test_fields_in_the_page import METRIC, fault
from tests.bench.test_bench_for_everyone import faults

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench

HERE = "document.activeElement.textContent"


def offered(page: Page, name: str) -> list[str]:
    """What a length typed at a field may mean, once that is offered."""
    group = page.locator(f'[data-name="{name}"] .readings')
    group.wait_for()
    return group.locator("button").all_inner_texts()


@pytest.mark.parametrize("size", [(1440, 900), (390, 844)])
def test_a_length_without_its_unit_is_given_one_by_one_press(
    run: Bench, browser: Browser, size: tuple[int, int]
) -> None:
    name = f"bare {size[0]}"
    folder = small_job(run.root / name)
    before = kept(folder)
    page = opened(browser, run, name, size)
    page.locator(field("table.length")).fill("27.5")
    # The job's own unit comes first, and by keyboard it is what is next.
    page.locator(field("table.length")).press("Tab")
    assert offered(page, "table.length") == ["27.5 in", "27.5 mm"]
    assert page.evaluate(HERE) == "27.5 in"
    assert faults(page) == []
    group = page.get_by_role("group", name="In which unit?")
    assert group.get_by_role("button").count() == 2
    # Nothing is guessed at.
    assert "no unit" in fault(page, "table.length")
    assert kept(folder) == before
    page.keyboard.press("Enter")
    in_job(page, folder, 'length = "27.5 in"')
    assert page.evaluate("document.activeElement.id") == "field-table-length"
    assert group.count() == 0
    # A half measured top has small fields on a drawing.
    page.locator(field("table.survey.near")).fill("27 1/2")
    page.locator(field("table.survey.near")).press("Tab")
    assert offered(page, "table.survey.near") == ["27 1/2 in", "27 1/2 mm"]
    page.get_by_role("button", name="27 1/2 in").click()
    page.locator("#steps").get_by_text("1 of 6 measured").wait_for()


def test_lists_rows_and_what_verbs_read_are_offered_a_unit_too_and_words_are_not(
    run: Bench, browser: Browser
) -> None:
    folder = run.root / "bare metric"
    folder.mkdir()
    (folder / "job.toml").write_text(METRIC, "utf-8")
    page = opened(browser, run, "bare metric")
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    page.locator(field("cover.widths")).fill("900 mm\n1200\n150,5")
    page.locator(field("cover.widths")).blur()
    assert offered(page, "cover.widths") == [
        "1200 mm, 150.5 mm", "1200 cm, 150.5 cm", "1200 in, 150.5 in",
    ]  # fmt: skip
    page.get_by_role("button", name="1200 mm, 150.5 mm").click()
    in_job(page, folder, 'widths = ["900 mm", "1200 mm", "150.5 mm"]')
    page.locator(field("plotter.draw_speed")).fill("80")
    page.locator(field("plotter.draw_speed")).blur()
    assert offered(page, "plotter.draw_speed") == ["80 mm/s", "80 in/s"]
    rows = page.locator('[data-name="grid.lines"]')
    rows.get_by_role("button", name="One more").click()
    rows.get_by_label("Distance").fill("5")
    rows.get_by_label("Distance").blur()
    assert offered(page, "grid.lines") == ["5 mm", "5 cm", "5 in"]
    # By the unit that a new job is asked for in.
    page.locator("#new-table").select_option("own")
    page.locator("#new-units").select_option("in")
    page.locator("#new-length").fill("150")
    page.locator("#new-length").blur()
    found = page.locator("#new-job .readings button")
    found.first.wait_for()
    assert found.all_inner_texts() == ["150 in", "150 mm"]
    # Asked for without it, no job is made, and what lacks it is said there.
    page.locator("#new-name").fill("without")
    page.locator("#new-width").fill("66 in")
    page.locator("#make-new").click()
    page.locator("#new-length-fault").wait_for()
    assert page.locator("#new-length-fault").inner_text().startswith("no unit; write")
    assert not page.locator("#answer").is_visible()
    assert not (run.root / "without").exists()
    # What may part thousands, has its unit or is no figure is left to whoever typed it.
    for text in ("1,500", "8 1/4 in", "auto", "8 in 3"):
        page.locator(field("grid.pitch")).fill(text)
        page.locator(field("grid.pitch")).blur()
        until(page, lambda: page.locator('[data-name="grid.pitch"] .readings').count() == 0, text)


def test_what_was_refused_is_there_again_with_its_fault_after_a_reload(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "reloaded")
    small_job(run.root / "beside")
    page = opened(browser, run, "reloaded")
    before = kept(folder)
    for name, text in (("grid.pitch", "a foot"), ("numerals.height", "9 in")):
        page.locator(field(name)).fill(text)
        page.locator(field(name)).blur()
        until(page, lambda name=name: bool(fault(page, name)), f"what is wrong with {name}")
    said = {name: fault(page, name) for name in ("grid.pitch", "numerals.height")}
    page.reload()
    for name, text in (("grid.pitch", "a foot"), ("numerals.height", "9 in")):
        shown(page, name, text)
        until(page, lambda name=name: fault(page, name) == said[name], f"{name} is red again")
    assert kept(folder) == before
    assert sorted(path.name for path in folder.iterdir()) == ["job.toml"]
    # It belongs to this job, and to this tab.
    page.locator("#job-list li", has_text="beside").get_by_role("button").click()
    page.locator("#folder").get_by_text("beside").wait_for()
    shown(page, "grid.pitch", "")
    assert not fault(page, "grid.pitch")
    page.locator("#job-list li", has_text="reloaded").get_by_role("button").click()
    shown(page, "grid.pitch", "a foot")
    page.locator(field("grid.pitch")).press("Escape")
    # What nothing is against by now is kept only once that is said anew.
    (folder / "job.toml").write_text(before.replace('"17 in"', '"60 in"') + "[grid]\n", "utf-8")
    shown(page, "table.width", "60 in")
    page.locator(field("grid.margin")).fill("40 in")
    until(page, lambda: bool(fault(page, "grid.margin")), "too wide a margin")
    # It is left once it is known to be wrong: then nothing of it is on its way.
    page.locator(field("grid.margin")).blur()
    page.goto("about:blank")
    (folder / "job.toml").write_text(kept(folder).replace('"60 in"', '"120 in"'), "utf-8")
    page.goto(run.url)
    shown(page, "grid.margin", "40 in")
    until(page, lambda: "not kept" in fault(page, "grid.margin"), "it may be kept now")
    page.locator(field("grid.margin")).focus()
    page.locator(field("grid.margin")).blur()
    page.wait_for_timeout(1200)
    assert "40 in" not in kept(folder)
    shown(page, "grid.pitch", "")
    page.locator(field("grid.margin")).press("Enter")
    in_job(page, folder, 'margin = "40 in"')
