"""Plans of marks and readings for the demo bench, what they cost and what they hold.

`python -m tests.ways.plans` prints the table. A plan is built by rule from a division's windows and
nothing else. Marks stand at the nodes of the strips where windows overlap: the strip between two
columns and the strip between two rows, plus one line of nodes inside each outer edge; a node inside
is read by four sections. Ink of a neighbour is read a little beyond the join, on the neighbour's
side, where both devices reach: ticks with the removable pen, or crossings where there are any.

What was found, with the errors of `Errors`, which are our own assumptions:
- Four readings a section are the least that name a 3 mm slip in any of them: two marks on its far
  side and two points of its neighbour's ink, at both ends of the join. Marks at every node then
  serve; one missing leaves a reading alone in its corner, where only 4.5 mm is named.
- Against a fence, marks at both ends of each row do; a reading at the far end of a join, away from
  the rail, is worth most where neighbours must be right.
- Lines ruled by hand hold 1/32 in between neighbours only if no end is ever more than 0.2 mm off;
  with a standard deviation of 0.25 mm two neighbours differ by 1.35 mm somewhere on the cover.
- A rail of 8 ft needs a mark and two readings of ink where it overlaps itself, in every row.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

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


class Division(Struct, frozen=True):
    """Sections as they were cut, in inking order, and what the device does in them."""

    sections: tuple[Section, ...]
    drawn: tuple[tuple[float, float, int], ...]
    """Of each section: ink, travel, mm, and lifts."""

    def rows(self, *rows: int) -> Division:
        """The same of these rows only."""
        kept = [i for i, s in enumerate(self.sections) if s.row in rows]
        return Division(tuple(self.sections[i] for i in kept), tuple(self.drawn[i] for i in kept))


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
        tuple((p["ink_mm"], p["travel_mm"], p["lifts"]) for p in parts),
    )


def _strips(spans: Iterable[tuple[float, float]], least: float, most: float) -> list[float]:
    """The middle of each overlap of neighbouring windows, and a place inside each outer one."""
    each = sorted(set(spans))
    between = [(a[1] + b[0]) / 2 for a, b in pairwise(each)]
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
    return all(a[1] > b[0] for a, b in pairwise(spans))


def _in(section: Section, at: tuple[float, float]) -> bool:
    x0, y0, x1, y1 = section.window
    return x0 <= at[0] <= x1 and y0 <= at[1] <= y1


def _spread(low: float, high: float, count: int, lone: float) -> list[float]:
    """`count` places, as far apart as they can be with 20 mm left at either end; one: at `lone`."""
    share = np.array([lone]) if count == 1 else np.linspace(0, 1, count)
    return list(low + 20 + share * (high - low - 40))


class Rule(Struct, frozen=True):
    """How marks and readings are chosen: counts may depend on the section."""

    marks: Callable[[Node, int, int], bool]
    """Of node, last column strip, last row strip."""
    reads: Callable[[Section], int]
    """At most so many tape marks and node ticks each, those farthest apart."""
    left: Callable[[Section], int]
    below: Callable[[Section], int]
    far_side: bool = False
    """Of a section with ink on its zero side, only marks on its other side are read."""
    twice: Callable[[Section], bool] = lambda _: False
    """Whether each tape mark there is read a second time."""
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
        if rule.far_side and (s.row, s.column - 1) in where:
            seen = [(r, at) for r, at in seen if at[0] > s.centre[0]]
        chosen = _farthest(seen, rule.reads(s), s.centre)
        readings += chosen * 2 if rule.twice(s) else chosen
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
        seen = sorted((m.at[0], i) for i, m in enumerate(marks) if any(_in(s, m.at) for s in here))
        tie = (seen[0][1], seen[-1][1]) if len(seen) > 1 else None
        clampings.append(Clamping(x0, max(s.window[2] for s in here), tie))
        for s in here:
            out[s.id] = replace(s, fence=len(clampings) - 1)
        todo = todo[len(here) :]
    return [out[s.id] or s for s in sections]


class Pace(Struct, frozen=True):
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


def hours(plan: Plan, drawn: Division, pace: Pace, *, large: bool = False) -> tuple[float, float]:
    """Person-hours and clock-hours, practice aside, all drawing watched by one person.

    `large`: two people set the device down; else one works alone and a second comes for the proof.
    The scrap check and ten proof distances are in it. A mark in the outermost column or row of
    nodes is set with the tape lying along the edge.
    """
    outer = [min(m.at[a] for m in plan.marks) for a in (0, 1)]
    outer += [max(m.at[a] for m in plan.marks) for a in (0, 1)]
    on_edge = sum(
        m.at[0] in (outer[0], outer[2]) or m.at[1] in (outer[1], outer[3]) for m in plan.marks
    )
    fenced = sum(s.fence is not None for s in plan.sections)
    alone = (
        pace.base
        + pace.trial
        + pace.mark_on_edge * on_edge
        + pace.mark * (len(plan.marks) - on_edge)
        + pace.reading * len(plan.readings)
        + pace.ruling * plan.rulings
        + pace.fence_moved * len(plan.clampings)
    )
    each = pace.set_down_by_two if large else pace.set_down
    down = each * (len(plan.sections) - fenced) + pace.set_down_fence * fenced
    proof = pace.proof * pace.proofs
    ink, travel, lifts = np.sum(drawn.drawn, axis=0)
    drawing = ink / pace.draw + travel / pace.travel + lifts * pace.lift
    person = alone + (2 if large else 1) * down + 2 * proof + drawing
    return float(person / 3600), float((alone + down + proof + drawing) / 3600)


def told(
    plan: Plan, errors: Errors, covers: int = 200, seed: int = 1, follow: float = 0.0
) -> tuple[dict[str, float], float]:
    """The 95 % figures of `covers` simulated covers, and the least slip surely named, mm."""
    rng = np.random.default_rng(seed)
    adjustment = Adjustment(plan, errors, follow=follow)
    cover = marked(plan, errors, covers, rng, adjustment, figures.points(plan))
    slip = max(adjustment.least_slips(), default=math.nan)
    return figures.told(figures.figures(cover, errors, rng)), slip


def _each(count: int) -> Callable[[Section], int]:
    return lambda _: count


def _at_ends(count: int, last: int) -> Callable[[Section], int]:
    return lambda s: count if s.column in (1, last) else 0


OURS = Errors()
RAIL = 3900.0
"""mm: a rail over the whole length, so that one clamping serves a row."""

_everywhere = Rule(lambda *_: True, _each(4), _each(2), _each(0), far_side=True)


def _all_or_two(s: Section) -> int:
    """Four marks where nothing is inked on the zero side; else two, on the far side."""
    return 4 if s.column == 1 else 2


class Way(Struct, frozen=True):
    """A named plan with how far its sections follow their neighbours."""

    name: str
    plan: Plan
    drawn: Division
    follow: float = 0.5
    large: bool = False
    errors: Errors = OURS


def ways() -> list[Way]:
    """The plans found for the demo bench, two for each way: limits by tolerance, and as allowed."""
    a3, large = division("flatbed-a3"), division("flatbed-24x36")
    bands = a3.rows(1, 7)
    chained = replace(_everywhere, reads=_all_or_two)

    def ends(node: Node, last_column: int, _: int) -> bool:
        return node[0] in (0, last_column)

    def half(node: Node, last_column: int, _: int) -> bool:
        return sum(node) % 2 == 0 or node[0] in (0, last_column)

    fenced = Rule(ends, _each(4), _each(0), _at_ends(2, 10), lone=1.0)
    fenced_allowed = replace(fenced, left=lambda s: int(s.row in (1, 4)), below=_at_ends(1, 10))
    short = replace(
        fenced,
        marks=lambda node, last, _: node[0] in (0, 6, last),
        left=lambda s: 2 * (s.column == 7),
        below=_at_ends(1, 10),
    )
    banded = Rule(ends, _each(2), lambda s: s.column % 2, _each(0), lone=1.0)
    large_fenced = Rule(
        ends, _each(4), _each(0), _at_ends(2, 7), lone=1.0, twice=lambda s: s.column in (1, 7)
    )

    def poorly_checked(s: Section) -> bool:
        return s.id in ("r1c1", "r2c1", "r1c7")

    on_a3 = [
        Way("A3, tolerance", plan(a3, chained), a3, 0.3),
        Way(
            "A3, allowed",
            plan(a3, replace(chained, below=lambda s: (s.row + s.column) % 2, lone=0.0)),
            a3,
            0.3,
        ),
        Way("A3 fence, tolerance", plan(a3, fenced, fence=RAIL), a3),
        Way("A3 fence, allowed", plan(a3, fenced_allowed, fence=RAIL), a3),
        Way("A3 fence of 8 ft, allowed", plan(a3, short, fence=8 * 12 * INCH), a3, 0.6),
    ]
    ruled = plan(bands, banded, fence=RAIL, ruled=True)
    on_a3 += [
        Way(f"A3 bands, fence, ruled {about}", ruled, bands, 0.5, False, errors)
        for about, errors in (
            ("0.25 normal", Errors()),
            ("within 0.3", Errors(ruled_most=0.3)),
            ("within 0.2", Errors(ruled_most=0.2)),
        )
    ]
    return [
        *on_a3,
        Way("24 x 36, tolerance", plan(large, chained), large, 0.5, True),
        Way(
            "24 x 36, allowed",
            plan(large, Rule(half, _each(4), _each(2), _each(0))),
            large,
            0.6,
            True,
        ),
        Way("24 x 36 fence, tolerance", plan(large, large_fenced, fence=RAIL), large, 0.5, True),
        Way(
            "24 x 36 fence, allowed",
            plan(
                large,
                replace(
                    large_fenced,
                    left=_each(1),
                    below=_each(0),
                    twice=poorly_checked,
                ),
                fence=RAIL,
            ),
            large,
            0.5,
            True,
        ),
    ]


def main(covers: int = 400) -> None:
    """Print the table."""
    head = " ".join(f"{name:>12s}" for name in figures.NAMES)
    print(f"{'way':36s} marks reads ruled  all {head}  slip  person clock")
    for way in ways():
        each, slip = told(way.plan, way.errors, covers, follow=way.follow)
        person, clock = hours(way.plan, way.drawn, Pace(), large=way.large)
        values = " ".join(f"{each[name]:12.2f}" for name in figures.NAMES)
        print(
            f"{way.name:36s} {len(way.plan.marks):5d} {len(way.plan.readings):5d} "
            f"{way.plan.rulings:5d} {way.plan.actions:4d} {values} {slip:5.1f}  "
            f"{person:6.1f} {clock:5.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
