"""Ink over a bench that is killed and a connection that is lost: the pen up, and each line once."""

from __future__ import annotations

import contextlib
import re
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.session.claim import LOCK_FILE
from devices.simulated.table import Stand
from marking.record.record import open_record
from tests.bench.benches import bench, choose_port, opened, until
from tests.bench.whole.at_the_table import AtTheTable
from tests.bench.whole.serial_line import SerialLine
from tests.bench.whole.test_whole_job import AtKeys
from tests.inking.kills import samples
from tests.projector.wire import Wire

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.conftest import RunCli

JOB = """schema = 1
[table]
length = "17 in"
width = "9 in"
[hems]
depth = "2 in"
folds = ["double 1 in"]
[inking]
tried = "not asked"
"""
_SAME, _MORE = 0.3, 5.0
"""mm: ink this near lies on other ink; lines that cross, or meet in a numeral, share no more."""


def laid_twice(paths: Sequence[Sequence[tuple[float, float]]]) -> int:
    """How many paths of ink lie along others that were there before."""
    every = [samples([np.array(path)]) for path in paths]
    count = 0
    for number, points in enumerate(every[1:], 1):
        off = cKDTree(np.concatenate(every[:number])).query(points)[0]
        # A long line meets many others, and each but for a moment: the longest stretch tells.
        turns = np.flatnonzero(np.diff(np.pad(off < _SAME, 1).astype(int)))
        count += 0.05 * np.diff(turns)[::2].max(initial=0) > _MORE
    return count


def goes_on(
    page: Page, person: AtTheTable, until: Callable[[Sequence[str]], bool], port: str = ""
) -> int:
    """Has the section inked, or gone on with, until something is so.

    Returns how many strokes the page said were perhaps drawn, and are drawn again.
    """
    person.at.pace = 20
    choose_port(page, port or person.at.port)
    page.locator("#ink:enabled").press("Enter")
    page.locator("#stop:enabled").wait_for()
    perhaps = re.search(r"drawn, (\d+) perhaps", person.work(AtKeys(page), until))
    return int(perhaps[1]) if perhaps else 0


@pytest.fixture
def to_ink(tmp_path: Path, run_cli: RunCli) -> Iterator[tuple[Path, AtTheTable]]:
    """A job of one section, and a plotter that is set down for it exactly."""
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB, "utf-8")
    person = AtTheTable(run_cli, 20, Stand)
    person.off = (0.0, 0.0, 0.0)
    with contextlib.closing(person):
        yield folder, person


def each_line_once(folder: Path, person: AtTheTable, perhaps: int) -> None:
    """Holds record and cloth to it: none that was known as drawn was drawn again, and of those
    unknown no more than were said to be."""
    with open_record(folder) as record:
        events = record.strokes("r1c1")
    drawn = Counter(one.stroke for one in events if one.event == "drawn")
    assert set(drawn) == {one.stroke for one in events}
    assert set(drawn.values()) == {1}
    assert laid_twice([one.path for one in person.cloth.ink]) <= perhaps


def test_a_killed_bench_and_a_lost_connection_leave_the_pen_up_and_no_line_inked_twice(
    to_ink: tuple[Path, AtTheTable], browser: Browser
) -> None:
    folder, person = to_ink
    pen = person.at.machine.carriage
    with bench(folder) as run:
        page = opened(browser, run)
        assert goes_on(page, person, lambda _: len(person.cloth.ink) > 5) == 0
        person.at.pace = 4
        run.process.kill()
        page.get_by_text("Not connected").wait_for()
        until(page, lambda: not (folder / LOCK_FILE).exists(), "its machine has ended")
        assert not pen.down
    first = len(person.cloth.ink)
    with bench(folder) as run:
        wire, other = Wire(run.url), opened(browser, run)
        page.goto(wire.over(run.url))
        page.get_by_text("In step").wait_for()
        perhaps = goes_on(page, person, lambda _: len(person.cloth.ink) > first + 5)
        person.at.pace = 2
        wire.cut()
        page.get_by_text("Not connected").wait_for()
        told = other.locator("#told")
        told.get_by_text("Nothing is heard of the page").wait_for()
        told.get_by_text("r1c1: stopped").wait_for(timeout=60_000)
        until(page, lambda: not pen.down, "the pen is up")
        wire.mend()
        page.get_by_text("In step").wait_for()
        perhaps += goes_on(page, person, lambda said: "r1c1 is inked" in "".join(said))
        page.locator("#stop").click()
        page.locator("#ink:enabled").wait_for(timeout=60_000)
        wire.close()
    each_line_once(folder, person, perhaps)


def test_ink_at_a_serial_port_goes_on_after_its_adapter_was_pulled_out(
    to_ink: tuple[Path, AtTheTable], browser: Browser, tmp_path: Path
) -> None:
    folder, person = to_ink
    line = SerialLine(person.at, tmp_path)
    pen = person.at.machine.carriage
    with contextlib.closing(line), bench(folder) as run:
        page = opened(browser, run)
        faults = page.locator("#ended-faults")
        perhaps = goes_on(page, person, lambda _: len(person.cloth.ink) > 5, line.port)
        person.at.pace = 4
        until(page, lambda: pen.down, "it is in mid-ink")
        line.pull_out()
        faults.get_by_text("the line to the machine is gone").wait_for()
        # Nobody can raise it now, and the page says to look.
        assert "Look that the pen is up" in faults.inner_text()
        person.at.settle(60.0)
        page.locator("#ink:enabled").press("Enter")
        faults.get_by_text("not there; is the machine plugged in?").wait_for()
        line.plug_in()
        inked = len(person.cloth.ink)
        perhaps += goes_on(page, person, lambda said: "r1c1 is inked" in "".join(said), line.port)
        assert inked < len(person.cloth.ink)
        page.locator("#stop").click()
        page.locator("#ink:enabled").wait_for(timeout=60_000)
    each_line_once(folder, person, perhaps)
