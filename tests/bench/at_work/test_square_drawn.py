"""The scrap square drawn by the plotter from the page: held, asked and stopped as ink is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from devices.job import Job
from devices.simulated.cloth import read_cloth
from devices.trial.sheet import scrap_strokes
from marking.job.folder import load_job
from tests.bench.benches import bench, choose_port, opened
from tests.inking.kills import make_job, plotter_at, samples

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser


def test_the_square_is_drawn_on_scrap_by_a_button_stopped_and_drawn_anew(
    tmp_path: Path, browser: Browser
) -> None:
    folder = tmp_path / "a"
    make_job(folder, "flatbed-a4")
    job = load_job(folder, Job)
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
        assert page.url.endswith("#ready")
    sheet = scrap_strokes(job.plotter, job.pens, None, job.units)
    meant = samples([job.plotter.unit * np.array(one.path) for one in sheet.strokes])
    laid = samples([np.array(one.path) for one in read_cloth(folder / "cloth.ink")])
    assert cKDTree(laid).query(meant)[0].max() < 0.06
    assert cKDTree(meant).query(laid)[0].max() < 0.06
    # It is not of the cover: the record has none of it.
    assert not (folder / "job.db").exists()
