"""Work over days on the page: which sections on which day, and the check that ink waits for."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from devices.job import Job
from marking.begun.on_the_cover import keep_tape_marks
from marking.days.morning import last_morning, meant
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from tests.bench.benches import choose_port, opened, until
from tests.days.test_days import JOB, last_ink

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from tests.bench.benches import Bench


def test_after_a_night_the_page_offers_the_mornings_check_and_keeps_it_by_the_verb(
    run: Bench, browser: Browser
) -> None:
    folder = run.root / "overnight"
    folder.mkdir()
    (folder / JOB_FILE).write_text(JOB, "utf-8")
    job = load_job(folder, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    marks = set_out(layout, 6 * 25.4, Tape(), "in")
    with open_record(folder) as record:
        keep_tape_marks(record, layout, plan, marks)
    last_ink(folder, layout, plan, timedelta(hours=9))
    should = {name: f"{length:.2f} mm" for name, length in meant(layout, marks).items()}

    page = opened(browser, run, "overnight")
    waits, keeps = page.locator("#morning-waits"), page.locator('[data-errand="morning"]')
    until(page, lambda: "a night ago or longer" in waits.inner_text(), "why ink waits")
    page.locator("#steps").get_by_text("the morning's check to take").wait_for()
    # 40 in, less 1 in at either end.
    assert page.locator("#morning-base").get_attribute("placeholder") == "38 in"
    choose_port(page, "socket://127.0.0.1:1")
    page.locator("#ink").click()
    page.locator("#ended-faults").get_by_text("“The morning's check” says what to read").wait_for()
    page.locator("#go-morning").click()
    assert page.url.endswith("#morning")

    page.locator("#over-days summary").click()
    page.locator("#day-hours").fill("half")
    page.get_by_role("button", name="Spread them over days").click()
    page.locator("#day-hours-fault", has_text="give the hours of a day as a figure").wait_for()
    page.locator("#day-hours").fill("0.5")
    page.get_by_role("button", name="Spread them over days").click()
    days = page.locator('.outcome[data-of="days"]')
    days.get_by_text("Day 2: ").wait_for()
    days.get_by_text("type them at “The morning's check”").wait_for()

    page.locator("#morning-base").fill(should["base"])
    page.locator("#morning-up").fill("12")
    keeps.click()
    page.locator("#morning-down-fault", has_text="This is needed.").wait_for()
    page.locator("#morning-down").fill(should["down"])
    keeps.click()
    page.locator("#morning-up-fault", has_text='no unit; write "12 in"').wait_for()
    # A creep is kept too, and goes on being said until it reads true.
    page.locator("#morning-up").fill(f"{meant(layout, marks)['up'] + 12:.2f} mm")
    keeps.click()
    page.locator('.outcome[data-of="morning"]').get_by_text("DO NOT INK").wait_for()
    until(page, lambda: "this morning's check says" in waits.inner_text(), "what it says")
    page.locator("#morning-up").fill(should["up"])
    keeps.click()
    page.locator('.outcome[data-of="morning"]').get_by_text("go on").wait_for()
    until(page, lambda: not waits.is_visible(), "ink waits no more")
    with open_record(folder) as record:
        kept = last_morning(record, layout)
    assert kept is not None
    assert {name: f"{length:.2f} mm" for name, length in kept[1].shown.items()} == should
