"""The bench page in a browser of another make, Debian's own Firefox: from an empty folder to ink
on simulated cloth."""

from __future__ import annotations

import contextlib
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from marionette_driver.errors import ElementNotInteractableException
from marionette_driver.keys import Keys

from tests.bench.benches import bench, field, kept
from tests.firefox import firefox

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.bench.benches import Bench
    from tests.firefox import Firefox

DARK = """
const canvas = document.getElementById("marking");
const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
let dark = 0;
for (let at = 0; at < data.length; at += 4) if (data[at] < 128) dark += 1;
return dark;
"""
"""How many pixels of the picture are inked."""


@pytest.fixture(scope="module")
def fox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    with firefox(tmp_path_factory.mktemp("firefox")) as one:
        yield one


def made(fox: Firefox, run: Bench) -> Path:
    """A job made on the page by whoever has none."""
    fox.driver.navigate(run.url)
    fox.until(lambda: fox.text("#link") == "In step", "in step")
    fox.fill("#new-name", "Sampler")
    fox.click("#new-table option[value=own]")
    fox.fill("#new-length", "26 in")
    fox.fill("#new-width", "17 in")
    fox.click("#make-new")
    fox.until(lambda: fox.text("#title") == "Sampler", "the job is open")
    return run.root / "Sampler"


def job(folder: Path) -> dict[str, Any]:
    return tomllib.loads(kept(folder))


def test_an_empty_folder_leads_to_ink_on_simulated_cloth_in_another_browser(
    fox: Firefox, tmp_path: Path
) -> None:
    with bench(tmp_path) as run:
        folder = made(fox, run)
        fox.until(lambda: "Six measurements to take" in fox.text("#steps"), "what is left to do")
        fox.fill(field("table.survey.near"), "26 1/16 in" + Keys.TAB)
        # One measurement of six waits for the others.
        fox.until(lambda: "1 of 6 measured" in fox.text("#steps"), "one is measured")
        assert "survey" not in job(folder)["table"]

        fox.until(lambda: int(str(fox.run(DARK))) > 1000, "the marking is drawn")
        pitch = field("grid.pitch")
        fault = '[data-name="grid.pitch"] .fault'
        inch = int(str(fox.run(DARK)))
        fox.fill(pitch, "2")
        fox.until(lambda: 'write "2 in"' in fox.text(fault), "the fault stands at its field")
        assert fox.all(pitch)[0].get_attribute("aria-invalid") == "true"
        assert fox.run(DARK) == inch, "the last good picture stays"
        fox.all(pitch)[0].send_keys(" in" + Keys.TAB)
        fox.until(lambda: job(folder)["grid"]["pitch"] == "2 in", "the pitch is kept")
        fox.until(lambda: fox.text(fault) == "", "the fault is gone")
        fox.until(lambda: int(str(fox.run(DARK))) < 0.75 * inch, "half as many lines are drawn")

        fox.run("document.querySelector('#said').open = true")
        fox.click("#rehearse")

        def begun() -> bool:
            told = fox.text("#told")
            # An answer may go while it is clicked. A beat that comes too late on a busy machine
            # stops the pen: then it is begun anew.
            with contextlib.suppress(ElementNotInteractableException):
                if fox.all("#answers button")[0].is_displayed():
                    fox.all("#answers button")[0].click()
            if "stopped" in told and fox.all("#rehearse")[0].is_enabled():
                fox.click("#rehearse")
            return "strokes, about" in told

        fox.until(begun, "strokes are drawn")
        assert "the plotter and the cloth are simulated" in fox.text("#held")
        fox.click("#stop")
        fox.until(lambda: "ended before all was drawn" in fox.text("#held"), "it is stopped")
        assert not fox.all("#stop")[0].is_enabled()
        # A rehearsal is none of the cover's.
        assert not (folder / "job.db").exists()
        assert fox.errors(run.url.partition("?")[0]) == []
