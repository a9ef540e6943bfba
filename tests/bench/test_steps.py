"""What a job's steps say of themselves, and where a page says that the job lies."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from devices.job import Job
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import layout_hash, open_record
from tests.bench.benches import opened, small_job, unwatched

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

    from tests.bench.benches import Bench
    from tests.conftest import RunCli


NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def step(folder: Path, name: str) -> dict[str, Any]:
    """A step, as a page that opens the job is told of it."""
    return next(one for one in unwatched(folder).told()["steps"] if one["step"] == name)


def ready(folder: Path) -> dict[str, Any]:
    """The step before ink."""
    return step(folder, "ready")


def test_a_file_makes_nobody_ready_and_tape_marks_do(tmp_path: Path, run_cli: RunCli) -> None:
    folder = small_job(tmp_path / "a")
    assert ready(folder) == {"step": "ready", "says": "Nothing written yet", "left": True}
    assert run_cli("write", "--job", folder, "--svg").returncode == 0
    assert run_cli("paper", "keep", "--job", folder).returncode == 0
    assert ready(folder) == {"step": "ready", "says": "1 file written", "left": True}
    assert run_cli("control", "--job", folder).returncode == 0
    assert ready(folder) == {"step": "ready", "says": "Tape marks chosen", "left": False}


def test_a_cover_that_was_inked_since_it_was_proved_is_to_be_proved_again(tmp_path: Path) -> None:
    folder = small_job(tmp_path / "a")
    layout = lay_out(load_job(folder, Job))
    with open_record(folder, lambda: NOON) as record:
        record.add_ink(layout, "r1c1", "done", "a division")
        record.add_check(layout_hash(layout), "proof", "cover", {"outcome": "pass"})
    assert step(folder, "prove") == {"step": "prove", "says": "The cover passes", "left": False}
    with open_record(folder, lambda: NOON + timedelta(minutes=1)) as record:
        record.add_ink(layout, "m1-r1c1", "done", "a division")
    says = "Inked since it was measured"
    assert step(folder, "prove") == {"step": "prove", "says": says, "left": True}


def test_which_job_is_shown_and_where_it_lies_is_on_a_phone_too(
    run: Bench, browser: Browser
) -> None:
    folder = small_job(run.root / "lies here")
    small_job(run.root / "another one")
    page = opened(browser, run, "lies here", size=(390, 844))
    lies = page.locator("#lies")
    assert lies.is_visible()
    assert lies.inner_text() == f"The job shown here lies in {folder.resolve()}"
    row = page.locator("#job-list li", has_text="(lies here)")
    assert row.inner_text().startswith("Shown here: ")
    assert row.get_by_role("button").count() == 0
    assert page.locator("#job-list li", has_text="(another one)").get_by_role("button").is_enabled()
    # One step is the next one, and is told to be that by more than its frame.
    now = page.locator('#steps [aria-current="step"]')
    assert now.all_inner_texts()[0].startswith("Measure")
    assert now.count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") == 390
