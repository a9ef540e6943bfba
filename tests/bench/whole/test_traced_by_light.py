"""Lines traced by a projector's light, from the bench to the last of them, each in its window."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shapely import LineString, unary_union

from devices.job import Job
from devices.projector.desk.work import work_for
from marking.job.folder import load_job
from tests.bench.benches import bench, opened, until
from tests.bench.test_picture import Seen
from tests.bench.whole.test_whole_job import steps
from tests.projector.browsers import PIXELS, Run, hung_crooked, remote_page, true_up, when
from tests.projector.test_beam_pages import lit_pixels, trace

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

JOB = """schema = 1
title = "Millrace sampler"
[table]
length = "13 in"
width = "9 in"
[hems]
depth = "2 in"
folds = []
[numerals]
sides = []
[projector]
profile = "ceiling-1080p"
[ways]
have = ["projector"]
"""
_GREEN = """([x, y]) => {
    const pen = document.querySelector("#marking").getContext("2d");
    const [red, green, blue] = pen.getImageData(x, y, 1, 1).data;
    return green > red + 40 && green > blue;
}"""


def test_lines_lit_from_the_bench_are_traced_to_the_last_and_shown_as_inked(
    browser: Browser, tmp_path: Path
) -> None:
    folder = tmp_path / "light"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB, "utf-8")
    work = work_for(load_job(folder, Job))
    (section,) = work.section_ids
    lines = work.line_ids(section, "all")
    lies = {one: LineString(work.pieces(section, one)[0].stroke.points) for one in lines}
    with bench(folder) as run:
        page = opened(browser, run)
        seen = Seen(page, work.layout.top.corners_table)

        def inked(line: str) -> bool:
            """Whether a line is shown as inked, where it lies farthest from all others."""
            others = unary_union([at for name, at in lies.items() if name != line])
            spots = (lies[line].interpolate(n / 40, normalized=True) for n in range(5, 36))
            x, y = max(spots, key=others.distance).coords[0]
            shown: bool = page.evaluate(_GREEN, [round(at) for at in seen.pixel(x, y)])
            return shown

        page.locator("#light").click()
        with page.context.expect_page() as window:
            page.locator("#stage").click(timeout=60_000)
        stage = window.value
        stage.set_viewport_size({"width": PIXELS[0], "height": PIXELS[1]})
        # The remote is a phone, which has the address and the code from the page.
        remote = remote_page(
            browser,
            Run(
                stage.url,
                page.locator("#remote").get_attribute("href") or "",
                page.locator("#code").inner_text(),
                run.process,
            ),
        )
        true_up(remote, work, section, hung_crooked(work, section, 0.1))
        remote.get_by_role("tab", name="Trace").click()
        when(stage, "look.lit && scene.lines.length > 0")
        assert lit_pixels(stage) > 10_000

        assert steps(page)["Mark"] == "Nothing inked yet"
        trace(remote, 3)
        until(page, lambda: inked(lines[2]), "the third line is shown as inked")
        assert [inked(line) for line in lines] == [n < 3 for n in range(len(lines))]
        assert steps(page)["Mark"] == "0 of 1 sections"
        trace(remote, len(lines) - 3)
        until(page, lambda: steps(page)["Mark"] == "1 of 1 sections", "all is traced")
        until(page, lambda: inked(lines[-1]), "the last line is shown as inked")
        assert all(inked(line) for line in lines)
        page.locator("#light-off").click()
        page.locator("#light:enabled").wait_for()
