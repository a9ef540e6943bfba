"""Whether readings scatter as they are declared to: the misfits so far against their own doubt.

What each section's readings miss by is independent of what those before it did, so that their
squares add up to chi-square. It knows the network and what was inked, no plan and no verdict.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from marking.least_squares.chi_square import exceeded
from marking.network.error_model import NO_ERRORS
from marking.network.misfits import misfit
from marking.network.network import known, only
from marking.network.part_of_network import keep_for_steps, last_uses
from marking.network.pose import PARAMETERS
from marking.network.steps import made_whole
from marking.network.worth_of_readings import gain, with_inked

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.network import KnownMark, Reading, Setup
    from marking.network.steps import StepRead

FALSE_ALARM = 0.01
"""How often readings that scatter as declared are told to scatter more."""
_FEWEST = 6
"""Degrees of freedom below which nothing is told."""
_ROUNDS = 6
_CLOSE = 0.03


class Scatter(Struct, frozen=True):
    """Readings that scatter more than they were declared to."""

    since: str
    """The section from which on."""
    times: float
    """How many times as much, what the cloth gives with it."""

    def of(self, sd: float, cloth: float) -> float:
        """mm per axis: what a reading declared to `sd` mm is worth, the cloth's give apart."""
        return math.sqrt(self.times**2 * (sd**2 + cloth**2) - cloth**2)

    def taken(self, readings: Iterable[Reading], cloth: float) -> tuple[Reading, ...]:
        """The readings at what they are worth."""
        return tuple(replace(one, sd=self.of(one.sd, cloth)) for one in readings)

    def applied(self, setups: Sequence[Setup], cloth: float) -> tuple[Setup, ...]:
        """The setups with the readings from `since` on at what they are worth."""
        names = [setup.section for setup in setups]
        first = names.index(self.since)
        return tuple(
            replace(setup, readings=self.taken(setup.readings, cloth)) if n >= first else setup
            for n, setup in enumerate(setups)
        )


def scatter(
    targets: Iterable[KnownMark],
    setups: Sequence[Setup],
    datum: Datum,
    errors: ErrorModel = NO_ERRORS,
    steps: Sequence[StepRead] = (),
) -> Scatter | None:
    """What the readings of `setups`, in the order they were inked, show; None: as declared.

    `steps` read between them help to tell, and are not themselves judged.

    The run of sections up to the last that stands out most is told, where it does so by more than
    chance would let the worst of all such runs.
    """
    marks = tuple(targets)
    each = _totals(marks, setups, datum, errors, steps)
    worst, first = 0.0, None
    for start in range(len(setups)):
        total, degrees = _summed(each[start:])
        if degrees < _FEWEST:
            break
        likeness = _as_normal(total, degrees)
        if total > exceeded(FALSE_ALARM / len(setups), degrees) and likeness > worst:
            worst, first = likeness, start
    if first is None:
        return None
    found = Scatter(setups[first].section, 1.0)
    left = each
    for _ in range(_ROUNDS):
        total, degrees = _summed(left[first:])
        if abs(total / degrees - 1) < _CLOSE:
            break
        # Marks are no worse set for it, so that readings have to be the more.
        found = replace(found, times=max(1.0, found.times * math.sqrt(total / degrees)))
        left = _totals(marks, found.applied(setups, errors.cloth), datum, errors, steps)
    return found


def _summed(each: Sequence[tuple[float, int]]) -> tuple[float, int]:
    return sum(total for total, _ in each), sum(degrees for _, degrees in each)


def _as_normal(total: float, degrees: int) -> float:
    """How many standard deviations chi-square lies out (Wilson and Hilferty, 1931)."""
    spread = 2 / (9 * degrees)
    return float(((total / degrees) ** (1 / 3) - (1 - spread)) / math.sqrt(spread))


def _totals(
    marks: Sequence[KnownMark],
    setups: Sequence[Setup],
    datum: Datum,
    errors: ErrorModel,
    steps: Sequence[StepRead],
) -> list[tuple[float, int]]:
    """Of each section chi-square of its misfits, given all before it, and the degrees."""
    network = known(marks, datum, errors)
    uses = [([reading.mark for reading in one.readings], one.clamping) for one in setups]
    last = last_uses(network, uses, {one.section: one.pose.about for one in setups})
    keep_for_steps(last, steps, setups)
    each: list[tuple[float, int]] = []
    for count, setup in enumerate(setups):
        gained = gain(network, setup.readings, setup.pose.about, setup.kind, setup.against)
        left = misfit(gained.network, setup)
        # Of readings that agree exactly rounding may leave less than nothing.
        total = max(float(left @ gained.projector @ left), 0.0)
        each.append((total, len(left) - PARAMETERS[setup.kind]))
        network = made_whole(with_inked(gained, setup, left), steps, setup.section)
        network = only(network, [place for place in network.places if last.get(place, -1) > count])
    return each
