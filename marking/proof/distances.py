"""Which distances to measure on a finished cover, and how many.

Ten always, which tell what the whole cover has done; then, where sections need them, whatever most
lessens the doubt about where the lines lie, until a cover without any error can pass. Where steps
are read at the joins, the ten are often enough. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from marking.measures.ties import first_of_greatest
from marking.proof.distortion import WHOLE, distortion_of, line_errors, whole_rows
from marking.proof.forecast import fewest, forecast_proof, hindrance
from marking.proof.geometry import DistanceSheet, observed, prior_sd
from marking.proof.limits import limit_rows
from marking.proof.outcome import SURE
from marking.proof.places import always_measured, choices

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.forecast import Hindrance, ProofForecast
    from marking.proof.limits import LimitName, LimitRows, Limits
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinStep
    from marking.sections.plan import Plan

MOST = 300
"""More distances than this nobody measures on one cover; our own figure."""
_TELLS = 1 / 3
"""A section is told when the doubt about its lines is less than this share of the tolerance."""
_NEARLY = 1.5
"""Where no sheet can pass, the shortest that leaves no more than this times the doubt that the
longest does: it finds what is far off. Our own figure."""
_HOPEFUL = 1.5
"""No sheet is tried while a line's doubt is more than this times the widest limit."""
_STRIDE = 8
"""Distances added before a sheet is tried again."""


class ProofPlan(DistanceSheet, frozen=True):
    """A sheet, and how well it will tell."""

    told: dict[str, float]
    """Standard deviation to expect of each of `WHOLE`, in mm."""
    untold: tuple[str, ...]
    """Sections whose lines these distances leave in doubt."""
    forecast: ProofForecast
    fewest: int | None
    """How many distances can pass a cover; None where no number up to `MOST` can, or where their
    number was given."""
    hindrance: Hindrance | None
    """Why none can, where that was found."""
    limits: Limits
    by_vernier: tuple[LimitName, ...]
    """Limits asked for that no tape can tell here, and verniers at the joins can; the sheet is for
    the others."""

    @property
    def worst_sd(self) -> float:
        """The largest standard deviation to expect of any line's error, in mm."""
        return float(self.forecast.doubt.max())

    def could_pass(self) -> bool:
        """Whether a cover without any error passes on this sheet often enough."""
        return self.forecast.can_pass and not self.by_vernier


def plan_proof(
    layout: Layout,
    plan: Plan | None,
    tape: Tape,
    limits: Limits,
    units: Units,
    *,
    most: int | None = None,
    begun: Sequence[Distance] = (),
    steps: Sequence[JoinStep] = (),
) -> ProofPlan:
    """The distances to measure with `tape` on the cover of `layout`, where `steps` are read too.

    `layout` and `plan` are the cover as it lies when measured: on one drawn slack, before it is
    stretched. `most` distances; by default the fewest on which a cover without any error can
    pass. Nothing is taken for granted of a section but that it lies within a hand's push of its
    place. Those `begun`, of an earlier sheet, come first and keep their names; more distances begin
    with those that fewer would be.
    """
    model = distortion_of(layout, plan)
    always = always_measured(layout, units)
    fixed = _joined(begun, always)
    pool = _joined(fixed, choices(layout, model.patches, units))
    search = _Search(model, pool, tape, len(fixed), steps)
    rows = limit_rows(model, limits)
    # What joins show to a 32nd no tape tells: the sheet is then for what it can tell.
    by_vernier = () if steps else _too_fine(model, pool, tape, rows)
    rows = tuple(one for one in rows if one.limit.name not in by_vernier)
    enough, hinders = None, None
    if most is None:
        enough = _fewest(search, len(always), rows)
        if enough is None:
            hinders = hindrance(model, search.taken, tape, rows, steps)
    count = most or enough or search.nearly()
    search.add(count - len(search.picked))
    # Two digits however many there are: a longer sheet keeps the names of a shorter one.
    named = tuple(replace(one, id=f"p{k:02}") for k, one in enumerate(search.taken[:count], 1))
    forecast = forecast_proof(model, named, tape, rows, steps)
    total = next(limit.allowed for limit in limits if limit.name == "total")
    doubted = line_errors(model).patch[forecast.doubt > _TELLS * total]
    whole = whole_rows(model)
    told = np.sqrt(np.maximum(((whole @ forecast.covariance) * whole).sum(axis=1), 0.0))
    return ProofPlan(
        named,
        model,
        tuple(steps),
        dict(zip(WHOLE, told.tolist(), strict=True)),
        tuple(model.patches[n].id for n in sorted(set(doubted.tolist())) if n >= 0),
        forecast,
        enough,
        hinders,
        limits,
        by_vernier,
    )


