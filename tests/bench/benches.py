"""Runs `canvasrule bench` for the tests of its page."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import signal
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from msgspec import Struct

from devices.bench.lost_after import LOST_AFTER
from devices.bench.open_job import OpenJob
from tests.interruptions.forked import beside

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Iterator

    from playwright.sync_api import Browser, Locator, Page

    from tests.interruptions.forked import Beside

SMALL = 'schema = 1\ntitle = "Millrace sampler"\n[table]\nlength = "26 in"\nwidth = "17 in"\n'
"""A top that one A3 bed or two ink: what is looked at is the page, not the table."""
_T = TypeVar("_T")
_PATIENCE_SECONDS = 60.0
"""By when what is waited for has come, however busy the machine is."""


class Bench(Struct, frozen=True):
    """A bench that is running over a folder of jobs."""

    url: str
    process: Beside
    root: Path


def command(*words: str | Path) -> list[str]:
    """A verb, as the terminal calls it."""
    return [sys.executable, "-m", "devices.commands", *map(str, words)]


def surroundings(lost_after: str | None = "8") -> dict[str, str]:
    """The environment in which this very tree is what runs, on a machine that may be busy; None
    leaves how long a page may be silent as it is for whoever asks for nothing.
    """
    here = str(Path(__file__).resolve().parents[2])
    around = {**os.environ, "PYTHONPATH": here}
    return around if lost_after is None else {**around, LOST_AFTER: lost_after}


@contextlib.contextmanager
def bench(folder: Path, *words: str, lost_after: str | None = "8") -> Iterator[Bench]:
    """`canvasrule bench --json` over a folder of jobs or a job, ended as by Ctrl C."""
    asked = ["bench", "--job", str(folder), "--no-open", "--json", *words]
    process = beside(asked, surroundings(lost_after))
    root = folder.parent if (folder / "job.toml").exists() else folder
    try:
        yield Bench(json.loads(process.first_line())["page"], process, root)
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(_PATIENCE_SECONDS)


def small_job(folder: Path, more: str = "") -> Path:
    """A small job in a folder of jobs."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "job.toml").write_text(SMALL + more, "utf-8")
    return folder


def unwatched(folder: Path) -> OpenJob:
    """A job as a bench holds it open, with no page there to be told of it."""
    return OpenJob(folder, _unheard, _unheard, _unheard)


async def _unheard(*_: str) -> None:
    """What would go to pages."""


def opened(
    browser: Browser,
    run: Bench,
    job: str = "",
    size: tuple[int, int] = (1440, 900),
    locale: str = "en-US",
) -> Page:
    """The page in a window of its own, once it is in step, with `job` open where one is named."""
    page = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, locale=locale
    ).new_page()
    page.goto(f"{run.url}&job={job}" if job else run.url)
    page.get_by_text(re.compile("In step|Verbunden")).wait_for()
    # What the machine says is looked at, and not only its cards.
    page.evaluate("document.querySelector('#said').open = true")
    if job:
        until(page, lambda: (page.locator("#folder").text_content() or "").endswith(job), job)
    return page


def until(page: Page, true: Callable[[], bool], what: str) -> None:
    """Waits until something is true, however long a busy machine takes."""
    end = time.monotonic() + _PATIENCE_SECONDS
    while not true():
        assert time.monotonic() < end, (what, page.locator("#told").inner_text())
        page.wait_for_timeout(25)


def awaited(work: Coroutine[Any, Any, _T]) -> _T:
    """What comes of `work`, in a loop and thread of its own: a browser holds this one's."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


def field(name: str) -> str:
    """Where the control of a key of job.toml is."""
    return f'[data-name="{name}"] :is(input, select, textarea)'


def shown(page: Page, name: str, value: str) -> None:
    """Waits until a field shows a value."""
    until(page, lambda: page.locator(field(name)).input_value() == value, f"{name} = {value}")


def kept(folder: Path) -> str:
    """What stands in job.toml."""
    return (folder / "job.toml").read_text("utf-8")


def in_job(page: Page, folder: Path, text: str) -> None:
    """Waits until job.toml has a text."""
    until(page, lambda: text in kept(folder), f"{text!r} in job.toml")


def choose_port(page: Page, name: str) -> None:
    """Types a port over TCP beside those of this computer."""
    page.locator("#port-typed").fill(name)


def answered(page: Page) -> bool:
    """Presses Yes where something is asked, in one go: a question may be gone by the next look."""
    pressed: bool = page.evaluate("""() => {
        const yes = document.querySelector('#answers button');
        const asked = yes.checkVisibility();
        if (asked) yes.click();
        return asked;
    }""")
    return pressed


def inking(page: Page, button: Locator) -> None:
    """Answers yes to whatever is asked until strokes are drawn.

    On a busy machine a beat may come too late, which stops the pen: then it is begun anew.
    """
    inks = page.locator("#told").get_by_text("strokes, about")

    def begun() -> bool:
        if (
            not answered(page)
            and button.is_enabled()
            and "stopped" in page.locator("#told").inner_text()
        ):
            button.click()
            page.locator("#told").get_by_text("strokes drawn").wait_for(state="detached")
        return inks.count() > 0

    until(page, begun, "strokes are drawn")
