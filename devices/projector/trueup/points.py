"""Points of the table that a target can be brought onto, and how well each is known.

It knows the tape and what stands on the cover, no pixels and no job. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.measures.tape import independent_sd, true_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.measures.tape import Tape


class KnownPoint(Struct, frozen=True):
    """A point that light can be brought onto."""

    at: tuple[float, float]
    sd: float
    """Its own error in mm per axis, without what all of one tape's points share."""
    what: str = ""
    """What stands there; empty for a point to be found by tape."""


def by_tape(along: float, across: float, tape: Tape) -> KnownPoint:
    """The point where the tape shows `along` and `across` from the zero corner."""
    at = true_length(along, tape), true_length(across, tape)
    return KnownPoint(at, float(np.sqrt((independent_sd(at, tape) ** 2).mean())))


def nearest(
    points: Sequence[KnownPoint], to: tuple[float, float], within: float
) -> KnownPoint | None:
    """The point nearest to a place, no farther than `within` mm."""
    far = [float(np.hypot(p.at[0] - to[0], p.at[1] - to[1])) for p in points]
    best = int(np.argmin(far)) if far else -1
    return points[best] if far and far[best] <= within else None
