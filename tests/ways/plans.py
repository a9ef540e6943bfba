"""Plans of marks and readings for the demo bench, what they cost and what they hold.

`python -m tests.ways.plans` prints the table. A plan is built by rule from a division's windows and
nothing else. Marks stand at the nodes of the strips where windows overlap: the strip between two
columns and the strip between two rows, plus one line of nodes inside each outer edge; a node inside
is read by four sections. Ink of a neighbour is read a little beyond the join, on the neighbour's
side, where both devices reach: ticks with the removable pen, or crossings where there are any.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tests.ways import figures
from tests.ways.adjustment import Adjustment
from tests.ways.cover_model import INCH, Clamping, Errors, Mark, Plan, Reading, Section, marked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

Node = tuple[int, int]
"""Column strip from the zero end, row strip from the near edge."""

_BEYOND = 2.0
"""mm beyond a join at which its ink is read: within the overlap of any two windows."""
_INSIDE = 6.0
"""mm inside the outermost windows at which the outer marks stand."""


@dataclass(frozen=True)
class Division:
    """Sections as they were cut, in inking order, and what the device does in them."""

    sections: tuple[Section, ...]
    ink_mm: float
    travel_mm: float
    lifts: int

    def rows(self, *rows: int) -> Division:
        """The same of these rows only; ink is left as it is and must be given anew."""
        return replace(self, sections=tuple(s for s in self.sections if s.row in rows))


def division(profile: str) -> Division:
    """The demo bench divided for a stock plotter, as `section --json` tells it."""
    job = """schema = 1
units = "in"
[table]
length = "150 in"
width = "64 in"
[hems]
depth = "8 in"
[plotter]
profile = "{}"
"""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "job.toml").write_text(job.format(profile))
        told = subprocess.run(
            [sys.executable, "-c", "from devices.commands import main; raise SystemExit(main())"]
            + ["section", "--job", folder, "--json"],
            check=True,
            capture_output=True,
            text=True,
        )
    parts = json.loads(told.stdout)["sections"]
    return Division(
        tuple(
            Section(p["id"], p["row"], p["column"], tuple(p["core"]), tuple(p["window"]))
            for p in parts
        ),
        sum(p["ink_mm"] for p in parts),
        sum(p["travel_mm"] for p in parts),
        sum(p["lifts"] for p in parts),
    )


def _strips(spans: Iterable[tuple[float, float]], least: float, most: float) -> list[float]:
    """The middle of each overlap of neighbouring windows, and a place inside each outer one."""
    each = sorted(set(spans))
    between = [(a[1] + b[0]) / 2 for a, b in zip(each, each[1:], strict=False)]
    return [max(each[0][0], least) + _INSIDE, *between, min(each[-1][1], most) - _INSIDE]


def nodes(sections: Sequence[Section]) -> dict[Node, tuple[float, float]]:
    """Where a mark may stand so that as many sections as can be read it."""
    rows = sorted({s.row for s in sections})
    xs = _strips(((s.window[0], s.window[2]) for s in sections), 0.0, 150 * INCH)
    out: dict[Node, tuple[float, float]] = {}
    ys = _strips(((s.window[1], s.window[3]) for s in sections), 0.0, 64 * INCH)
    if len(rows) == 2 and ys[1] > 0 and not _overlap(sections):
        first = next(s.window for s in sections if s.row == rows[0])
        last = next(s.window for s in sections if s.row == rows[1])
        ys = [ys[0], first[3] - _INSIDE, last[1] + _INSIDE, ys[-1]]
    for i, x in enumerate(xs):
        for j, y in enumerate(ys):
            out[i, j] = (x, y)
    return out


def _overlap(sections: Sequence[Section]) -> bool:
    spans = sorted({(s.window[1], s.window[3]) for s in sections})
    return all(a[1] > b[0] for a, b in zip(spans, spans[1:], strict=False))


def _in(section: Section, at: tuple[float, float]) -> bool:
    x0, y0, x1, y1 = section.window
    return x0 <= at[0] <= x1 and y0 <= at[1] <= y1


def _spread(low: float, high: float, count: int, lone: float) -> list[float]:
    """`count` places, as far apart as they can be with 20 mm left at either end; one: at `lone`."""
    share = np.array([lone]) if count == 1 else np.linspace(0, 1, count)
    return list(low + 20 + share * (high - low - 40))


@dataclass(frozen=True)
class Rule:
    """How marks and readings are chosen: counts may depend on the section."""

    marks: Callable[[Node, int, int], bool]
    """Of node, last column strip, last row strip."""
    reads: Callable[[Section], int]
    """At most so many tape marks and node ticks each, those farthest apart."""
    left: Callable[[Section], int]
    below: Callable[[Section], int]
    lone: float = 0.5
    """Where a single reading along a join lies, from its near or zero end (0) to the other (1)."""
    ticks: Callable[[Node, int, int], bool] = lambda *_: False
    """Nodes without a tape mark where the first device that reaches draws a tick for the others."""


def _farthest(
    at: list[tuple[Reading, tuple[float, float]]], count: int, centre: tuple[float, float]
) -> list[Reading]:
    """`count` of the readings, greedily farthest from those taken; the first from the centre."""
    left: list[tuple[Reading, tuple[float, float]]] = list(at)
    taken: list[tuple[Reading, tuple[float, float]]] = []
    while left and len(taken) < count:
        reference = [p for _, p in taken] or [centre]
        best = max(left, key=lambda m: min(math.dist(m[1], q) for q in reference))
        left.remove(best)
        taken.append(best)
    return [r for r, _ in sorted(taken, key=at.index)]


def plan(
    division: Division,
    rule: Rule,
    *,
    fence: float | None = None,
    ruled: bool = False,
) -> Plan:
    """The plan by `rule`; `fence` is a rail's length, mm, moved along and overlapping itself."""
    sections = list(division.sections)
    places = nodes(sections)
    last = max(i for i, _ in places), max(j for _, j in places)
    kept = [(n, at) for n, at in places.items() if rule.marks(n, *last)]
    marks = [Mark(at, n[1]) for n, at in kept]
    ticks = [at for n, at in places.items() if rule.ticks(n, *last) and not rule.marks(n, *last)]
    clampings: list[Clamping] = []
    if fence is not None:
        for row in sorted({s.row for s in sections}):
            sections = _clamped(sections, row, fence, marks, clampings)
    where = {(s.row, s.column): k for k, s in enumerate(sections)}
    readings: list[Reading] = []
    for k, s in enumerate(sections):
        seen = [(Reading(k, mark=i), m.at) for i, m in enumerate(marks) if _in(s, m.at)]
        for at in ticks:
            if _in(s, at):
                first = next(j for j, other in enumerate(sections) if _in(other, at))
                seen += [(Reading(k, of=first, at=at), at)] if first < k else []
        readings += _farthest(seen, rule.reads(s), s.centre)
        x0, y0, x1, _ = s.core
        if (left := where.get((s.row, s.column - 1))) is not None:
            ends = _spread(s.core[1], s.core[3], rule.left(s), rule.lone) if rule.left(s) else []
            readings += [Reading(k, of=left, at=(x0 - _BEYOND, y)) for y in ends]
        if (below := where.get((s.row - 1, s.column))) is not None and rule.below(s):
            ends = _spread(x0, x1, rule.below(s), rule.lone)
            readings += [Reading(k, of=below, at=(x, y0 - _BEYOND)) for x in ends]
    return Plan(sections, marks, readings, clampings, ruled=ruled)


