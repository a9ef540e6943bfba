"""The bench page in a dark room and in a bright workshop: chosen, kept, and legible in both."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import bench, field, small_job, until
from tests.bench.test_bench_for_everyone import faults

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page


def paper(page: Page) -> str:
    ground: str = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    return ground


@pytest.mark.parametrize("system", ["light", "dark"])
def test_light_or_dark_is_chosen_against_the_system_and_remembered_at_another_port(
    tmp_path: Path, browser: Browser, system: str
) -> None:
    small_job(tmp_path / "a")
    other = "light" if system == "dark" else "dark"
    page = browser.new_context(color_scheme="dark" if system == "dark" else "light").new_page()
    with bench(tmp_path) as run:
        page.goto(f"{run.url}&job=a")
        page.get_by_text("In step").wait_for()
        grounds = {system: paper(page)}
        page.locator("#look").select_option(other)
        grounds[other] = paper(page)
        assert grounds["light"] == "rgb(251, 250, 247)"
        assert grounds["dark"] == "rgb(20, 23, 28)"
        page.locator(field("grid.pitch")).fill("a foot")
        page.locator('[data-name="grid.pitch"] .fault').get_by_text("a foot").wait_for()
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        # Legible as chosen, whatever the system says.
        assert faults(page) == []
    with bench(tmp_path) as run:
        page.goto(run.url)
        assert paper(page) == grounds[other]
        assert page.locator("#look").input_value() == other
        page.locator("#look").select_option("system")
        page.emulate_media(color_scheme="dark" if system == "dark" else "light")
        until(page, lambda: paper(page) == grounds[system], "as the system")
