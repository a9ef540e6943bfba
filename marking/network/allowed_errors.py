"""What a finished cover may show before it is called wrong: the four limits of the trade."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from marking.measures.lengths import INCH

if TYPE_CHECKING:
    from marking.job.keys import MarkingJob

SQUARE_OVER = 54 * float(INCH)
"""mm of a cross line over which `square` counts: the width of the goods, by far most of them."""


class Allowed(Struct, frozen=True):
    """What is wished for, each in mm; inf where nothing is asked."""

    total: float
    """How far a line may lie from where it counts to, from zero; and any ink from true."""
    step: float = 1.0
    """The largest step of a line at a join: our choice, the width of a usual line."""
    square: float = inf
    """How far a cross line may lean or bend over `SQUARE_OVER`."""
    neighbours: float = inf
    """How much the gap between two lines beside each other may err."""

    @property
    def tolerance(self) -> float:
        """How far any ink may lie from true, in mm."""
        return self.total


def allowed_around(limits: Allowed) -> Allowed:
    """The same for ink laid anew, true to the ink around it, to which it may show a step."""
    return replace(limits, total=min(limits.total, limits.step))


def allowed_of(job: MarkingJob) -> Allowed:
    """A job's limits: its `tolerance` in total and square, and what `[allowed]` says over it."""
    given = job.allowed
    return Allowed(
        _first(given.total, job.tolerance),
        _first(given.step, 1.0),
        _first(given.square, job.tolerance),
        _first(given.neighbours, inf),
    )


def _first(given: float | None, otherwise: float) -> float:
    return otherwise if given is None else given
