"""What may go wrong round the bench page: a killed server, lost connections, others at the job."""

from __future__ import annotations

import json
import resource
import subprocess
from typing import TYPE_CHECKING

from devices.session.claim import LOCK_FILE
from tests.bench.benches import (
    bench,
    choose_port,
    command,
    field,
    in_job,
    kept,
    opened,
    shown,
    small_job,
    surroundings,
    until,
)
from tests.inking.kills import plotter_at

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

    from tests.bench.benches import Bench


def test_what_is_typed_while_the_connection_is_lost_is_kept_once_it_is_back(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "lost")
    page, other = opened(browser, run, "lost"), opened(browser, run, "lost")
    page.context.set_offline(True)
    page.evaluate("socket.close()")
    page.get_by_text("Not connected").wait_for()
    # An editor meanwhile; what the page keeps just as it writes is refused, so it is seen first.
    (folder / "job.toml").write_text(kept(folder) + '[grid]\nend_margin = "3 in"\n', "utf-8")
    shown(other, "grid.end_margin", "3 in")
    page.locator(field("grid.margin")).fill("2 in")
    page.locator(field("grid.margin")).blur()
    page.context.set_offline(False)
    in_job(page, folder, 'margin = "2 in"')
    shown(page, "grid.end_margin", "3 in")
    assert 'end_margin = "3 in"' in kept(folder)


def test_a_killed_bench_loses_nothing_and_leaves_its_jobs_free(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a")
    with bench(folder) as run:
        page = opened(browser, run)
        page.locator(field("table.survey.near")).fill("26 in")
        page.locator(field("table.survey.near")).blur()
        page.locator("#steps").get_by_text("1 of 6 measured").wait_for()
        page.get_by_role("button", name="Rehearse").click()
        page.locator("#asks").get_by_text("?").wait_for()
        assert (folder / LOCK_FILE).exists()
        run.process.kill()
        page.get_by_text("Not connected").wait_for()
        # Its machine hears that nobody answers any more, and ends.
        until(page, lambda: not (folder / LOCK_FILE).exists(), "the job is free")
    with bench(folder) as run:
        page.goto(run.url)
        shown(page, "table.survey.near", "26 in")


def test_a_machine_that_a_terminal_drives_is_not_driven_from_the_page_too(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a")
    with plotter_at(folder, 4) as port:
        terminal = subprocess.Popen(
            command("drive", "--job", folder, *port),
            stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**surroundings(), "CANVASRULE_KEYS": "lines"},
        )  # fmt: skip
        assert terminal.stderr is not None
        try:
            while "ask" not in terminal.stderr.readline():
                assert terminal.poll() is None
            with bench(folder) as run:
                page = opened(browser, run)
                choose_port(page, port[1])
                page.get_by_role("button", name="Ink the next section").click()
                page.locator("#told").get_by_text("is at work on this job").wait_for()
                page.get_by_text("It ended before all was drawn").wait_for()
        finally:
            terminal.kill()
            terminal.communicate()


def test_two_benches_started_on_one_job_at_once_are_one(tmp_path: Path) -> None:
    words = command("bench", "--job", small_job(tmp_path / "a"), "--no-open", "--json")
    both = [
        subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=surroundings())
        for _ in range(2)
    ]
    try:
        pages = [json.loads(one.stdout.readline())["page"] for one in both if one.stdout]
        assert len({page.partition("&")[0] for page in pages}) == 1
        # Whichever came second names its job to the first, and ends.
        second = int("&job=a" in pages[1])
        assert "&job=a" in pages[second]
        assert both[second].wait(60) == 0
        assert "&job=" not in pages[1 - second]
        assert both[1 - second].poll() is None
    finally:
        for one in both:
            if one.poll() is None:
                one.terminate()
            one.communicate(timeout=60)


def test_a_disk_that_takes_nothing_is_said_in_words_and_loses_nothing(
    run: Bench, browser: Browser
) -> None:
    """It may write files of no byte by prlimit(2), which to a program is a full disk (EFBIG)."""
    folder = small_job(run.root / "full")
    page = opened(browser, run, "full")
    before = kept(folder)
    _, most = resource.prlimit(run.process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(run.process.pid, resource.RLIMIT_FSIZE, (0, most))
    page.locator(field("grid.margin")).fill("2 in")
    page.locator(field("grid.margin")).blur()
    page.locator("#say").get_by_text("job.toml").wait_for()
    assert kept(folder) == before
    # What was typed stays, and is kept once there is room.
    assert page.locator(field("grid.margin")).input_value() == "2 in"
    resource.prlimit(run.process.pid, resource.RLIMIT_FSIZE, (most, most))
    page.locator(field("grid.margin")).press("Enter")
    in_job(page, folder, 'margin = "2 in"')


def test_a_damaged_record_is_said_on_the_page_and_stays_as_it_is(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "damaged")
    (folder / "job.db").write_bytes(b"no database" * 100)
    page = opened(browser, run, "damaged")
    page.locator("#trouble").get_by_text("job.db").wait_for()
    page.get_by_role("button", name="What to measure").click()
    until(
        page,
        lambda: "job.db" in page.locator('[data-of="to-prove"]').inner_text(),
        "said of the errand",
    )
    assert (folder / "job.db").read_bytes() == b"no database" * 100