def _too_fine(
    model: Distortion, pool: Sequence[Distance], tape: Tape, rows: Sequence[LimitRows]
) -> tuple[LimitName, ...]:
    """Limits at a join, asked for, that not even every distance over it would show."""
    fine = [one for one in rows if one.limit.asked and one.limit.name in ("neighbours", "step")]
    if not fine:
        return ()
    hard = forecast_proof(model, _first(pool, MOST), tape, fine).hard
    return tuple(one.limit.name for one in fine if hard[one.limit.name] > 1.0)


def _first(pool: Sequence[Distance], most: int) -> list[Distance]:
    """Of a pool, those at the joins before all others."""
    return sorted(pool, key=lambda one: one.kind != "seam")[:most]


def _fewest(search: _Search, least: int, limits: Sequence[LimitRows]) -> int | None:
    """How many distances, `least` or more, can pass; None if no number up to `MOST` can."""
    hopeful = _HOPEFUL * max(one.limit.allowed for one in limits if one.limit.asked)
    search.add(least)
    while True:
        if SURE * search.worst_sd <= hopeful:
            enough = fewest(search.model, search.taken, search.tape, limits, search.steps)
            if enough is not None:
                return max(enough, least)
        count = len(search.picked)
        # Twice as many each time: the fewest are found among them by halving, however many.
        if count >= MOST or not search.add(min(max(_STRIDE, count), MOST - count)):
            return None


def _joined(*lists: Sequence[Distance]) -> list[Distance]:
    """Each distance once, from either end, in the order in which they come."""
    kept: dict[object, Distance] = {}
    for distance in (one for each in lists for one in each):
        kept.setdefault((frozenset(distance.ends), distance.thread), distance)
    return list(kept.values())


class _Search:
    """Which of a pool is measured so far, and what each of the rest would still tell.

    Every step is one rank of a least-squares update, so that a long sheet is found at once.
    """

    def __init__(
        self,
        model: Distortion,
        pool: Sequence[Distance],
        tape: Tape,
        fixed: int,
        steps: Sequence[JoinStep],
    ) -> None:
        """The first `fixed` of the pool are taken as they come, after all `steps`."""
        self.model, self.tape, self.steps = model, tape, steps
        self._pool = pool
        self._rows, self._sd = observed(model, pool, steps, tape)
        self._fixed = fixed
        self.picked: list[int] = []
        self._worst: list[float] = []
        prior = prior_sd(model) ** 2
        targets = np.pad(line_errors(model).rows, ((0, 0), (0, 2)))
        self._reach = prior[:, None] * self._rows.T
        """(unknowns, pool): covariance of the unknowns with what each distance would be."""
        self._told = targets @ self._reach
        self._variance = (targets**2) @ prior
        self._spread = (self._rows.T * self._reach).sum(axis=0)
        for n in range(len(steps)):
            self._count_on(len(pool) + n)

    @property
    def worst_sd(self) -> float:
        """The largest standard deviation to expect of any line's error, in mm."""
        return float(np.sqrt(max(float(self._variance.max()), 0.0)))

    def nearly(self) -> int:
        """How many of those picked leave hardly more doubt than all of them."""
        return 1 + next(n for n, sd in enumerate(self._worst) if sd <= _NEARLY * self._worst[-1])

    @property
    def taken(self) -> list[Distance]:
        """Those picked, in order."""
        return [self._pool[n] for n in self.picked]

    def add(self, more: int) -> bool:
        """Takes so many more; False when there was none left to take."""
        count = len(self.picked)
        for n in range(count, min(count + more, len(self._pool))):
            self._take(n if n < self._fixed else self._best())
        return len(self.picked) > count

    def _best(self) -> int:
        """The one that most lessens the doubt about all lines, the most doubtful above all."""
        weight = np.maximum(self._variance, 0.0) ** 2
        gain = weight @ self._told**2 / (self._spread + self._sd**2)
        gain[self.picked] = -1.0
        gain[len(self._pool) :] = -1.0
        return first_of_greatest(gain)

    def _take(self, one: int) -> None:
        """Counts on one more distance."""
        self._count_on(one)
        self.picked.append(one)
        self._worst.append(self.worst_sd)

    def _count_on(self, one: int) -> None:
        spread = float(self._spread[one] + self._sd[one] ** 2)
        reach, told = self._reach[:, one] / spread, self._told[:, one] / spread
        shared = self._rows @ self._reach[:, one]
        self._variance -= told * self._told[:, one]
        self._told -= np.outer(told, shared)
        self._reach -= np.outer(reach, shared)
        self._spread -= shared**2 / spread
