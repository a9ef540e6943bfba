"""A machine driven from the bench page in real Chromium, on the simulated plotter."""

from __future__ import annotations

import re
import subprocess
from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import (
    answered,
    bench,
    choose_port,
    command,
    field,
    in_job,
    inking,
    opened,
    small_job,
    surroundings,
    until,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench


def test_an_empty_folder_leads_to_ink_on_simulated_cloth_in_few_clicks(
    tmp_path: Path, browser: Browser
) -> None:
    """Counted as the goal is: each click and each field filled, at most 25."""
    done = 0
    with bench(tmp_path) as run:
        page = opened(browser, run)

        def fill(name: str, text: str) -> None:
            nonlocal done
            done += 1
            page.locator(name).fill(text)
            page.locator(name).blur()

        def click(name: str) -> None:
            nonlocal done
            done += 1
            page.locator(name).first.click()

        fill("#new-name", "Sampler")
        page.select_option("#new-table", "own")
        done += 1
        fill("#new-length", "26 in")
        fill("#new-width", "17 in")
        click("#make-new")
        page.locator(field("table.survey.near")).wait_for()
        for name, text in {
            "near": "26 in",
            "far": "26 1/16 in",
            "zero_end": "17 in",
            "far_end": "17 in",
            "diagonal_from_zero_near": "31 1/16 in",
            "diagonal_from_zero_far": "31 1/16 in",
        }.items():
            fill(field(f"table.survey.{name}"), text)
        folder = tmp_path / "Sampler"
        in_job(page, folder, 'diagonal_from_zero_far = "31 1/16 in"')
        page.locator("#steps").get_by_text("Measured", exact=True).wait_for()
        assert not (folder / "job.waiting.json").exists()
        click("#rehearse")
        inks = page.locator("#told").get_by_text("strokes, about")

        def begun() -> bool:
            nonlocal done
            done += answered(page)
            return inks.count() > 0

        until(page, begun, "strokes are drawn")
        assert done <= 25
        page.get_by_role("button", name="Stop").click()
        page.get_by_text("It ended before all was drawn").wait_for(timeout=60_000)
        # A rehearsal is none of the cover's.
        assert not (folder / "job.db").exists()


@pytest.fixture(scope="module")
def at_a_plotter(
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[tuple[Bench, str]]:
    """A bench, and the port of a simulated plotter over TCP whose ink would go on for minutes."""
    folder = small_job(tmp_path_factory.mktemp("jobs") / "a")
    simulated = subprocess.Popen(
        command("simulate", "--job", folder, "--pace", "4"),
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=surroundings(),
    )  # fmt: skip
    assert simulated.stdout is not None
    port = simulated.stdout.readline().strip()
    try:
        with bench(folder) as run:
            yield run, port
    finally:
        simulated.terminate()
        simulated.wait(60)
        simulated.stdout.close()


def asked_to_ink(page: Page, port: str) -> None:
    """Asks for the next section to be inked."""
    choose_port(page, port)
    page.locator("#ink:enabled").click()
    # What an earlier run said goes first.
    page.locator("#told").get_by_text("strokes drawn").wait_for(state="detached")


def ink(page: Page, port: str) -> None:
    """Has the next section inked, and returns once strokes are drawn."""
    asked_to_ink(page, port)
    inking(page, page.locator("#ink"))


def test_one_page_holds_the_machine_and_pauses_it_when_it_is_closed(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    run, port = at_a_plotter
    page = opened(browser, run)
    # A sheet looked at in another tab is no reason to stop: beats come from a worker, whose clock
    # no browser slows down for a hidden page.
    until(page, lambda: len(page.workers) == 1, "a worker beats")
    asked_to_ink(page, port)
    page.locator("#asks").get_by_text("?").wait_for(timeout=60_000)
    other = opened(browser, run)
    other.get_by_text("Another page holds the machine.").wait_for()
    for button in other.locator("#running [data-key]").all():
        assert button.is_disabled()
    # Nor by what its buttons would say.
    other.evaluate("tap({do: 'machine', act: 'key', key: 'p'}, 'p')")
    other.get_by_text("Another page holds the machine; only stopping").wait_for()
    inking(page, page.locator("#ink"))
    page.context.close()
    told = other.locator("#told")
    while "was closed" not in told.inner_text():
        # A busy machine was too late with a beat before: then it is begun and closed once more.
        told.get_by_text(re.compile("was closed|r1c1: stopped")).wait_for(timeout=60_000)
        if "r1c1: stopped" in told.inner_text():
            once_more = opened(browser, run)
            asked_to_ink(once_more, port)
            inking(once_more, once_more.locator("#ink"))
            once_more.context.close()
    told.get_by_text("r1c1: paused").wait_for(timeout=60_000)
    other.locator("#steps").get_by_text("0 of ").wait_for()


def test_a_page_that_falls_silent_stops_the_pen_and_another_goes_on(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    run, port = at_a_plotter
    page = opened(browser, run)
    ink(page, port)
    other = opened(browser, run)
    # It hangs, as a page does whose computer has no memory left: an answer is waited for that
    # never comes, and nothing else is done meanwhile.
    page.route("**/never", lambda _: None)
    page.evaluate("""() => setTimeout(() => {
        const asked = new XMLHttpRequest();
        asked.open("GET", "/never", false);
        asked.send();
    })""")
    other.get_by_text("Nothing is heard of the page that held the machine").wait_for()
    other.get_by_text("r1c1: stopped").wait_for(timeout=60_000)
    ink(other, port)
    other.get_by_role("button", name="Stop").click()
    other.locator("#told").get_by_text("r1c1: stopped").wait_for(timeout=60_000)


def test_a_plotter_that_was_moved_inks_nothing_before_marks_tell_where_it_stands(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    run, port = at_a_plotter
    page = opened(browser, run)
    page.get_by_label("The plotter was moved").check()
    asked_to_ink(page, port)
    refused = page.locator("#told").get_by_text("the device was moved, and no marks were read")
    until(page, lambda: not answered(page) and refused.count() > 0, "it is refused")
    page.get_by_text("It ended before all was drawn").wait_for()
    # The next run is not told so again.
    assert not page.get_by_label("The plotter was moved").is_checked()


def test_the_projectors_stage_and_remote_open_from_the_page_and_hold_its_job(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(
        run.root / "light", '[projector]\nprofile = "ceiling-1080p"\n[ways]\nhave = ["projector"]\n'
    )
    page = opened(browser, run, "light")
    page.get_by_role("button", name="Open the projector's stage").click()
    page.locator("#stage").wait_for(timeout=60_000)
    page.locator("#light-said").get_by_text("Never look into the beam").wait_for()
    stage = page.context.new_page()
    stage.goto(page.locator("#stage").get_attribute("href") or "")
    remote = page.context.new_page()
    remote.goto(page.locator("#remote").get_attribute("href") or "")
    remote.locator("input").first.fill(page.locator("#code").inner_text())
    remote.locator("button").first.click()
    remote.get_by_role("tab", name="Trace").wait_for()
    # The folder is the projector's while it is open.
    small_job(run.root / "another")
    page.get_by_role("button", name="Open", exact=True).first.click()
    page.locator("#say").get_by_text("the projector is at work").wait_for()
    page.get_by_role("button", name="End the light").click()
    page.locator("#light:enabled").wait_for()
    assert not (folder / "job.lock").exists()
    assert not page.locator("#stage").is_visible()


def test_lines_ruled_by_hand_are_ticked_off_and_back_on_the_page(
    run: Bench, browser: Browser
) -> None:
    small_job(
        run.root / "ruled", '[hems]\ndepth = "2 in"\nfolds = []\n[inking]\ncross_lines = "ruled"\n'
    )
    page = opened(browser, run, "ruled")
    lines, steps = page.locator("#ruled-lines"), page.locator("#steps")
    lines.fill("3,4")
    page.get_by_role("button", name="These are ruled").click()
    steps.get_by_text("2 lines ruled").wait_for()
    lines.fill("4")
    page.get_by_role("button", name="They are not").click()
    steps.get_by_text("1 line ruled").wait_for()
    lines.fill("900")
    page.get_by_role("button", name="These are ruled").click()
    page.locator('[data-of~="ruled"] .fault').get_by_text("900").wait_for()
