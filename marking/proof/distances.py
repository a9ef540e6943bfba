"""Which distances to measure on a finished cover, and how many.

Diagonals, long runs, triangles and a random sample always; then whatever most lessens the doubt
about where the lines lie, until a cover without any error can pass. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from marking.measures.ties import first_of_greatest
from marking.proof.distortion import WHOLE, distortion_of, line_errors, whole_rows
from marking.proof.forecast import fewest, forecast_proof, hindrance
from marking.proof.geometry import DistanceSheet, design, prior_sd
from marking.proof.outcome import SURE
from marking.proof.places import always_measured, choices

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.forecast import Hindrance, ProofForecast
    from marking.proof.places import Distance
    from marking.sections.plan import Plan

MOST = 300
"""More distances than this nobody measures on one cover; our own figure."""
_TELLS = 1 / 3
"""A section is told when the doubt about its lines is less than this share of the tolerance."""
_NEARLY = 1.5
"""Where no sheet can pass, the shortest that leaves no more than this times the doubt that the
longest does: it finds what is far off. Our own figure."""
_STRIDE = 8
"""Distances added before a sheet is tried again."""


@dataclass(frozen=True)
class ProofPlan(DistanceSheet):
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

    @property
    def worst_sd(self) -> float:
        """The largest standard deviation to expect of any line's error, in mm."""
        return float(self.forecast.doubt.max())

    def could_pass(self, tolerance: float) -> bool:
        """Whether a cover without any error passes on these distances often enough."""
        return self.forecast.can_pass(tolerance)


def plan_proof(
    layout: Layout,
    plan: Plan | None,
    tape: Tape,
    tolerance: float,
    units: Units,
    *,
    most: int | None = None,
    begun: Sequence[Distance] = (),
    seed: int = 1,
) -> ProofPlan:
    """The distances to measure with `tape` on the cover of `layout`.

    `layout` and `plan` are the cover as it lies when measured: on one drawn slack, before it is
    stretched. `most` distances; by default the fewest on which a cover without any error can
    pass. Nothing is taken for granted of a section but that it lies within a hand's push of its
    place. Those `begun`, of an earlier sheet, come first and keep their names; the same `seed`
    gives the same sample, and more distances begin with those that fewer would be.
    """
    model = distortion_of(layout, plan)
    always = always_measured(layout, units, np.random.default_rng(seed))
    fixed = _joined(begun, always)
    pool = _joined(fixed, choices(layout, model.patches, units))
    search = _Search(model, pool, tape, len(fixed))
    enough, hinders = None, None
    if most is None:
        enough = _fewest(search, len(always), tolerance)
        if enough is None:
            hinders = hindrance(model, search.taken, tape, tolerance)
    count = most or enough or search.nearly()
    search.add(count - len(search.picked))
    # Two digits however many there are: a longer sheet keeps the names of a shorter one.
    named = tuple(replace(one, id=f"p{k:02}") for k, one in enumerate(search.taken[:count], 1))
    forecast = forecast_proof(model, named, tape)
    doubted = line_errors(model).patch[forecast.doubt > _TELLS * tolerance]
    whole = whole_rows(model)
    told = np.sqrt(np.maximum(((whole @ forecast.covariance) * whole).sum(axis=1), 0.0))
    return ProofPlan(
        named,
        model,
        dict(zip(WHOLE, told.tolist(), strict=True)),
        tuple(model.patches[n].id for n in sorted(set(doubted.tolist())) if n >= 0),
        forecast,
        enough,
        hinders,
    )


def _fewest(search: _Search, least: int, tolerance: float) -> int | None:
    """How many distances, `least` or more, can pass; None if no number up to `MOST` can."""
    while len(search.picked) < MOST and search.add(min(_STRIDE, MOST - len(search.picked))):
        if len(search.picked) >= least and SURE * search.worst_sd <= tolerance:
            enough = fewest(search.model, search.taken, search.tape, tolerance)
            if enough is not None:
                return max(enough, least)
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

    def __init__(self, model: Distortion, pool: Sequence[Distance], tape: Tape, fixed: int) -> None:
        """The first `fixed` of the pool are taken as they come."""
        self.model, self.tape = model, tape
        self._pool = pool
        self._rows, self._sd = design(model, pool, tape)
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
        for n in range(count, min(count + more, len(self._sd))):
            self._take(n if n < self._fixed else self._best())
        return len(self.picked) > count

    def _best(self) -> int:
        """The one that most lessens the doubt about all lines, the most doubtful above all."""
        weight = np.maximum(self._variance, 0.0) ** 2
        gain = weight @ self._told**2 / (self._spread + self._sd**2)
        gain[self.picked] = -1.0
        return first_of_greatest(gain)

    def _take(self, one: int) -> None:
        """Counts on one more distance."""
        spread = float(self._spread[one] + self._sd[one] ** 2)
        reach, told = self._reach[:, one] / spread, self._told[:, one] / spread
        shared = self._rows @ self._reach[:, one]
        self._variance -= told * self._told[:, one]
        self._told -= np.outer(told, shared)
        self._reach -= np.outer(reach, shared)
        self._spread -= shared**2 / spread
        self.picked.append(one)
        self._worst.append(self.worst_sd)
