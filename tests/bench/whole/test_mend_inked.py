"""A worn line inked anew from the bench page: asked for, set down for, read, inked, looked over."""

from __future__ import annotations

import contextlib
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.commands import main
from devices.simulated.table import Stand
from marking.record.record import open_record
from tests.bench.benches import bench, choose_port, opened, until
from tests.bench.whole.at_the_table import AtTheTable
from tests.bench.whole.test_ink_goes_on import JOB
from tests.bench.whole.test_whole_job import AtKeys, errand, steps
from tests.inking.kills import samples

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

    from tests.conftest import RunCli

FIRST, AGAIN = Stand(0.6, -0.4), (-1.3, 0.8, 0.002)
"""How far off the plotter stood when the cover was inked, and how it is set down once more."""


@pytest.fixture
def inked(tmp_path: Path, run_cli: RunCli) -> Iterator[tuple[Path, AtTheTable]]:
    """A cover of one section that lies on the table as it was inked by the terminal."""
    folder = tmp_path / "a"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB, "utf-8")
    person = AtTheTable(run_cli, 1500, Stand)
    with contextlib.closing(person):
        person.looks_up(folder)
        (section,) = json.loads(run_cli("section", "--job", folder, "--json").stdout)["sections"]
        x, y = section["window"][:2]
        person.at.bump(Stand(x + FIRST.x, y + FIRST.y))
        words = ("--unattended", "--ink-anyway", "set down by tape alone")
        assert main(["drive", "--job", str(folder), "--port", person.at.port, *words]) == 0
        yield folder, person


def off_old_ink(person: AtTheTable, before: int) -> float:
    """How far, mm, ink from then on lies beside the lines that it was to be laid over, at most."""
    about = {one["id"]: one["points"] for one in person.layout["strokes"]}
    new = [np.array(one.path) for one in person.cloth.ink[before:]]
    old = cKDTree(samples([np.array(one.path) for one in person.cloth.ink[:before]]))
    # Each is as long as the line it is laid over, and beside no other.
    long = sorted(float(np.hypot(*(path[-1] - path[0]))) for path in new)
    wanted = [np.hypot(*np.subtract(*about[name])) for name in ("cross-3", "long-near")]
    assert long == pytest.approx(sorted(wanted), abs=0.3)
    off = float(old.query(samples(new))[0].max())
    assert 0 < off < 0.5, "it lies over the old ink, as truly as marks are read"
    return off


def test_a_worn_line_is_inked_anew_from_the_page_over_its_old_ink_and_shown_as_done(
    inked: tuple[Path, AtTheTable], browser: Browser
) -> None:
    folder, person = inked
    before = len(person.cloth.ink)
    with bench(folder) as run:
        page = opened(browser, run)
        page.locator("#mending summary").click()
        page.locator("#mend-lines").fill("3, long-near")
        page.locator("#mend-why").fill("worn by the iron")
        assert "m1: asked" in errand(page, "mend")
        until(page, lambda: steps(page)["Mark"] == "1 of 1 sections, m1 to ink anew", "it is left")
        person.off = AGAIN
        choose_port(page, person.at.port)
        page.locator("#ink").click()
        page.locator("#card-set-down").wait_for()
        assert page.locator("#set-down-name").inner_text() == "Set it down: r1c1-m1, 1 of 1"
        said = person.work(AtKeys(page))
        assert "r1c1-m1: done, 2 strokes drawn" in said, said
        # The crossings around it were brought under the pen, where they really lie.
        assert len(person.read) >= 4
        assert all("cross-3" not in name and "long-near" not in name for name in person.read)
        page.locator("#ended-words").get_by_text("m1 is inked anew: look it over").wait_for()
        until(page, lambda: steps(page)["Mark"] == "1 of 1 sections, m1 to look over", "to look at")

        page.locator("#mend-name").fill("m1")
        page.locator("#mend-step").fill(f"{off_old_ink(person, before):.1f} mm")
        assert "looked over: the largest step is 0." in errand(page, "mend-looked-over")
        until(page, lambda: steps(page)["Mark"] == "1 of 1 sections", "it is done")
    with open_record(folder) as record:
        assert [one.section for one in record.ink() if one.event == "done"] == ["r1c1", "r1c1-m1"]
