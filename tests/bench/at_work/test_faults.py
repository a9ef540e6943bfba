"""A machine that fails, a page that is lost, a hold taken over: said on the page as they are."""

from __future__ import annotations

import socket
import subprocess
from typing import TYPE_CHECKING

import pytest

from marking.record.record import open_record
from tests.bench.benches import (
    answered,
    choose_port,
    command,
    opened,
    surroundings,
    until,
)
from tests.inking.kills import free_port, make_job, start_plotter

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench


def over_tcp(folder: Path) -> tuple[str, Callable[[], None]]:
    """A simulated plotter, and what kills it."""
    port = free_port()
    process = start_plotter(folder, port, 25)

    def killed() -> None:
        process.kill()
        process.join()

    return f"socket://127.0.0.1:{port}", killed


def as_serial_port(folder: Path) -> tuple[str, Callable[[], None]]:
    """The same at a pseudo-terminal, which is gone with it as an unplugged adapter is."""
    process = subprocess.Popen(
        command("simulate", "--job", folder, "--pace", "25", "--pty"),
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=surroundings(),
    )  # fmt: skip
    assert process.stdout is not None
    port = process.stdout.readline().strip()

    def killed() -> None:
        process.kill()
        process.communicate()

    return port, killed


def inks(page: Page) -> bool:
    """Whether strokes are drawn; answers yes to what is asked before."""
    bar = "document.querySelector('#ink-bar').value"
    asked = answered(page)
    return not asked and page.locator("#card-inking").is_visible() and page.evaluate(bar) > 0


def drawn(folder: Path) -> int:
    with open_record(folder) as record:
        return sum(one.event == "drawn" for one in record.strokes("r1c1"))


@pytest.mark.parametrize("plotter", [over_tcp, as_serial_port])
def test_a_port_that_vanishes_in_mid_ink_is_said_in_words_and_gone_on_with_once_it_is_back(
    plotter: Callable[[Path], tuple[str, Callable[[], None]]], run: Bench, browser: Browser
) -> None:
    folder = run.root / f"vanished {plotter.__name__}"
    make_job(folder, "flatbed-a3")
    page = opened(browser, run, folder.name)
    port, killed = plotter(folder)
    try:
        choose_port(page, port)
        page.locator("#ink").click()
        until(page, lambda: inks(page), "strokes are drawn")
    finally:
        killed()
    page.locator("#card-ended").wait_for(timeout=60_000)
    page.locator("#ended-name").get_by_text("r1c1 is begun and not done.").wait_for()
    faults = page.locator("#ended-faults").inner_text()
    assert f"{port}: the line to the machine is gone" in faults
    # Nobody knows where the pen is: it is not said to be up.
    assert "Look that the pen is up" in faults
    said = page.locator("#ended-words").inner_text()
    assert "Look that the pen is up. Do not move the device" in said
    assert "canvasrule drive" not in said
    before = drawn(folder)
    assert before > 0
    if plotter is as_serial_port:
        # It goes on alike.
        return
    port, killed = plotter(folder)
    try:
        choose_port(page, port)
        assert page.locator("#go-next").inner_text() == "Go on with r1c1"
        page.locator("#go-next").click()
        page.locator("#set-down-name").get_by_text("Leave it where it stands: r1c1").wait_for()
        until(page, lambda: inks(page), "it goes on")
        # Nothing certainly drawn is drawn again.
        bar = "document.querySelector('#ink-bar').value"
        assert page.evaluate(bar) >= before
        until(page, lambda: page.evaluate(bar) > before, "more is drawn")
        # From a field that is being typed in, too.
        page.locator("#field-grid-pitch").fill("2 in")
        page.locator("#field-grid-pitch").press("Escape")
        page.locator("#card-ended").wait_for(timeout=60_000)
        said = page.locator("#ended-words").inner_text()
        assert "The pen was raised where it stood: look that it is up" in said
        assert drawn(folder) > before
    finally:
        killed()


def left(page: Page) -> int:
    """Seconds of the minute that a machine is still waited for."""
    return int(page.locator("#waits-left").inner_text().partition(":")[2][:2])


def test_what_is_waited_for_is_named_with_its_end_and_a_stop_is_heard_meanwhile(
    run: Bench, browser: Browser
) -> None:
    """A line with nothing at its other end, as of a plotter that is switched off."""
    make_job(run.root / "silent", "flatbed-a3")
    page = opened(browser, run, "silent", size=(390, 844))
    with socket.create_server(("127.0.0.1", 0)) as nothing:
        port = f"socket://127.0.0.1:{nothing.getsockname()[1]}"
        choose_port(page, port)
        beside = opened(browser, run, "silent")
        assert not page.locator("#waits-left").is_visible()
        page.locator("#ink").click()
        until(page, lambda: answered(page), "it is set down")
        page.locator("#waits-left").get_by_text("Given up in 0:1").wait_for()
        began = left(page)
        until(page, lambda: left(page) < began - 1, "some of it is over")
        # A page that is loaded anew goes on from what is left.
        beside.reload()
        until(beside, lambda: beside.locator("#waits-left").is_visible(), "what is left")
        assert left(beside) <= left(page) + 1 < began
        said = f"Waiting for a machine to answer at {port}."
        assert page.locator("#waits").inner_text() == said
        page.keyboard.press("Escape")
        page.locator("#ended-name").get_by_text("Nothing was inked.").wait_for()
        assert "does not answer" not in page.locator("#told").inner_text()
        assert not page.locator("#waits-left").is_visible()
    # Where it would go on is named at what goes on.
    assert page.locator("#go-where").inner_text() == f"Ink goes to A3 flat bed at {port}."


def test_a_hold_is_taken_over_by_a_tap_and_a_question_outlasts_the_page_that_is_lost(
    run: Bench, browser: Browser
) -> None:
    make_job(run.root / "held", "flatbed-a3")
    port, killed = over_tcp(run.root / "held")
    try:
        page, other = opened(browser, run, "held"), opened(browser, run, "held")
        choose_port(page, port)
        page.locator("#ink").click()
        other.locator("#asks").get_by_text("set down for r1c1?").wait_for()
        assert not other.locator("#answers").is_visible()
        other.locator("#take").click()
        # Whoever held it sees that another does, and can press nothing any more.
        page.locator("#held").get_by_text("Another page holds the machine.").wait_for()
        page.locator("#told").get_by_text("Another page holds the machine now.").wait_for()
        assert not page.locator("#answers").is_visible()
        assert other.locator("#answers").is_visible()
        # It hangs: a dialog that nobody answers holds up all else of a page.
        other.on("dialog", lambda _: None)
        other.evaluate("setTimeout(() => alert('Paper?'))")
        told = page.locator("#told")
        told.get_by_text("nothing is inked, and it waits").wait_for(timeout=60_000)
        assert "the pen raised" not in told.inner_text()
        asked = "Is the device set down for r1c1? With yes, ink begins"
        assert page.locator("#asks").inner_text() == asked
        page.locator("#take").click()
        page.locator('#answers [data-key="n"]').click()
        page.locator("#ended-name").get_by_text("r1c1 was not inked.").wait_for()
    finally:
        killed()
