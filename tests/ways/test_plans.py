"""The plans found for the demo bench: their marks serve, and what they hold is what is asked.

The limits are 1/16 in and 1.1 mm, and 1/8, 1/16, 1/32 in and 1.1 mm; our own simulation, with
errors that are our own assumptions.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.ways.cover_model import INCH, Errors
from tests.ways.plans import Pace, Way, hours, nodes, told, ways

TOLERANCE = {"total": INCH / 16, "square_width": INCH / 16, "step": 1.1}
ALLOWED = {"total": INCH / 8, "square": INCH / 16, "neighbours": INCH / 32, "step": 1.1}


@cache
def _ways() -> dict[str, Way]:
    return {way.name: way for way in ways()}


def test_a_mark_inside_is_seen_by_four_sections_and_one_on_an_edge_by_two() -> None:
    for name in ("A3, tolerance", "24 x 36, tolerance"):
        sections = _ways()[name].plan.sections
        places = nodes(sections)
        last = np.max(list(places), axis=0)
        for node, (x, y) in places.items():
            seen = sum(
                s.window[0] < x < s.window[2] and s.window[1] < y < s.window[3] for s in sections
            )
            outer = [n in (0, m) for n, m in zip(node, last, strict=True)]
            assert seen == 4 // 2 ** sum(outer)


MOST = {
    "A3 fence, tolerance": (TOLERANCE, 90),
    "A3 fence, allowed": (ALLOWED, 80),
    "24 x 36, tolerance": (TOLERANCE, 90),
    "24 x 36, allowed": (ALLOWED, 75),
    "24 x 36 fence, tolerance": (TOLERANCE, 40),
    "24 x 36 fence, allowed": (ALLOWED, 35),
}


@pytest.mark.parametrize("name", sorted(MOST))
def test_a_plan_holds_its_limits_with_few_enough_actions(name: str) -> None:
    limits, most = MOST[name]
    way = _ways()[name]
    assert way.plan.actions <= most
    each, _ = told(way.plan, way.errors, 150, follow=way.follow)
    for figure, limit in limits.items():
        assert each[figure] <= limit, figure


def test_ruling_that_scatters_a_quarter_of_a_millimetre_is_what_stops_ruled_lines() -> None:
    """The same plan holds once a ruled line is never more than 0.2 mm off at either end."""
    loose, careful = (
        _ways()[f"A3 bands, fence, ruled {about}"] for about in ("0.25 normal", "within 0.2")
    )
    assert loose.plan.actions <= 200
    far, _ = told(loose.plan, loose.errors, 150, follow=loose.follow)
    near, _ = told(careful.plan, careful.errors, 150, follow=careful.follow)
    assert far["neighbours"] > 1.5 * ALLOWED["neighbours"]
    assert near["neighbours"] < 1.03 * ALLOWED["neighbours"]


def test_meeting_the_ink_half_way_lessens_steps_and_costs_the_total_little() -> None:
    way = _ways()["24 x 36, tolerance"]
    true, _ = told(way.plan, way.errors, 150, follow=0.0)
    half, _ = told(way.plan, way.errors, 150, follow=0.5)
    assert half["step"] < true["step"]
    assert half["total"] < 1.1 * true["total"]


def test_each_act_of_a_person_costs_what_its_pace_says() -> None:
    way = _ways()["24 x 36 fence, tolerance"]
    before, _ = hours(way.plan, way.drawn, Pace(), large=True)
    after, _ = hours(way.plan, way.drawn, Pace(reading=60), large=True)
    assert after - before == pytest.approx(len(way.plan.readings) * 30 / 3600)
    assert Errors() == way.errors
