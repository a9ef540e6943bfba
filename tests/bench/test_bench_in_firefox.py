"""The bench page in a browser of another make, Debian's own Firefox: from an empty folder to a
proved cover on simulated cloth."""

from __future__ import annotations

import contextlib
import io
import time
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from marionette_driver.keys import Keys
from msgspec import Struct
from PIL import Image

from devices.simulated.table import Stand
from tests.bench.benches import bench, field, kept, opened, small_job, until
from tests.bench.whole.at_the_table import AtTheTable
from tests.firefox import firefox
from tests.projector.browsers import PIXELS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench
    from tests.conftest import RunCli
    from tests.firefox import Firefox

DARK = """
const canvas = document.getElementById("marking");
const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
let dark = 0;
for (let at = 0; at < data.length; at += 4) if (data[at] < 128) dark += 1;
return dark;
"""
"""How many pixels of the picture are inked."""


KEYS = {
    "enter": Keys.ENTER, "up": Keys.ARROW_UP, "down": Keys.ARROW_DOWN, "left": Keys.ARROW_LEFT,
    "right": Keys.ARROW_RIGHT,
}  # fmt: skip


class FoxHands(Struct, frozen=True):
    """Whoever works the machine by the page's keys."""

    fox: Firefox

    def run(self, script: str) -> Any:
        return self.fox.run(script)

    def press(self, key: str) -> None:
        self.fox.all("#running")[0].send_keys(KEYS.get(key, key))

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)


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
    fox.fill("#new-length", "17 in")
    fox.fill("#new-width", "9 in")
    fox.click("#make-new")
    fox.until(lambda: fox.text("#title") == "Sampler", "the job is open")
    return run.root / "Sampler"


def at_rest(fox: Firefox) -> object:
    """What is inked in the picture after a while."""
    time.sleep(0.5)
    return fox.run(DARK)


def job(folder: Path) -> dict[str, Any]:
    return tomllib.loads(kept(folder))


def test_an_empty_folder_leads_to_a_proved_cover_in_another_browser(
    fox: Firefox, tmp_path: Path, run_cli: RunCli
) -> None:
    with bench(tmp_path) as run:
        folder = made(fox, run)
        fox.until(lambda: "Six measurements to take" in fox.text("#steps"), "what is left to do")
        fox.fill(field("table.survey.near"), "17 1/16 in" + Keys.TAB)
        # One measurement of six waits for the others.
        fox.until(lambda: "1 of 6 measured" in fox.text("#steps"), "one is measured")
        assert "survey" not in job(folder)["table"]

        fox.fill(field("hems.depth"), "2 in" + Keys.TAB)
        fox.fill(field("hems.folds"), "double 1 in" + Keys.TAB)
        fox.until(lambda: job(folder)["hems"]["folds"] == ["double 1 in"], "the hems are kept")
        fox.until(lambda: "Nothing wrong" in fox.text("#steps"), "the job is laid out")
        fox.until(lambda: fox.run(DARK) == at_rest(fox), "the picture is that of the job")
        fox.until(lambda: int(str(fox.run(DARK))) > 1000, "the marking is drawn")
        pitch = field("grid.pitch")
        fault = '[data-name="grid.pitch"] .fault'
        inch = int(str(fox.run(DARK)))
        fox.fill(pitch, "2")
        fox.until(lambda: 'write "2 in"' in fox.text(fault), "the fault stands at its field")
        offered = '[data-name="grid.pitch"] .readings'
        fox.until(lambda: bool(fox.all(offered)), "whoever pauses is offered a unit")
        assert fox.all(pitch)[0].get_attribute("aria-invalid") == "true"
        assert fox.run(DARK) == inch, "the last good picture stays"
        fox.all(pitch)[0].send_keys(" in" + Keys.TAB)
        fox.until(lambda: job(folder)["grid"]["pitch"] == "2 in", "the pitch is kept")
        fox.until(lambda: fox.text(fault) == "", "the fault is gone")
        fox.until(lambda: int(str(fox.run(DARK))) < 0.75 * inch, "half as many lines are drawn")

        person = AtTheTable(run_cli, 20, Stand)
        person.off = (0.3, -0.2, 0.0)
        person.looks_up(folder)
        with contextlib.closing(person):
            fox.fill("#port-typed", person.at.port)
            said = "Nothing is heard of the page"
            while said.count("Nothing is heard of the page"):
                # A beat that comes too late on a busy machine stops the pen: it is begun anew.
                fox.click("#ink")
                fox.until(lambda: fox.all("#stop")[0].is_enabled(), "it is begun")
                said = person.work(FoxHands(fox))
        assert "r1c1: done" in said
        fox.until(lambda: "1 of 1 sections" in fox.text("#steps"), "all is inked")
        fox.click('[data-errand="to-prove"]')
        fox.until(lambda: bool(fox.all("#proof-fields input")), "what to measure is told")
        for at, length in person.measured(FoxHands(fox)).items():
            fox.fill(f"#{at}", length + Keys.TAB)
        fox.click('[data-errand="proved"]')
        fox.until(lambda: "PASS" in fox.text('.outcome[data-of="proved"]'), "the cover is proved")
        assert fox.errors(run.url.partition("?")[0]) == []


def test_a_stage_in_one_browser_obeys_a_remote_in_another(
    fox: Firefox, browser: Browser, tmp_path: Path
) -> None:
    folder = small_job(
        tmp_path / "light", '[projector]\nprofile = "ceiling-1080p"\n[ways]\nhave = ["projector"]\n'
    )
    with bench(folder) as run:
        page = opened(browser, run)
        page.locator("#light").click()
        page.locator("#stage").wait_for(timeout=60_000)
        stage = page.context.new_page()
        stage.set_viewport_size({"width": PIXELS[0], "height": PIXELS[1]})
        stage.goto(page.locator("#stage").get_attribute("href") or "")
        fox.driver.navigate(page.locator("#remote").get_attribute("href") or "")
        fox.fill("#code", page.locator("#code").inner_text())
        fox.click("button.main")
        fox.until(lambda: fox.text("#link") == "In step", "in step")
        fox.click("#tab-true")
        code = stage.screenshot()
        fox.click("#begin")
        fox.until(lambda: "Target 1:" in fox.text("#at"), "the first target is asked for")
        until(page, lambda: stage.screenshot() != code and lit(stage), "it is lit on the stage")
        page.locator("#light-off").click()
        page.locator("#light:enabled").wait_for()


def lit(stage: Page) -> bool:
    """Whether anything on the stage is lit."""
    return Image.open(io.BytesIO(stage.screenshot())).convert("L").getextrema()[1] > 0
