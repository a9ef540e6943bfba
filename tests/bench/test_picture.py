"""The marking as the page draws it, against `layout --json`, by the pixels of its canvas."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.bench.benches import opened, small_job, until

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench
    from tests.conftest import RunCli

SURVEY = """units = "mm"
[table.survey]
near = "26 1/16 in"
far = "25 15/16 in"
zero_end = "17 in"
far_end = "17 1/8 in"
diagonal_from_zero_near = "31 1/8 in"
diagonal_from_zero_far = "31 1/16 in"
"""
"""A top with no square corner, shown in millimetres."""
_INKED = 215
"""Darker than this is no bare cloth, even where a line of one pixel lies between two."""
_ROW = """([y, x0, x1, along]) => {
    const pen = document.querySelector("#marking").getContext("2d");
    const long = x1 - x0;
    const { data } = along ? pen.getImageData(x0, y, long, 1) : pen.getImageData(y, x0, 1, long);
    return Array.from({ length: data.length / 4 }, (_, n) => data[4 * n]);
}"""


def laid_out(run_cli: RunCli, folder: Path) -> Any:
    """What `layout --json` says."""
    return json.loads(run_cli("layout", "--job", folder, "--json").stdout)


def metric_job(run: Bench, name: str) -> Path:
    """A job on a crooked top, shown in millimetres."""
    folder = small_job(run.root / name)
    text = (folder / "job.toml").read_text("utf-8")
    units, _, survey = SURVEY.partition("\n")
    (folder / "job.toml").write_text(text.replace("[table]", f"{units}\n[table]") + survey, "utf-8")
    return folder


class Seen:
    """Where the table lies on the canvas once the whole of it is shown."""

    def __init__(self, page: Page, corners: Any) -> None:
        until(
            page, lambda: page.evaluate("document.querySelector('#marking').width > 300"), "sized"
        )
        self.page = page
        size = page.evaluate(
            "(({ width, height }) => [width, height])(document.querySelector('#marking'))"
        )
        low, high = np.min(corners, axis=0), np.max(corners, axis=0)
        self.scale = 0.94 * float(np.min(np.array(size) / (high - low)))
        self._middle, self._centre = (low + high) / 2, np.array(size) / 2

    def pixel(self, x: float, y: float) -> tuple[float, float]:
        """The pixel of a place on the table, mm."""
        dx, dy = (np.array([x, y]) - self._middle) * self.scale
        return float(self._centre[0] + dx), float(self._centre[1] - dy)

    def lines(self, across: float, start: float, end: float, *, along: bool) -> list[float]:
        """The middles of inked runs on a row of pixels, or a column, from one pixel to another."""
        data = self.page.evaluate(_ROW, [round(across), round(start), round(end), along])
        dark = np.flatnonzero(np.array(data) < _INKED)
        runs = np.split(dark, np.flatnonzero(np.diff(dark) > 1) + 1)
        return [round(start) + float(run.mean()) + 0.5 for run in runs]


def test_every_line_of_the_layout_is_drawn_where_it_lies(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    record = laid_out(run_cli, metric_job(run, "drawn"))
    page = opened(browser, run, "drawn")
    page.locator("#numerals svg").first.wait_for()
    received = page.evaluate("fetch('/layout').then((answer) => answer.json())")
    assert received == record
    seen = Seen(page, record["fit"]["top"]["corners"])
    begin = {one["id"]: one["points"][0] for one in record["strokes"]}
    xs = sorted({x for name, (x, _) in begin.items() if name.startswith("cross-")})
    ys = sorted(
        {y for name, (_, y) in begin.items() if name.startswith(("long-", "hem-", "fold-"))}
    )
    assert len(xs) > 20
    assert len(ys) > 10
    middle = (xs[10] + xs[11]) / 2
    # Where no long line runs, and where no cross line does.
    clear = max(itertools.pairwise(ys), key=lambda pair: pair[1] - pair[0])
    row = seen.pixel(middle, sum(clear) / 2)[1]
    found = seen.lines(row, seen.pixel(xs[0], 0)[0] - 5, seen.pixel(xs[-1], 0)[0] + 6, along=True)
    assert found == pytest.approx([seen.pixel(x, 0)[0] for x in xs], abs=1.0)
    column = seen.pixel(middle, 0)[0]
    found = seen.lines(
        column, seen.pixel(0, ys[-1])[1] - 3, seen.pixel(0, ys[0])[1] + 4, along=False
    )
    assert found[::-1] == pytest.approx([seen.pixel(0, y)[1] for y in ys], abs=1.0)


def test_lengths_under_the_pointer_are_told_in_millimetres_too(
    run: Bench, browser: Browser, run_cli: RunCli
) -> None:
    record = laid_out(run_cli, metric_job(run, "metric"))
    page = opened(browser, run, "metric")
    page.locator("#numerals svg").first.wait_for()
    seen = Seen(page, record["fit"]["top"]["corners"])
    begin = {one["id"]: one["points"][0] for one in record["strokes"]}
    zero = begin["cross-0"][0]
    for name, height in (("cross-3", 100.0), ("cross-20", 300.0)):
        x, y = seen.pixel(begin[name][0], height)
        page.locator("#marking").hover(position={"x": x, "y": y})
        along, _, across = page.locator("#pointer").inner_text().partition(" mm from zero, ")
        assert float(along) == pytest.approx(begin[name][0] - zero, abs=1 / seen.scale)
        assert float(across.partition(" mm from")[0]) == pytest.approx(height, abs=1 / seen.scale)
