"""How large a slip of the tape would show in each measurement of a top, and what more would add.

Told before anything is measured, since it does not depend on the figures: what Baarda's
reliability theory calls the least detectable bias. It knows the figure and the tape's deviations,
no job. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.layout.top_shape import (
    AGAIN,
    MORE,
    SIDES,
    SquareLean,
    Taking,
    checked_by,
    distances,
    with_more,
)
from marking.least_squares.least_slip import least_shown
from marking.least_squares.readings_test import TRUST, checked

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from marking.arrays import FloatArray

WANTED = 6.35
"""mm: a quarter inch, the slip that should show in every one of the six."""
_MOST = 4
"""Measurements more that are ever asked for."""
_CLEARLY = 0.01
"""mm by which one choice has to be better than one named before it."""


class More(Struct, frozen=True):
    """Measurements more, and how large a slip in each of the six would then show, in mm."""

    names: tuple[str, ...]
    shows: FloatArray

    @property
    def worst(self) -> float:
        """mm, of the six."""
        return float(self.shows.max())


class SurveySlips(Struct, frozen=True):
    """How large a slip would show in what is measured now, and with more, in mm."""

    now: FloatArray
    """(6,) in the order of `SIDES`; infinite where nothing checks it."""
    one_more: More | None
    """The single measurement that adds most; None where none adds anything."""
    several: More | None
    """Up to `_MOST` more, one after another; None where one more is enough or nothing helps."""


def shown(taking: Taking, unknowns: FloatArray) -> FloatArray:
    """(6,) mm: how large a slip in each of `SIDES` has to be, to show 99 times in 100."""
    shares = np.diag(checked_by(taking, unknowns))[: len(SIDES), None, None]
    sure = checked(shares, taking.sd[: len(SIDES)] ** 2)
    return least_shown(shares, sure, TRUST)


def survey_slips(
    taking: Taking, unknowns: FloatArray, sd_of: Callable[[FloatArray], FloatArray]
) -> SurveySlips:
    """What slips would show in `taking` on the top of these `unknowns`, and what more would add.

    `sd_of` gives the tape's deviations for lengths.
    """
    one_more = _best(taking, unknowns, sd_of)
    found, names = taking, list[str]()
    shows = shown(taking, unknowns)
    while shows.max() > WANTED and len(names) < _MOST:
        best = _best(found, unknowns, sd_of)
        if best is None:
            break
        found = _taken(found, unknowns, best.names[0], sd_of)
        names.append(best.names[0])
        shows = best.shows
    now = shown(taking, unknowns)
    several = More(tuple(names), shows) if len(names) > 1 else None
    return SurveySlips(now, one_more, several)


def _best(
    taking: Taking, unknowns: FloatArray, sd_of: Callable[[FloatArray], FloatArray]
) -> More | None:
    """The one measurement more that brings the worst slip down most, then all of them."""
    now = shown(taking, unknowns)
    best: More | None = None
    for name in _open(taking):
        more = More((name,), shown(_taken(taking, unknowns, name, sd_of), unknowns))
        if best is None or _less(_sizes(more.shows), _sizes(best.shows)):
            best = more
    return best if best is not None and _less(_sizes(best.shows), _sizes(now)) else None


def _open(taking: Taking) -> list[str]:
    """What is not measured yet; a square only where its marks are there, or may be set."""
    names = [*MORE, *(f"{AGAIN}{side}" for side in SIDES)]
    return [name for name in names if name not in taking.names]


def _taken(
    taking: Taking,
    unknowns: FloatArray,
    name: str,
    sd_of: Callable[[FloatArray], FloatArray],
) -> Taking:
    square = taking.square
    if name == "square_between" and square is None:
        square = square_for(float(unknowns[0]), float(unknowns[4]), taking.mark_sd)
    alone = Taking((name,), np.zeros(1), taking.mark_sd, square)
    length, _ = distances(alone, unknowns)
    more = with_more(taking, [name], sd_of(length).tolist())
    return Taking(more.names, more.sd, more.mark_sd, square)


def square_for(length: float, width: float, sd: float) -> SquareLean:
    """The largest 3-4-5 that the two edges of a corner take, in whole feet or less, in mm."""
    unit = min(length / 4, width / 3)
    step = 304.8 if unit >= 304.8 else 25.4
    whole = max(unit // step * step, min(unit, step))
    return SquareLean(4 * whole, 3 * whole, sd)


def _sizes(shows: FloatArray) -> Sequence[float]:
    """Largest first, as far as they have to be made smaller."""
    return sorted(np.maximum(shows, WANTED).tolist(), reverse=True)


def _less(one: Sequence[float], other: Sequence[float]) -> bool:
    """Whether the first sizes that clearly differ are the smaller of the two."""
    for mine, theirs in zip(one, other, strict=True):
        if mine < theirs - _CLEARLY:
            return True
        if mine > theirs + _CLEARLY:
            return False
    return False
