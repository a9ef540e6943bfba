"""How the bench page comes to its first look at the job: early, and at nothing but this job."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

from devices.bench import server
from tests.bench.benches import command, small_job, surroundings

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Route

    from tests.bench.benches import Bench

PAGES = Path(server.__file__).parent / "pages"


def test_the_marking_is_asked_for_once_and_before_the_page_is_told_of_the_job(
    run: Bench, browser: Browser
) -> None:
    small_job(run.root / "at once")
    page = browser.new_page()
    order: list[str] = []
    page.on("request", lambda one: order.append(one.url) if "/layout" in one.url else None)
    page.on("websocket", lambda one: one.on("framereceived", lambda text: order.append(str(text))))
    page.goto(f"{run.url}&job=at once")
    page.locator("#numerals svg").first.wait_for()
    of_job = next(n for n, text in enumerate(order) if '"type": "job"' in text)
    assert [n for n, text in enumerate(order) if "/layout" in text] == [0]
    assert of_job > 0


def test_a_marking_of_another_job_is_not_shown_and_this_ones_is_asked_for(
    run: Bench, browser: Browser
) -> None:
    small_job(run.root / "this")
    page = browser.new_page()
    asked: list[str] = []

    def answered(route: Route) -> None:
        asked.append(route.request.url)
        if len(asked) == 1:
            # As where another page has opened another job meanwhile.
            route.fulfill(json={}, headers={"marking-of": "1 /elsewhere"})
        else:
            route.continue_()

    page.route("**/layout", answered)
    page.goto(f"{run.url}&job=this")
    page.locator("#numerals svg").first.wait_for()
    assert len(asked) == 2


def test_the_browser_is_told_of_every_module_before_it_has_read_the_first() -> None:
    imported = {
        (path.parent / name).resolve().relative_to(PAGES).as_posix()
        for path in PAGES.rglob("*.js")
        for name in re.findall(r'^import .* from "(\..*)";$', path.read_text("utf-8"), re.M)
    }
    html = (PAGES / "bench.html").read_text("utf-8")
    assert set(re.findall(r'rel="modulepreload" href="/pages/(.*)"', html)) == imported


def test_a_job_that_cannot_be_read_is_refused_before_a_browser_is_opened(tmp_path: Path) -> None:
    (small_job(tmp_path / "a") / "job.toml").write_bytes(b'title = "\xff"\n')
    words = command("bench", "--job", tmp_path / "a", "--no-open")
    done = subprocess.run(words, capture_output=True, text=True, env=surroundings(), check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "job.toml" in done.stderr
