"""Routes inside a section: every stroke once, pens grouped, and short."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marking.job.keys import Pen, PensTable
from marking.layout.layout import Stroke
from marking.sections.route import Route, shortest
from marking.sections.zones import ZonePace

PACE = ZonePace(draw=80.0, travel=400.0, lift=0.0)
PENS = PensTable(
    lines=Pen(width="1 mm"),
    heavy=Pen(width="1 mm", passes=2),
    numerals=Pen(width="0.8 mm"),
    removable=Pen(slot=2, width="0.5 mm"),
)
coordinate = st.integers(0, 40).map(float)
stroke_ends = st.tuples(coordinate, coordinate, coordinate, coordinate).filter(
    lambda ends: ends[:2] != ends[2:]
)


def strokes_of(ends: list[tuple[float, ...]], pens: list[str]) -> list[Stroke]:
    return [
        Stroke(f"s{n}", "cross", pen, np.array([[x0, y0], [x1, y1]]))
        for n, ((x0, y0, x1, y1), pen) in enumerate(zip(ends, pens, strict=True))
    ]


def pen_up(strokes: list[Stroke], route: Route) -> float:
    """Pen-up travel from the corner 0, 0 and back, followed leg by leg."""
    at, travel = (0.0, 0.0), 0.0
    for leg in route.legs:
        points = strokes[leg.index].points[::-1] if leg.backwards else strokes[leg.index].points
        travel += math.dist(at, points[0])
        even = PENS.named(strokes[leg.index].pen).passes % 2 == 0
        at = tuple(points[0] if even else points[-1])
    return travel + math.dist(at, (0.0, 0.0))


def least_by_trying_all(strokes: list[Stroke]) -> float:
    best = math.inf
    for order in itertools.permutations(strokes):
        # The cheapest way to come out at either end of each stroke in this order.
        costs = {(0.0, 0.0): 0.0}
        for stroke in order:
            first, last = (tuple(map(float, end)) for end in stroke.points[[0, -1]])
            even = PENS.named(stroke.pen).passes % 2 == 0
            ways = [(first, first), (last, last)] if even else [(first, last), (last, first)]
            after: dict[tuple[float, ...], float] = {}
            for entry, leave in ways:
                cost = min(c + math.dist(at, entry) for at, c in costs.items())
                after[leave] = min(cost, after.get(leave, math.inf))
            costs = after
        best = min(best, min(c + math.dist(at, (0.0, 0.0)) for at, c in costs.items()))
    return best


@given(
    st.lists(st.tuples(stroke_ends, st.sampled_from(["lines", "heavy", "removable"])), max_size=12)
)
def test_every_stroke_is_inked_once_and_holders_are_changed_as_rarely_as_can_be(drawn):
    strokes = strokes_of([ends for ends, _ in drawn], [pen for _, pen in drawn])
    route = shortest(strokes, PENS, (0.0, 0.0), PACE)
    assert sorted(leg.index for leg in route.legs) == list(range(len(strokes)))
    held = [PENS.named(strokes[leg.index].pen).slot for leg in route.legs]
    assert held == sorted(held)


@given(
    st.lists(st.tuples(stroke_ends, st.sampled_from(["lines", "heavy"])), min_size=1, max_size=9)
)
def test_the_travel_reported_is_the_travel_that_the_legs_make(drawn):
    strokes = strokes_of([ends for ends, _ in drawn], [pen for _, pen in drawn])
    route = shortest(strokes, PENS, (0.0, 0.0), PACE)
    assert route.travel == pytest.approx(pen_up(strokes, route), abs=1e-9)


def test_small_drawings_are_routed_within_a_tenth_of_the_shortest_way_there_is():
    """Against every order and direction; the shortest itself in three drawings of four."""
    rng = np.random.default_rng(7)
    ratios = []
    for _ in range(60):
        count = int(rng.integers(2, 6))
        ends = [tuple(map(float, rng.integers(0, 40, 4))) for _ in range(count)]
        strokes = strokes_of(ends, [str(rng.choice(["lines", "heavy"])) for _ in range(count)])
        route = shortest(strokes, PENS, (0.0, 0.0), PACE)
        ratios.append(route.travel / max(least_by_trying_all(strokes), 1e-9))
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(ratios) < 1.1
    assert np.mean(np.array(ratios) < 1 + 1e-9) >= 0.75


def test_a_section_of_thousands_of_strokes_is_routed_whole_and_nearly_as_short():
    """A roll's long grid: every line once, to and fro, and hardly more travel than that takes."""
    lines = strokes_of([(10.0 * n, 0.0, 10.0 * n, 200.0) for n in range(1, 1501)], ["lines"] * 1500)
    route = shortest(lines, PENS, (0.0, 0.0), PACE)
    assert sorted(leg.index for leg in route.legs) == list(range(1500))
    assert route.travel == pytest.approx(10 * 1500 + 10 * 1500, rel=0.02)


def test_neighbouring_lines_are_drawn_to_and_fro():
    lines = strokes_of([(x, 0.0, x, 200.0) for x in (10.0, 20.0, 30.0, 40.0)], ["lines"] * 4)
    route = shortest(lines, PENS, (0.0, 0.0), PACE)
    assert route.travel == pytest.approx(10 + 3 * 10 + 40)


def test_the_pen_stays_down_round_a_corner():
    corner = strokes_of([(0.0, 0.0, 0.0, 50.0), (0.0, 0.0, 80.0, 0.0)], ["lines", "lines"])
    route = shortest(corner, PENS, (0.0, 0.0), ZonePace(80.0, 400.0, 0.2))
    assert route.lifts == 1
    assert [leg.joined for leg in route.legs] == [False, True]
