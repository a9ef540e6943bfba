"""No job that can be divided is refused, and none is divided into more sections than it needs.

What can be done is found by trying all (`fewest_parts.py`), from the rules and the JSON alone.
`python -m tests.benchmarks.sections 5000` holds more jobs against it; here are a score, and those
that were once refused or divided badly.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from marking.layout.layout import lay_out
from marking.sections import route
from marking.sections.joins import axis, choose, least_parts
from marking.sections.plan import divide_into_sections
from tests.benchmarks.sections import faults, search
from tests.sections.fewest_parts import NEVER, Line, parts, rows_by_arm

if TYPE_CHECKING:
    from pathlib import Path

    from marking.sections.joins import Axis
    from tests.conftest import MakeJob

BENCH_60 = {"length": "144 in", "width": "60 in"}
NAMED: dict[str, tuple[dict[str, Any], int]] = {
    "a last half pitch before a hem band": (
        {"table": {"length": "60 in", "width": "58 1/2 in"}, "plotter": {"profile": "flatbed-a3"}},
        24,
    ),
    "a large bed that is turned": (
        {
            "table": {"length": "150 in", "width": "64 in"},
            "plotter": {"profile": "flatbed-24x36"},
        },
        14,
    ),
    "a small bed that is turned": (
        {"table": BENCH_60, "plotter": {"profile": "flatbed-a4"}},
        144,
    ),
    "fine lines at a fine pitch beside a few heavy ones": (
        {
            "table": {"length": "30 in", "width": "24 in"},
            "grid": {"pitch": "3.5 mm"},
            "hems": {"depth": "2 in", "folds": []},
            "numerals": {"every": 10},
            "pens": {
                "lines": {"slot": 1, "width": "0.4 mm"},
                "heavy": {"slot": 1, "width": "2 mm"},
            },
            "plotter": {"profile": "flatbed-a3"},
        },
        NEVER,
    ),
    "numerals as wide as two lines stand apart": (
        {
            "table": {"length": "171 in", "width": "64 in"},
            "grid": {"margin": "1 1/4 in"},
            "numerals": {"every": 2, "clear": "1/16 in"},
            "plotter": {"profile": "flatbed-a3"},
        },
        NEVER,
    ),
}
WITH = {"reach": {"depth": "30 in", "span": "48 in"}, "projector": {"profile": "ceiling-1080p"}}


@pytest.fixture
def unrouted(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pen's way inside a section changes no division, and takes most of the time."""
    monkeypatch.setattr(route, "shortest", lambda *_: route.Route((), 0, 0.0, 0.0))


@pytest.mark.usefixtures("unrouted")
def test_no_random_job_is_refused_wrongly_or_divided_into_more_than_trying_all_finds(
    tmp_path: Path,
) -> None:
    good, found = search(25, 20, tmp_path)
    assert found == []
    assert sum(good.values()) == 3 * 25


@pytest.mark.usefixtures("unrouted")
@pytest.mark.parametrize("named", NAMED)
def test_a_job_once_refused_or_divided_badly_has_the_fewest_sections(
    make_job: MakeJob, tmp_path: Path, named: str
) -> None:
    tables, at_most = NAMED[named]
    assert [fault for _, fault in faults({**WITH, **tables}, tmp_path)] == ["", "", ""]
    job = make_job(tables)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    assert len(plan.sections) <= at_most
    assert plan.bound[0] <= plan.columns
    assert plan.bound[1] <= plan.rows


@st.composite
def lines_by_lot(draw: st.DrawFn) -> tuple[Axis, float]:
    """A few lines of different ink at uneven places, and a bed that may be too small for them."""
    gaps = draw(st.lists(st.integers(3, 60), min_size=2, max_size=5))
    places = np.cumsum([10.0, *gaps]).tolist()
    lines = [(at, draw(st.sampled_from([0.2, 0.5, 1.2]))) for at in places]
    boxes = [(at - 2.0, at + 1.9) for at in places[:: draw(st.integers(1, 3))]]
    ticks = draw(st.booleans())
    start, end = places[0] - draw(st.integers(0, 9)), places[-1] + draw(st.integers(0, 9))
    pitch = draw(st.sampled_from([25.0, 60.0]))
    marked = places[:: draw(st.integers(1, 2))]
    along = axis((start, end), lines, pitch, marked, [] if ticks else boxes, ticks_between=ticks)
    return along, float(draw(st.integers(5, math.ceil(end - start) + 5)))


def fewest_of_every_choice(along: Axis, size: float) -> tuple[int, float] | None:
    """Fewest parts, and their least sum of squared lengths, of every choice of plain places."""
    for count in range(len(along.plain) + 1):
        squares = []
        for chosen in itertools.combinations(along.plain, count):
            edges = [along.start, *chosen, along.end]
            needed = [along.start, *(along.join(at, near=False).behind for at in chosen)]
            if all(end - need <= size for need, end in zip(needed, edges[1:], strict=True)):
                squares.append(sum((b - a) ** 2 for a, b in itertools.pairwise(edges)))
        if squares:
            return count + 1, min(squares)
    return None


@settings(max_examples=80)
@given(case=lines_by_lot())
def test_joins_lie_midway_and_evenly_where_that_takes_no_more_of_them(
    case: tuple[Axis, float],
) -> None:
    along, size = case
    picked, plain = choose(along, size), fewest_of_every_choice(along, size)
    if picked is None:
        assert plain is None
        return
    edges = [along.start, *(join.at for join in picked), along.end]
    needed = [along.start, *(join.behind for join in picked)]
    assert all(end - need <= size + 1e-6 for need, end in zip(needed, edges[1:], strict=True))
    assert least_parts(along, size) <= len(picked) + 1
    assert plain is None or len(picked) + 1 <= plain[0]
    if plain is not None and len(picked) + 1 == plain[0]:
        squares = sum((b - a) ** 2 for a, b in itertools.pairwise(edges))
        assert squares == pytest.approx(plain[1])


@settings(max_examples=60)
@given(
    places=st.lists(st.integers(1, 60), min_size=1, max_size=5, unique=True),
    back=st.integers(0, 9),
    size=st.integers(3, 60),
    depth=st.integers(5, 60),
)
def test_trying_all_finds_what_every_choice_finds(
    places: list[int], back: int, size: int, depth: int
) -> None:
    """The reckoning that the program is held against, against plain enumeration."""
    places.sort()
    line = Line(0.0, 61.0, np.array(places, float), np.array(places, float) - back)

    def held(chosen: tuple[int, ...], first: float = 0.0, last: float = 61.0) -> bool:
        needed, ends = [first, *(at - back for at in chosen)], [*chosen, last]
        return all(end - need <= size for need, end in zip(needed, ends, strict=True))

    def choices(among: list[int]) -> list[tuple[int, ...]]:
        return [c for n in range(len(among) + 1) for c in itertools.combinations(among, n)]

    counts = [len(c) + 1 for c in choices(places) if held(c)]
    assert parts(line, size) == min(counts, default=0)

    far_from = 62.0 - depth
    rows = [
        len(low) + len(high) + 2
        for at in places
        if far_from <= at <= depth
        for low in choices([p for p in places if p < at])
        if held(low, last=at)
        for high in choices([p for p in places if p > at])
        if held(high, first=at - back if at - back >= far_from else at)
    ]
    if rows and depth < line.end:
        assert rows_by_arm(line, 62.0, depth, size) == min(rows)