def _clamped(
    sections: list[Section], row: int, fence: float, marks: list[Mark], clampings: list[Clamping]
) -> list[Section]:
    """The sections with those of `row` against clampings of the fence, which are added."""
    of_row = [s for s in sections if s.row == row]
    out = dict.fromkeys(s.id for s in sections)
    todo = list(of_row)
    while todo:
        x0 = todo[0].window[0]
        here = [s for s in todo if s.touches[1] <= x0 + fence]
        seen = sorted(
            (m.at[0], i) for i, m in enumerate(marks) if any(_in(s, m.at) for s in here)
        )
        tie = (seen[0][1], seen[-1][1]) if len(seen) > 1 else None
        clampings.append(Clamping(x0, max(s.window[2] for s in here), tie))
        for s in here:
            out[s.id] = replace(s, fence=len(clampings) - 1)
        todo = todo[len(here) :]
    return [out[s.id] or s for s in sections]


@dataclass(frozen=True)
class Pace:
    """Seconds a person takes for each act; our own assumptions."""

    mark_on_edge: float = 8
    mark: float = 80
    reading: float = 30
    set_down: float = 270
    set_down_fence: float = 120
    set_down_by_two: float = 300
    fence_moved: float = 900
    ruling: float = 80
    ruling_helped: float = 40
    base: float = 2400
    trial: float = 2700
    proof: float = 120
    proofs: int = 10
    draw: float = 45.0
    """mm/s."""
    travel: float = 400.0
    lift: float = 0.15


def hours(
    plan: Plan, drawn: Division, pace: Pace, *, large: bool = False, watched: float = 1.0
) -> tuple[float, float]:
    """Person-hours and clock-hours once used to it.

    `large`: two people set the device down, one watches. `watched`: which share of the drawing
    counts as the person's. Ten proof distances and the scrap check are in it. With two people the
    clock runs as long as one of them works.
    """
    fenced = sum(s.fence is not None for s in plan.sections)
    free = len(plan.sections) - fenced
    by_hand = (
        pace.base
        + pace.trial
        + pace.mark * len(plan.marks)
        + pace.reading * len(plan.readings)
        + pace.ruling * plan.rulings
        + pace.fence_moved * len(plan.clampings)
    )
    each_free = pace.set_down_by_two if large else pace.set_down
    down = each_free * free + pace.set_down_fence * fenced
    proof = pace.proof * pace.proofs
    drawing = (
        drawn.ink_mm / pace.draw + drawn.travel_mm / pace.travel + drawn.lifts * pace.lift
    )
    people = 2 if large else 1
    person = by_hand + people * down + 2 * proof + watched * drawing
    return person / 3600, (by_hand + down + proof + drawing) / 3600


def told(
    plan: Plan, errors: Errors, covers: int = 200, seed: int = 1
) -> tuple[dict[str, float], float]:
    """The 95 % figures of `covers` simulated covers, and the least slip surely named, mm."""
    rng = np.random.default_rng(seed)
    adjustment = Adjustment(plan, errors)
    cover = marked(plan, errors, covers, rng, adjustment, figures.points(plan))
    slip = max(adjustment.least_slips(), default=math.nan)
    return figures.told(figures.figures(cover, errors, rng)), slip
