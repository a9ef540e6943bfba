"""What a sheet of distances would say of a cover without any error, and what hinders it.

The cover is measured many times over in imagination, with the tape's errors and no others. It
chooses no distance. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.least_squares.linear import believed
from marking.measures.tape import compared_to
from marking.measures.ties import first_of_greatest
from marking.proof.distortion import line_errors
from marking.proof.geometry import observed, prior_sd
from marking.proof.outcome import SURE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.limits import LimitName, LimitRows
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinStep

OFTEN = 0.5
"""A sheet can pass a cover when one without any error passes on it at least so often."""
_DRAWS, _SEED = 400, 15


class ProofForecast(Struct, frozen=True):
    """What distances tell of a cover, and what they say of one without any error."""

    covariance: FloatArray
    """(unknowns, unknowns) to expect, without the tape's own."""
    doubt: FloatArray
    """(q,): standard deviation to expect of each line's error."""
    shares: FloatArray
    """(draws,): how much of what is allowed some line might still be off, by each imagined
    measuring, at the limit that is hardest to show; lowest first."""
    hard: Mapping[LimitName, float]
    """By limit, the share of what is allowed within which it is shown at least `OFTEN`."""
    by_tape: float
    """mm, one standard deviation at the most doubtful line: what the tape's own length leaves."""
    by_reading: float
    """mm, likewise: what reading and holding the tape leave."""

    @property
    def chance(self) -> float:
        """How often a cover without any error passes."""
        return float((self.shares <= 1.0).mean())

    @property
    def can_pass(self) -> bool:
        """Whether that is often enough to ask anybody to measure."""
        return self.chance >= OFTEN

    @property
    def wider(self) -> float:
        """By how much every limit would have to be wider for it to pass."""
        return float(np.quantile(self.shares, OFTEN))


def forecast_proof(
    model: Distortion,
    distances: Sequence[Distance],
    tape: Tape,
    limits: Sequence[LimitRows],
    steps: Sequence[JoinStep] = (),
) -> ProofForecast:
    """What `distances` measured with `tape`, and `steps` read, will tell of the limits."""
    rows, sd = observed(model, distances, steps, tape)
    found, count = believed(rows, prior_sd(model), sd), model.count
    carried, covariance = found.carried[:count], found.covariance[:count, :count]
    lines = line_errors(model).rows
    doubt = _sds(lines, covariance)
    rng = np.random.default_rng(_SEED)
    by_reading = (rng.standard_normal((_DRAWS, len(sd))) * sd) @ carried.T
    by_tape = rng.standard_normal((_DRAWS, 2)) @ (carried @ rows[:, count:]).T
    drawn = by_reading + by_tape
    shares = {
        one.limit.name: (np.abs(drawn @ one.rows.T) + SURE * _sds(one.rows, covariance)).max(axis=1)
        / one.limit.allowed
        for one in limits
    }
    worst = lines[first_of_greatest(doubt)] @ carried
    asked = [shares[one.limit.name] for one in limits if one.limit.asked]
    return ProofForecast(
        covariance,
        doubt,
        np.sort(np.max(asked, axis=0)),
        {name: float(np.quantile(share, OFTEN)) for name, share in shares.items()},
        float(np.hypot(*(worst @ rows[:, count:]))),
        float(np.sqrt(((worst * sd) ** 2).sum())),
    )


def _sds(rows: FloatArray, covariance: FloatArray) -> FloatArray:
    sds: FloatArray = np.sqrt(np.maximum(((rows @ covariance) * rows).sum(axis=1), 0.0))
    return sds


class Remedy(Struct, frozen=True):
    """Another tape with which a sheet can pass, and of how many distances."""

    compared: bool
    """With the tape's error measured over a known length."""
    finer: bool
    """Read to half the division."""
    distances: int


class Hindrance(Struct, frozen=True):
    """Why no sheet can pass, and what would do."""

    by_tape: float
    by_reading: float
    """As in `ProofForecast`, by the most distances."""
    remedies: tuple[Remedy, ...]
    wider: float
    """By how much every limit would have to be wider."""


def hindrance(
    model: Distortion,
    distances: Sequence[Distance],
    tape: Tape,
    limits: Sequence[LimitRows],
    steps: Sequence[JoinStep],
) -> Hindrance:
    """What hinders the longest sheet, of `distances`."""
    as_it_is = forecast_proof(model, distances, tape, limits, steps)
    found = []
    for compared, finer in ((True, False), (False, True), (True, True)):
        if compared and tape.scale_sd is not None:
            continue
        other = replace(tape, division=tape.division / 2) if finer else tape
        with_this = compared_to(other) if compared else other
        count = fewest(model, distances, with_this, limits, steps)
        if count is not None:
            found.append(Remedy(compared, finer, count))
    single = [one for one in found if one.compared != one.finer]
    return Hindrance(as_it_is.by_tape, as_it_is.by_reading, tuple(single or found), as_it_is.wider)


def fewest(
    model: Distortion,
    distances: Sequence[Distance],
    tape: Tape,
    limits: Sequence[LimitRows],
    steps: Sequence[JoinStep],
) -> int | None:
    """How many of `distances`, from the first, can pass; None if all of them cannot.

    By halving: what more distances tell is never less.
    """
    low, high = 0, len(distances)
    if not forecast_proof(model, distances, tape, limits, steps).can_pass:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if forecast_proof(model, distances[:middle], tape, limits, steps).can_pass:
            high = middle
        else:
            low = middle
    return high
