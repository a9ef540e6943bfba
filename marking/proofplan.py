"""Which distances to measure on a finished cover, so that each kind of error can be told apart.

Diagonals, long runs, triangles and a random sample always; then whatever most lessens the doubt
about where the lines lie. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.distortion import WHOLE, distortion_of, effect, line_errors, patch_at
from marking.lengths import format_length
from marking.tape import independent_sd, shared_sds
from marking.ties import first_of_greatest

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from marking.distortion import Distortion
    from marking.layout import Layout
    from marking.lengths import Units
    from marking.sections import Plan
    from marking.tape import Tape

    FloatArray = NDArray[np.float64]
    Point = tuple[float, float]

CheckKind = Literal["diagonal", "along", "across", "triangle", "seam", "thread"]
SURE = NormalDist().inv_cdf(0.975)
"""Standard deviations on either side that hold 95 of 100."""
_SAMPLE = 6
_TRIED = 3
"""Random places tried in each section for each kind of distance."""
_TELLS = 1 / 3
"""A section is told when the doubt about its lines is less than this share of the tolerance."""


@dataclass(frozen=True)
class Distance:
    """One thing to measure: between two crossings, or a line's offset from a taut thread."""

    id: str
    kind: CheckKind
    ends: tuple[Point, Point]
    between: tuple[str, str]
    """What stands at either end, as people call it."""
    thread: tuple[Point, Point] | None = None
    """Ends of the thread; `ends` is then the crossing twice, and plus is to the far edge."""

    @property
    def nominal(self) -> float:
        """What it should be on a true cover, in mm."""
        if self.thread is not None:
            return 0.0
        (ax, ay), (bx, by) = self.ends
        return float(np.hypot(bx - ax, by - ay))


@dataclass(frozen=True)
class ProofPlan:
    """What to measure, and how well it will tell."""

    distances: tuple[Distance, ...]
    model: Distortion
    told: dict[str, float]
    """Standard deviation to expect of each unknown of the whole cover, in mm."""
    untold: tuple[str, ...]
    """Sections whose lines these distances leave in doubt."""
    worst_sd: float
    """The largest standard deviation to expect of any line's error, in mm."""

    def could_pass(self, tolerance: float) -> bool:
        """Whether a cover without any error would pass on these distances."""
        return SURE * self.worst_sd <= tolerance


def plan_proof(
    layout: Layout,
    plan: Plan | None,
    tape: Tape,
    tolerance: float,
    units: Units,
    *,
    shift_sd: float | None = None,
    most: int | None = None,
    seed: int = 1,
) -> ProofPlan:
    """At most `most` distances to measure with `tape` on the cover of `layout`.

    `layout` and `plan` are the cover as it lies when measured: on one drawn slack, before it is
    stretched. By default two for each section, and at most 60. `shift_sd` is how well, in mm and
    one standard deviation, the placements say the sections were set; without it nothing is taken
    for granted but the tolerance, and a section passes only on what is measured in it. The same
    `seed` gives the same sample; more distances begin with those that fewer would be.
    """
    model = distortion_of(layout, plan, shift_sd if shift_sd is not None else tolerance)
    always, choices = _candidates(layout, model, units, np.random.default_rng(seed))
    most = most if most is not None else min(len(always) + 2 * len(model.patches), 60)
    pool = [*always, *choices]
    rows, sd = design(model, pool, tape)
    prior = np.diag(np.concatenate([model.prior_sd, [1.0, 1.0]]) ** 2)
    errors = line_errors(model)
    targets = np.pad(errors.rows, ((0, 0), (0, 2)))
    picked = list(range(min(len(always), most)))
    after = _after(prior, rows[picked], sd[picked])
    while len(picked) < min(most, len(pool)):
        gain = ((targets @ (after @ rows.T)) ** 2).sum(axis=0)
        gain /= sd**2 + ((rows @ after) * rows).sum(axis=1)
        gain[picked] = -1.0
        best = first_of_greatest(gain)
        picked.append(best)
        after = _after(after, rows[[best]], sd[[best]])
    # Two digits however many there are: a longer sheet keeps the names of a shorter one.
    named = tuple(_renamed(pool[n], f"p{k:02}") for k, n in enumerate(picked, 1))
    doubt = np.sqrt(np.maximum(((targets @ after) * targets).sum(axis=1), 0.0))
    told = np.sqrt(np.maximum(np.diag(after)[: len(WHOLE)], 0.0))
    doubted = sorted(set(errors.patch[doubt > _TELLS * tolerance].tolist()))
    return ProofPlan(
        named,
        model,
        dict(zip(WHOLE, told.tolist(), strict=True)),
        tuple(model.patches[n].id for n in doubted if n >= 0),
        float(doubt.max()),
    )


