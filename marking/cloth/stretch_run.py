"""What a cloth gives: a run marked on it, measured slack and again pulled tight.

It knows two lengths and a tape, and no table. Millimetres.
"""

from __future__ import annotations

from msgspec import Struct

from marking.errors import BadInputError
from marking.measures.lengths import format_length

_MOST = 0.2
_USUAL = 0.05
"""Past it a run is doubted, and written all the same; common practice, no source."""
_SHORTEST = 250.0
"""mm: on less a tape tells nothing of a stretch."""


class StretchRun(Struct, frozen=True):
    """One run, before and after."""

    before: float
    after: float

    @property
    def stretch(self) -> float:
        """After over before, less 1."""
        return self.after / self.before - 1

    @property
    def percent(self) -> str:
        """As `[cloth]` has it, to a hundredth of what a tape shows on any table."""
        return f"{100 * self.stretch:.4f}".rstrip("0").rstrip(".") + " %"

    @property
    def unlikely(self) -> bool:
        """Whether it is more than a cover usually stretches."""
        return self.stretch > _USUAL

    def doubt(self, division: float) -> float:
        """How far the stretch may be off where both ends of both were read to `division`."""
        return division / self.before


def stretch_run(option: str, before: float, after: float) -> StretchRun:
    """A run as measured. Raises BadInputError for one that no stretched cover shows."""
    run = StretchRun(before, after)
    shown = [format_length(one, "in") for one in (before, after)]
    said = f"{option} {before:g} mm to {after:g} mm ({shown[0]} to {shown[1]})"
    if before < _SHORTEST:
        raise BadInputError(
            f"{said}: too short a run to tell a stretch by; mark one of 36 in (90 cm) or more"
        )
    if run.stretch < 0:
        raise BadInputError(
            f"{said}: it grew shorter, and cloth that is pulled grows. Give the slack run first "
            "and the pulled one after it; or measure again. Canvas that draws in under steam is "
            "shrunk before it is cut; where it is meant to stay so, write the stretch into "
            '[cloth] yourself, as "-0.3 %"'
        )
    if run.stretch > _MOST:
        raise BadInputError(f"{said}: no cover stretches by more than 20 %; measure again")
    return run
