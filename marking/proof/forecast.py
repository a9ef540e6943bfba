"""What a sheet of distances would say of a cover without any error, and what hinders it.

The cover is measured many times over in imagination, with the tape's errors and no others. It
chooses no distance. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from marking.least_squares.linear import believed
from marking.measures.tape import compared_to
from marking.measures.ties import first_of_greatest
from marking.proof.distortion import line_errors
from marking.proof.geometry import design, prior_sd
from marking.proof.outcome import SURE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.places import Distance

OFTEN = 0.5
"""A sheet can pass a cover when one without any error passes on it at least so often."""
_DRAWS, _SEED = 400, 15


@dataclass(frozen=True)
class ProofForecast:
    """What distances tell of a cover, and what they say of one without any error."""

    covariance: FloatArray
    """(unknowns, unknowns) to expect, without the tape's own."""
    doubt: FloatArray
    """(q,): standard deviation to expect of each line's error."""
    limits: FloatArray
    """(draws,): how far off some line might still lie, by each imagined measuring, lowest first."""
    by_tape: float
    """mm, one standard deviation at the most doubtful line: what the tape's own length leaves."""
    by_reading: float
    """mm, likewise: what reading and holding the tape leave."""

    def chance(self, tolerance: float) -> float:
        """How often a cover without any error passes."""
        return float((self.limits <= tolerance).mean())

    def can_pass(self, tolerance: float) -> bool:
        """Whether that is often enough to ask anybody to measure."""
        return self.chance(tolerance) >= OFTEN

    @property
    def tolerance(self) -> float:
        """The least tolerance that it can pass, in mm."""
        return float(np.quantile(self.limits, OFTEN))


def forecast_proof(model: Distortion, distances: Sequence[Distance], tape: Tape) -> ProofForecast:
    """What `distances` measured with `tape` will tell."""
    rows, sd = design(model, distances, tape)
    found, count = believed(rows, prior_sd(model), sd), model.count
    carried, covariance = found.carried[:count], found.covariance[:count, :count]
    lines = line_errors(model).rows
    doubt = np.sqrt(np.maximum(((lines @ covariance) * lines).sum(axis=1), 0.0))
    moved = lines @ carried
    shared = moved @ rows[:, count:]
    rng = np.random.default_rng(_SEED)
    errors = rng.standard_normal((_DRAWS, len(sd))) @ (moved * sd).T
    errors += rng.standard_normal((_DRAWS, 2)) @ shared.T
    worst = first_of_greatest(doubt)
    return ProofForecast(
        covariance,
        doubt,
        np.sort((np.abs(errors) + SURE * doubt).max(axis=1)),
        float(np.hypot(*shared[worst])),
        float(np.sqrt(((moved[worst] * sd) ** 2).sum())),
    )


@dataclass(frozen=True)
class Remedy:
    """Another tape with which a sheet can pass, and of how many distances."""

    compared: bool
    """With the tape's error measured over a known length."""
    finer: bool
    """Read to half the division."""
    distances: int


@dataclass(frozen=True)
class Hindrance:
    """Why no sheet can pass, and what would do."""

    by_tape: float
    by_reading: float
    """As in `ProofForecast`, by the most distances."""
    remedies: tuple[Remedy, ...]
    tolerance: float
    """The least tolerance, in mm, that could pass."""


def hindrance(
    model: Distortion, distances: Sequence[Distance], tape: Tape, tolerance: float
) -> Hindrance:
    """What hinders the longest sheet, of `distances`."""
    as_it_is = forecast_proof(model, distances, tape)
    found = []
    for compared, finer in ((True, False), (False, True), (True, True)):
        if compared and tape.scale_sd is not None:
            continue
        other = replace(tape, division=tape.division / 2) if finer else tape
        count = fewest(model, distances, compared_to(other) if compared else other, tolerance)
        if count is not None:
            found.append(Remedy(compared, finer, count))
    single = [one for one in found if one.compared != one.finer]
    return Hindrance(
        as_it_is.by_tape, as_it_is.by_reading, tuple(single or found), as_it_is.tolerance
    )


def fewest(
    model: Distortion, distances: Sequence[Distance], tape: Tape, tolerance: float
) -> int | None:
    """How many of `distances`, from the first, can pass; None if all of them cannot.

    By halving: what more distances tell is never less.
    """
    low, high = 0, len(distances)
    if not forecast_proof(model, distances, tape).can_pass(tolerance):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if forecast_proof(model, distances[:middle], tape).can_pass(tolerance):
            high = middle
        else:
            low = middle
    return high