def design(
    model: Distortion,
    distances: Sequence[Distance],
    tape: Tape,
    unknowns: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray]:
    """(m, unknowns + 2) derivatives of each distance, the last two the tape's; and (m,) its sd.

    Taken at `unknowns`, or on the true cover.
    """
    moved = _ends_effect(model, distances)
    rows = np.zeros((len(distances), model.count + 2))
    ends = np.array([distance.ends for distance in distances])
    at = unknowns if unknowns is not None else np.zeros(model.count)
    run = ends[:, 1] - ends[:, 0] + (moved[:, 1] - moved[:, 0]) @ at
    threads = np.array([distance.thread is not None for distance in distances])
    length = np.hypot(run[:, 0], run[:, 1])
    unit = run / np.where(threads, 1.0, length)[:, None]
    rows[:, : model.count] = np.einsum("ij,ijk->ik", unit, moved[:, 1] - moved[:, 0])
    for n in np.flatnonzero(threads).tolist():
        rows[n, : model.count] = _thread_row(model, distances[n])
    nominal = np.array([distance.nominal for distance in distances])
    rows[:, model.count :] = shared_sds(nominal, tape).T
    return rows, independent_sd(nominal, tape)


def computed(model: Distortion, distances: Sequence[Distance], unknowns: FloatArray) -> FloatArray:
    """(m,) what each distance would be, in mm, on a cover with these unknowns."""
    moved = _ends_effect(model, distances)
    ends = np.array([distance.ends for distance in distances])
    run = ends[:, 1] - ends[:, 0] + (moved[:, 1] - moved[:, 0]) @ unknowns
    lengths: FloatArray = np.hypot(run[:, 0], run[:, 1])
    for n, distance in enumerate(distances):
        if distance.thread is not None:
            lengths[n] = _thread_row(model, distance) @ unknowns
    return lengths


def _ends_effect(model: Distortion, distances: Sequence[Distance]) -> FloatArray:
    """(m, 2 ends, 2, unknowns)."""
    points = np.array([end for distance in distances for end in distance.ends])
    patches = np.array([patch_at(model, (float(x), float(y))) for x, y in points])
    return effect(model, points, patches).reshape(len(distances), 2, 2, model.count)


def _thread_row(model: Distortion, distance: Distance) -> FloatArray:
    """How far the crossing lies across the table from the thread between the line's ends."""
    assert distance.thread is not None
    (x, y), (first, last) = distance.ends[0], distance.thread
    points = np.array([(x, y), first, last])
    patches = np.array([patch_at(model, (float(px), float(py))) for px, py in points])
    own, start, end = effect(model, points, patches)[:, 1]
    share = (x - first[0]) / (last[0] - first[0])
    row: FloatArray = own - (1 - share) * start - share * end
    return row


def _after(before: FloatArray, rows: FloatArray, sd: FloatArray) -> FloatArray:
    """Covariance of the unknowns once `rows` are measured."""
    gain = before @ rows.T
    after: FloatArray = before - gain @ np.linalg.solve(rows @ gain + np.diag(sd**2), gain.T)
    return after


def _renamed(distance: Distance, name: str) -> Distance:
    return Distance(name, distance.kind, distance.ends, distance.between, distance.thread)


