"""Fields of the bench page in real Chromium: said beside them what a terminal says, in its unit."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import field, in_job, kept, opened, shown, small_job, until
from tests.bench.fields.every_key import same_words

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench
    from tests.conftest import RunCli

WRONG = [
    ("grid.pitch", "0.5 mm"),
    ("grid.heavy_every", "twelve"),
    ("numerals.height", "3 in"),
    ("inking.drying", "soon"),
    ("tape.scale_error", "5 %"),
    ("plotter.draw_speed", "80 mm"),
    ("cover.widths", "36 in\n48"),
    ("pens.lines.passes", "0"),
]


def fault(page: Page, name: str) -> str:
    return page.locator(f'[data-name="{name}"] .fault').first.inner_text()


def as_toml(name: str, text: str) -> str:
    """A value as an editor would write it there."""
    *tables, key = name.split(".")
    value = json.dumps(text.split("\n") if name == "cover.widths" else text)
    return f"[{'.'.join(tables)}]\n{key} = {text if text.isdecimal() else value}\n"


def test_a_field_says_of_a_wrong_value_what_a_terminal_says_and_the_picture_stays(
    run: Bench, browser: Browser, run_cli: RunCli, tmp_path: Path
) -> None:
    folder = small_job(run.root / "said")
    before = kept(folder)
    page = opened(browser, run, "said")
    page.locator("#numerals svg").first.wait_for()
    numerals = page.locator("#numerals").inner_html()
    for number, (name, text) in enumerate(WRONG):
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        said = run_cli("layout", "--job", small_job(tmp_path / f"{number}", as_toml(name, text)))
        label = f"{tmp_path / str(number) / 'job.toml'}: "
        words = said.stderr.strip().removeprefix("canvasrule: ").removeprefix(label)
        page.locator(field(name)).fill(text)
        page.locator(field(name)).blur()
        until(page, lambda name=name: bool(fault(page, name)), f"what is wrong with {name}")
        assert same_words(fault(page, name), name, words), (fault(page, name), words)
    assert kept(folder) == before
    assert page.locator("#numerals").inner_html() == numerals
    # All stand as they were typed, each with what is wrong, and go back on Escape.
    for name, text in WRONG:
        assert page.locator(field(name)).input_value() == text
        assert fault(page, name)
        page.locator(field(name)).press("Escape")
        shown(page, name, "")
        assert not fault(page, name)


def test_what_contradicts_another_field_is_said_at_both_and_kept_once_that_gives_way(
    run: Bench, browser: Browser
) -> None:
    wide = '[grid]\nmargin = "3 in"\nend_margin = "3 in"\n[hems]\ndepth = "4 in"\n'
    folder = small_job(run.root / "against", wide)
    page = opened(browser, run, "against")
    before = kept(folder)
    page.get_by_text("Pens", exact=True).click()
    page.locator(field("pens.lines.width")).fill("1 in")
    page.locator(field("pens.lines.width")).blur()
    until(page, lambda: "run together" in fault(page, "grid.pitch"), "said at the pitch")
    assert "Line to line: " in fault(page, "pens.lines.width")
    assert kept(folder) == before
    page.locator(field("grid.pitch")).fill("3 in")
    page.locator(field("grid.pitch")).blur()
    in_job(page, folder, 'pitch = "3 in"')
    in_job(page, folder, 'width = "1 in"')


def test_lines_of_ones_own_are_rows_to_add_and_take_away(run: Bench, browser: Browser) -> None:
    folder = small_job(run.root / "rows")
    page = opened(browser, run, "rows")
    page.get_by_text("For particular work").click()
    rows = page.locator('[data-name="grid.lines"]')
    rows.get_by_role("button", name="One more").click()
    rows.get_by_label("Distance").fill("5 in")
    rows.get_by_label("Name").fill("A")
    rows.get_by_label("Name").blur()
    in_job(page, folder, '{at = "5 in", side = "near", name = "A"}')
    rows.get_by_label("Distance").fill("5")
    until(page, lambda: fault(page, "grid.lines").startswith("1: Distance: "), "said of its row")
    rows.get_by_label("Distance").press("Escape")
    until(page, lambda: rows.get_by_label("Distance").input_value() == "5 in", "as it was")
    rows.get_by_role("button", name="Take away").click()
    until(page, lambda: "lines" not in kept(folder), "no line of one's own")


METRIC = """schema = 1
units = "mm"
[table]
length = "66 cm"
width = "43 cm"
[grid]
pitch = "1 cm"
"""


def test_a_metric_job_has_no_inch_in_any_field_nor_under_the_pointer(
    run: Bench, browser: Browser
) -> None:
    folder = run.root / "metric"
    folder.mkdir()
    (folder / "job.toml").write_text(METRIC, "utf-8")
    page = opened(browser, run, "metric")
    every = page.eval_on_selector_all(
        "section:not(#jobs) .field :is(input, textarea)",
        "(all) => all.map((one) => [one.placeholder, one.value])",
    )
    found = [text for pair in every for text in pair if " in" in f" {text}" or " ft" in text]
    assert found == []
    assert len(every) > 130
    page.locator("#numerals svg").first.wait_for()
    page.locator("#marking").hover()
    until(page, lambda: " mm from zero" in page.locator("#pointer").inner_text(), "read off in mm")


@pytest.mark.parametrize(("units", "length", "width"), [("mm", "380 cm", "162 cm")])
def test_a_new_job_is_made_in_the_units_that_are_asked_for(
    run: Bench, browser: Browser, units: str, length: str, width: str
) -> None:
    page = opened(browser, run)
    # Open already where no job is.
    page.locator("#new-table option").first.wait_for(state="attached")
    if not page.locator("#new-name").is_visible():
        page.locator("#new-job summary").click()
    page.locator("#new-name").fill("in metric")
    page.locator("#new-table").select_option("own")
    page.locator("#new-units").select_option(units)
    assert page.locator("#new-length").get_attribute("placeholder") == length
    assert page.locator("#new-width").get_attribute("placeholder") == width
    page.locator("#new-length").fill("66 cm")
    page.locator("#new-width").fill("43 cm")
    page.locator("#make-new").click()
    page.locator("#folder").get_by_text("in metric").wait_for()
    assert 'units = "mm"' in kept(run.root / "in metric")
    stock = page.locator("#new-table option").all_text_contents()
    assert "150 in × 64 in (bench-64x150)" in stock
