"""The six measurements of the top on the bench page: drawn as they are typed, a slip in red."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from devices.bench.fields.sketch import sketch
from tests.bench.benches import field, kept, opened, small_job, until, unwatched
from tests.bench.fields.every_key import SIX

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench


@pytest.mark.parametrize(
    ("typed", "corners"),
    [
        # Of a true rectangle one side is enough to see its like.
        ({"far": "100 mm"}, [[0, 0], [100, 0], [100, 40], [0, 40]]),
        ({"zero_end": "50 mm"}, [[0, 0], [90, 0], [90, 50], [0, 50]]),
        # 3, 4 and 5 make a square corner (Euclid, Elements I.48).
        (
            {"near": "40 mm", "far": "40 mm", "zero_end": "30 mm", "far_end": "30 mm"}
            | {f"diagonal_from_zero_{end}": "50 mm" for end in ("near", "far")},
            [[0, 0], [40, 0], [40, 30], [0, 30]],
        ),
    ],
)
def test_a_top_is_drawn_by_what_is_measured_so_far(
    typed: dict[str, str], corners: list[list[float]]
) -> None:
    found = sketch(typed, 90.0, 40.0)
    assert found is not None
    assert [pytest.approx(one, abs=1e-6) for one in corners] == found


def test_nothing_is_drawn_by_nothing_or_by_what_is_no_length() -> None:
    assert sketch({}, 90.0, 40.0) is None
    assert sketch({"near": "long"}, 90.0, 40.0) is None


def test_a_longer_diagonal_leans_the_corners_before_the_rest_is_measured(tmp_path: Path) -> None:
    job = unwatched(small_job(tmp_path / "a"))
    found: dict[str, Any] = json.loads(
        job.tried("table.survey.diagonal_from_zero_near", "31 1/2 in")
    )
    assert found["faults"] == {}
    assert found["fate"] == "waits"
    (zero_x, _), _, (far_x, _), (_, _) = found["corners"]
    assert far_x - zero_x > 26 * 25.4
    job.act({"do": "set", "name": "table.survey.near", "value": "27 in"})
    assert job.told()["corners"][1][0] == pytest.approx(27 * 25.4, abs=15)


def test_measurements_are_taken_out_all_at_once_and_come_back_by_undo(tmp_path: Path) -> None:
    job = unwatched(small_job(tmp_path / "a", "# before\n"))
    before = kept(job.folder)
    for side, length in SIX.items():
        job.act({"do": "set", "name": f"table.survey.{side}", "value": length})
    measured = kept(job.folder)
    assert "survey" in measured
    job.act({"do": "unmeasure"})
    assert kept(job.folder).rstrip() == before.rstrip()
    job.act({"do": "undo"})
    assert kept(job.folder) == measured
    job.act({"do": "set", "name": "table.survey.middle", "value": "17 in"})
    job.act({"do": "unmeasure"})
    assert job.waiting == {}


def drawn(page: Page) -> str:
    points: str = page.locator("#top polygon").last.get_attribute("points") or ""
    return points


def test_the_top_is_drawn_as_it_is_typed_and_a_slip_is_red_until_it_is_mended(
    run: Bench, browser: Browser
) -> None:
    small_job(run.root / "measured")
    page = opened(browser, run, "measured")
    page.locator("#top polygon").first.wait_for(state="attached")
    before = drawn(page)
    page.locator(field("table.survey.near")).fill("27 in")
    until(page, lambda: drawn(page) != before, "drawn as it is typed")
    for side, length in SIX.items():
        if side != "near":
            page.locator(field(f"table.survey.{side}")).fill(length)
            page.locator(field(f"table.survey.{side}")).blur()
    fault = page.locator("#field-table-survey-near-fault")
    fault.get_by_text("26 in would close the figure").wait_for()
    page.locator("#steps").get_by_text("They do not agree").wait_for()
    red = page.locator("#top .slip")
    until(page, lambda: red.count() == 1, "the slip in red")
    # Along the near edge, from the zero corner.
    level = page.locator("#top circle").get_attribute("cy")
    assert level is not None
    assert float(red.get_attribute("y1") or 0) == pytest.approx(float(level), abs=1)
    page.locator(field("table.survey.near")).fill("26 in")
    page.locator(field("table.survey.near")).blur()
    page.locator("#steps").get_by_text("Measured", exact=True).wait_for()
    until(page, lambda: red.count() == 0, "nothing in red")
