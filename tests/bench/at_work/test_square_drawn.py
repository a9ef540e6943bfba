"""The scrap square from the page: drawn by the plotter, held, asked and stopped as ink is;
measured, kept, and drawn once more with what was kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from devices.commands import main
from devices.history import kept_check, kept_correction
from devices.job import Job
from devices.simulated.cloth import read_cloth
from devices.trial.sheet import scrap_strokes
from marking.job.folder import load_job
from tests.bench.benches import bench, choose_port, opened, small_job, until
from tests.inking.kills import make_job, plotter_at, samples

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from devices.plotter.correction import Correction
    from tests.bench.benches import Bench

RUNS = ("AB", "BC", "CD", "DA", "AC", "BD")


def drawn_as(folder: Path, correction: Correction | None) -> tuple[float, float]:
    """The farthest that the square lies from ink on the cloth, and ink from the square; mm."""
    job = load_job(folder, Job)
    sheet = scrap_strokes(job.plotter, job.pens, correction, job.units)
    meant = samples([job.plotter.unit * np.array(one.path) for one in sheet.strokes])
    laid = samples([np.array(one.path) for one in read_cloth(folder / "cloth.ink")])
    return cKDTree(laid).query(meant)[0].max(), cKDTree(meant).query(laid)[0].max()


def test_the_square_is_drawn_on_scrap_by_a_button_stopped_and_drawn_anew(
    tmp_path: Path, browser: Browser
) -> None:
    folder = tmp_path / "a"
    make_job(folder, "flatbed-a4")
    with plotter_at(folder, 1500) as port, bench(folder) as run:
        page, other = opened(browser, run), opened(browser, run)
        draw = page.get_by_role("button", name="Draw the square on scrap now")
        asks = page.locator("#asks")
        choose_port(page, port[1])
        draw.click()
        asks.get_by_text("and not over the cover?").wait_for()
        # Whoever asked for it is where the machine's keys are, and no other page presses them.
        assert page.evaluate("document.activeElement.id") == "running"
        assert not other.locator("#answers").is_visible()
        assert other.locator("#ink").is_disabled()
        # Any page stops it, at a question too.
        other.locator("#stop").click()
        page.locator("#ended-name").get_by_text("The square is not drawn.").wait_for()
        page.locator("#ended-words").get_by_text("Nothing was drawn").wait_for()

        draw.click()
        page.locator("#card-ended").wait_for(state="hidden")
        for question in ("and not over the cover?", "Holder 1 needs the pen for lines"):
            asks.get_by_text(question).wait_for(timeout=60_000)
            page.locator("#answers .main").click()
        page.locator("#inking-name").get_by_text("Drawing the square on scrap").wait_for()
        assert "sections" not in page.locator("#ink-left").inner_text()
        asks.get_by_text("Holder 1 needs the pen for removable").wait_for(timeout=60_000)
        page.keyboard.press("Enter")
        page.locator("#card-ended").wait_for(timeout=60_000)
        assert page.locator("#ended-name").inner_text() == "The square is drawn."
        assert not page.locator("#go-next").is_visible()
        page.locator("#go-measure").click()
        assert page.url.endswith("#on-scrap")
        assert max(drawn_as(folder, None)) < 0.06
        # It is not of the cover: the record has none of it.
        assert not (folder / "job.db").exists()

        measured = folder / "square.csv"
        sides = "".join(f"{run},179.6 mm\n" for run in RUNS[:4])
        measured.write_text(f"run,length\n{sides}AC,254.0 mm\nBD,254.0 mm\n", "utf-8")
        words = ["trial", "--job", str(folder), "--measured", str(measured), "--confirmed"]
        assert main(words) == 0
        page.locator("#see-corrected summary").click()
        page.get_by_role("button", name="Draw it corrected now").click()
        for question in ("and not over the cover?", "needs the pen for lines", "for removable"):
            asks.get_by_text(question).wait_for(timeout=60_000)
            page.locator("#answers .main").click()
        page.locator("#card-ended").wait_for(timeout=60_000)
        page.locator("#go-measure").click()
        assert page.url.endswith("#see-corrected")
    correction = kept_correction(folder, load_job(folder, Job))
    assert correction is not None
    assert drawn_as(folder, correction)[0] < 0.06


def typed(page: Page, kind: str, lengths: dict[str, str]) -> None:
    for name, length in lengths.items():
        page.locator(f"#measured-{kind}-{name}").fill(length)
        page.locator(f"#measured-{kind}-{name}").blur()


def test_the_squares_lengths_and_verniers_are_taken_and_what_lacks_is_said_at_its_field(
    run: Bench, browser: Browser
) -> None:
    """By `trial`: more than 1 % is kept once it was looked at again, and seen to help."""
    folder = small_job(run.root / "measured")
    page = opened(browser, run, "measured")
    take = page.locator('[data-errand="squared"]')
    said = page.locator('.outcome[data-of="squared"]')
    faults = page.locator("#square-faults .fault:not(:empty)")
    confirmed = page.locator('[data-option="confirmed"]')
    take.click()
    said.get_by_text("No length is typed yet").wait_for()
    until(page, lambda: faults.count() == 6, "each that is not typed")
    assert not page.locator("#answer").is_visible()

    page.get_by_text("What its verniers show").click()
    sides = dict.fromkeys(RUNS[:4], "10 5/32 in") | {"AC": "14 23/64 in", "BD": "14 23/64 in"}
    typed(page, "squared", sides | {"AB": "10 5/32", "X": "-0.2"})
    assert page.locator(".readings button").first.is_visible()
    take.click()
    bare = ['no unit; write "10 5/32 in" or "10 5/32 mm"']
    until(page, lambda: faults.all_inner_texts() == bare, "the one that lacks a unit")
    # A vernier is read one way or the other.
    fault = page.locator('[data-name="squared.X"] .fault')
    assert fault.inner_text() == 'no unit; write "-0.2 in" or "-0.2 mm"'
    page.locator('[data-name="squared.X"] .readings button').first.click()
    assert page.locator("#measured-squared-X").input_value() == "-0.2 mm"
    until(page, lambda: fault.inner_text() == "", "typed anew")

    typed(page, "squared", {"AB": "10 5/32 in"})
    assert not confirmed.is_visible()
    take.click()
    said.get_by_text("to keep it all the same").wait_for()
    assert kept_check(folder, load_job(folder, Job)) is None
    confirmed.check()
    # It was said of the lengths that stood there, and of no others.
    typed(page, "squared", {"BC": "10 9/64 in"})
    until(page, lambda: not confirmed.is_visible(), "asked anew")
    take.click()
    confirmed.check()
    take.click()
    said.get_by_text("Play along X -0.20 mm").wait_for()
    check = kept_check(folder, load_job(folder, Job))
    assert check is not None
    assert check.verniers == {"X": -0.2}

    # Figures of another square are not mixed with these, and nothing is kept of them.
    page.locator("#see-corrected summary").click()
    typed(page, "squared-corrected", dict.fromkeys(RUNS[:4], "10 in") | {"AC": "14 9/64 in"})
    page.get_by_role("button", name="Whether it is true now").click()
    lacks = page.locator("#corrected-faults .fault:not(:empty)")
    until(page, lambda: lacks.count() == 1, "the one that is not measured")
    assert lacks.inner_text().startswith("not measured")
    typed(page, "squared-corrected", {"BD": "14 9/64 in"})
    page.get_by_role("button", name="Whether it is true now").click()
    page.locator("#see-corrected").get_by_text("The correction helps").wait_for()
    assert kept_check(folder, load_job(folder, Job)) == check
