"""The bench page in a dark room and in a bright workshop: chosen, kept, and legible in both."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.bench.benches import bench, small_job, until

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page


BRIGHT, DARK = "rgb(251, 250, 247)", "rgb(20, 23, 28)"


def paper(page: Page) -> str:
    ground: str = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    return ground


def colours(page: Page) -> list[str]:
    """All that the page's style calls colours, as they are now."""
    found: list[str] = page.evaluate(
        """(names) => names.map((name) => getComputedStyle(document.documentElement)
            .getPropertyValue(`--${name}`).trim()).concat(
                getComputedStyle(document.documentElement).colorScheme.includes('dark'))""",
        ["paper", "card", "ink", "soft", "line", "main", "main-ink", "warn", "warn-paper"],
    )
    assert all(found)
    return found


def test_light_or_dark_is_chosen_against_the_system_and_remembered_at_another_port(
    tmp_path: Path, browser: Browser
) -> None:
    small_job(tmp_path / "a")
    page = browser.new_context(color_scheme="light").new_page()
    with bench(tmp_path) as run:
        page.goto(f"{run.url}&job=a")
        page.get_by_text("In step").wait_for()
        assert paper(page) == BRIGHT
        page.locator("#look").select_option("dark")
        assert paper(page) == DARK
        chosen = colours(page)
    with bench(tmp_path) as run:
        page.goto(run.url)
        page.emulate_media(color_scheme="light")
        assert paper(page) == DARK
        assert page.locator("#look").input_value() == "dark"
        page.locator("#look").select_option("system")
        assert paper(page) == BRIGHT
        page.emulate_media(color_scheme="dark")
        until(page, lambda: paper(page) == DARK, "it follows the system, open as it is")
        # As legible as where the system is dark, which axe looks at in every step.
        assert colours(page) == chosen
        page.locator("#look").select_option("light")
        assert paper(page) == BRIGHT