def _candidates(
    layout: Layout, model: Distortion, units: Units, rng: np.random.Generator
) -> tuple[list[Distance], list[Distance]]:
    """Those always measured, and those to choose from."""
    places = _Places(layout, units)
    last, top = len(places.xs) - 1, len(places.ys) - 1
    corner = places.crossing
    slope = min(last, round((places.ys[-1] - places.ys[0]) * 4 / 3 / layout.grid.pitch[0]))
    always = [
        places.distance("diagonal", corner(0, 0), corner(last, top)),
        places.distance("diagonal", corner(0, top), corner(last, 0)),
        places.distance("along", corner(0, 0), corner(last, 0)),
        places.distance("along", corner(0, top), corner(last, top)),
        places.distance("across", corner(0, 0), corner(0, top)),
        places.distance("across", corner(last, 0), corner(last, top)),
        places.distance("across", corner(last // 2, 0), corner(last // 2, top)),
        places.distance("triangle", corner(0, top), corner(slope, 0)),
        places.distance("triangle", corner(last, top), corner(last - slope, 0)),
        places.distance("along", corner(0, 0), corner(last // 2, 0)),
        places.thread(0, last // 2),
        places.thread(top, last // 2),
    ]
    for _ in range(_SAMPLE):
        level = places.level(float(rng.uniform(places.ys[0], places.ys[-1])))
        column = int(rng.integers(1, last + 1))
        always.append(places.distance("along", (0, level), (column, level)))
    choices: list[Distance] = []
    for patch in model.patches:
        inside = np.flatnonzero((places.xs >= patch.core[0]) & (places.xs <= patch.core[2]))
        lines = np.flatnonzero((places.ys >= patch.core[1]) & (places.ys <= patch.core[3]))
        if not inside.size:
            continue
        for _ in range(_TRIED):
            column = int(rng.choice(inside))
            level = places.level(float(rng.uniform(patch.core[1], patch.core[3])))
            start = 0 if column > last // 3 else last
            choices.append(places.distance("along", (start, level), (column, level)))
            choices += _to_long_lines(places, column, lines, rng)
        choices += _over_seam(places, patch.core, int(inside[-1]), rng)
    seen = {distance.ends for distance in always}
    return _distinct(always), [d for d in _distinct(choices) if d.thread or d.ends not in seen]


def _to_long_lines(
    places: _Places, column: int, lines: NDArray[np.int64], rng: np.random.Generator
) -> Iterator[Distance]:
    """Across the table to a long line of the section, askew to it, and from a thread on it."""
    if not lines.size:
        return
    row, last, top = int(rng.choice(lines)), len(places.xs) - 1, len(places.ys) - 1
    other = top if row <= top // 2 else 0
    askew = int(rng.integers(0, last + 1))
    yield places.distance("across", places.crossing(column, row), places.crossing(column, other))
    yield places.distance("triangle", places.crossing(column, row), places.crossing(askew, other))
    if 0 < column < last:
        yield places.thread(row, column)


def _over_seam(
    places: _Places, core: tuple[float, float, float, float], column: int, rng: np.random.Generator
) -> Iterator[Distance]:
    """From the last cross line before a seam to the first after it."""
    if column + 1 < len(places.xs):
        level = places.level(float(rng.uniform(core[1], core[3])))
        yield places.distance("seam", (column, level), (column + 1, level))


def _distinct(distances: Sequence[Distance]) -> list[Distance]:
    kept = {(d.ends, d.thread): d for d in distances if d.thread is not None or d.nominal > 0}
    return list(kept.values())


class _Places:
    """The places on a cover that a tape can be held to, and their names."""

    def __init__(self, layout: Layout, units: Units) -> None:
        self.xs = layout.grid.cross_x
        self.ys = np.array([line.y for line in layout.grid.long_lines])
        self._pitch = layout.grid.pitch[1]
        self._units = units

    def crossing(self, column: int, row: int) -> tuple[int, float]:
        """The crossing of a cross line with a long line."""
        return column, float(self.ys[row])

    def level(self, y: float) -> float:
        """A whole number of pitches off the near long line, near `y`."""
        level = float(self.ys[0]) + round((y - float(self.ys[0])) / self._pitch) * self._pitch
        return min(max(level, float(self.ys[0])), float(self.ys[-1]))

    def distance(
        self, kind: CheckKind, start: tuple[int, float], end: tuple[int, float]
    ) -> Distance:
        """Between two places, each a cross line and a height."""
        ends = tuple((float(self.xs[column]), y) for column, y in (start, end))
        names = self._name(*start), self._name(*end)
        return Distance("", kind, (ends[0], ends[1]), names)

    def thread(self, row: int, column: int) -> Distance:
        """Where a long line lies beside a thread drawn between its two ends."""
        y, point = float(self.ys[row]), (float(self.xs[column]), float(self.ys[row]))
        ends = (float(self.xs[0]), y), (float(self.xs[-1]), y)
        name = self._name(column, y)
        return Distance("", "thread", (point, point), (name, "thread"), ends)

    def _name(self, column: int, y: float) -> str:
        if y == self.ys[0]:
            return f"{column} near"
        if y == self.ys[-1]:
            return f"{column} far"
        up, down = y - float(self.ys[0]), float(self.ys[-1]) - y
        pitches = up / self._pitch
        if abs(pitches - round(pitches)) < 1e-6:
            return f"{column} at {format_length(up, self._units)} up"
        return f"{column} at {format_length(down, self._units)} down"
