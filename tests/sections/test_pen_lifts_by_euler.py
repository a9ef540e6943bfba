"""How often the pen must go down, by Euler's theorem, against how often a route puts it down.

Euler (1736), "Solutio problematis ad geometriam situs pertinentis" (from memory): a connected
drawing can be made in one go when no more than two of its points have odd degree; with 2k odd
points it takes k. Points here are the ends of strokes, since a route never breaks a stroke, and
networkx counts them. A stroke of even passes ends where it began, so it is a loop at one end.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from marking.job.keys import PensTable
from marking.layout.layout import Stroke
from marking.sections import route
from marking.sections.plan import divide_into_sections
from marking.sections.zones import ZonePace, reach_zone

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan, Section

ONE_POINT = 5
"""Decimals of a millimetre to which stroke ends are one point: far below a plotter unit, far
above what float64 loses."""
PENS = PensTable()
"""The defaults: one holder for all inks, heavy lines in two passes, another for the removable."""
PACE = ZonePace(draw=80.0, travel=400.0, lift=0.15)
"""The a3 desk plotter's: a lift costs as much as 60 mm of travel."""

Point = tuple[float, float]


def least_lifts(strokes: Iterable[Stroke], pens: PensTable) -> int:
    """The fewest times a pen goes down, one holder after another, by Euler's theorem."""
    by_slot: dict[int, list[Stroke]] = {}
    for stroke in strokes:
        by_slot.setdefault(pens.named(stroke.pen).slot, []).append(stroke)
    return sum(_least_of_one_holder(held, pens) for held in by_slot.values())


def _least_of_one_holder(strokes: Sequence[Stroke], pens: PensTable) -> int:
    fixed, loops = [], []
    for stroke in strokes:
        start, end = (
            (round(float(x), ONE_POINT), round(float(y), ONE_POINT))
            for x, y in (stroke.points[0], stroke.points[-1])
        )
        if pens.named(stroke.pen).passes % 2 == 0:
            loops.append((start, end))
        else:
            fixed.append((start, end))
    # Each loop may stand at either end of its stroke; the best choice is the bound.
    return min(
        _trails([*fixed, *((at, at) for at in chosen)]) for chosen in itertools.product(*loops)
    )


def _trails(edges: Iterable[tuple[Point, Point]]) -> int:
    graph = nx.MultiGraph()
    graph.add_edges_from(edges)
    parts = [graph.subgraph(points) for points in nx.connected_components(graph)]
    return sum(1 if nx.has_eulerian_path(part) else _odd_points(part) // 2 for part in parts)


def _odd_points(graph: nx.MultiGraph) -> int:
    return sum(degree % 2 for _, degree in graph.degree())


def drawn(*lines: Sequence[Point], pen: str = "lines") -> list[Stroke]:
    """Strokes through these points."""
    return [
        Stroke(f"stroke-{n}", "cross", pen, np.array(points, dtype=float))
        for n, points in enumerate(lines)
    ]


def lifts(strokes: Sequence[Stroke]) -> int:
    return route.shortest(strokes, PENS, (0.0, 0.0), PACE).lifts


A, B, C, D = (10.0, 10.0), (110.0, 10.0), (110.0, 110.0), (10.0, 110.0)
ROOF, MIDDLE = (60.0, 160.0), (60.0, 60.0)
DRAWINGS = {
    "an L-shaped corner": (drawn((A, B), (B, C)), 1),
    "an L with its strokes against each other": (drawn((B, A), (B, C)), 1),
    "a square of four lines": (drawn((A, B), (C, B), (C, D), (A, D)), 1),
    "a square with one diagonal": (drawn((A, B), (B, C), (C, D), (D, A), (A, C)), 1),
    "a square with both diagonals": (drawn((A, B), (B, C), (C, D), (D, A), (A, C), (B, D)), 2),
    "the envelope with its flap": (
        drawn((A, B), (B, C), (C, D), (D, A), (A, C), (B, D), (D, ROOF), (ROOF, C)),
        1,
    ),
    "three lines that meet": (drawn((A, MIDDLE), (MIDDLE, B), (C, MIDDLE)), 2),
    "four lines that meet": (drawn((A, MIDDLE), (MIDDLE, B), (C, MIDDLE), (D, MIDDLE)), 2),
    "a closed zero and a line apart": (drawn((A, B, C, A), ((200, 10), (200, 90))), 2),
    "two lines that only cross": (drawn((A, C), (B, D)), 2),
    "a corner whose line is drawn twice": (drawn((A, D), pen="heavy") + drawn((A, B)), 1),
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_small_enough_to_see_takes_eulers_number_of_lifts(name: str) -> None:
    strokes, by_hand = DRAWINGS[name]
    assert least_lifts(strokes, PENS) == by_hand
    assert lifts(strokes) == by_hand


_grid_points = st.tuples(st.integers(0, 3), st.integers(0, 3))
_random_strokes = st.lists(
    st.tuples(_grid_points, _grid_points, st.sampled_from(["lines", "heavy", "removable"])).filter(
        lambda stroke: stroke[0] != stroke[1]
    ),
    min_size=1,
    max_size=8,
)


@given(_random_strokes)
def test_no_route_takes_fewer_lifts_than_euler_allows(
    lines: list[tuple[tuple[int, int], tuple[int, int], str]],
) -> None:
    strokes = [
        Stroke(f"stroke-{n}", "cross", pen, 25.4 * np.array([start, end], dtype=float))
        for n, (start, end, pen) in enumerate(lines)
    ]
    assert lifts(strokes) >= least_lifts(strokes, PENS)


def bound(section: Section, job: Job) -> int:
    return least_lifts((piece.stroke for piece in section.pieces), job.pens)


@pytest.mark.parametrize("zone", ["plotter", "reach"])
def test_the_demo_takes_eulers_number_of_lifts_or_at_most_a_hundredth_more(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan, zone: str
) -> None:
    """A route is the shortest in time that is found, and a lift may be worth a shorter way."""
    plan = millrace_plan
    if zone == "reach":
        plan = divide_into_sections(millrace_layout, millrace, reach_zone(millrace.reach))
    least = {section.id: bound(section, millrace) for section in plan.sections}
    for section in plan.sections:
        assert section.route.lifts >= least[section.id], section.id
    taken = sum(section.route.lifts for section in plan.sections)
    assert taken <= 1.01 * sum(least.values())
