"""How far what reads stands from what inks, found over crossings that were just inked.

It knows figures, no record, no section and no machine. The device's own axes, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from marking.record.kept import as_kept
from marking.record.readings import READING_SD

if TYPE_CHECKING:
    from collections.abc import Mapping

    from marking.arrays import FloatArray

WANTED = 4
"""Readings that let their own scatter tell how well they agree."""
_LEAST = 0.05
"""mm: closer than this no eye brings a pointer onto a crossing. Our own figure, no source."""
_APART = 3.0
"""Times `READING_SD` that readings may scatter before one of them is a slip."""


class PointerCheck(Struct, frozen=True):
    """What reads, less what inks, as reckoned with from now on."""

    offset: tuple[float, float]
    """mm in the device's x and y: a mark read at p lies under the pen at p + offset."""
    doubt: float
    """Standard deviation of the offset, mm on each axis."""
    count: int
    """Readings that tell it; 0 where a pen was changed and nobody found it anew."""
    after: int
    """The last placement kept before: it and all earlier ones were read without this offset."""


def pointer_check(offsets: FloatArray, after: int) -> PointerCheck | None:
    """The offset by single readings of it, (n, 2) mm; None where they contradict each other.

    From three on they count as they scatter, with the variance of Student's t for so few; fewer
    are taken to be as good as any reading.
    """
    count = len(offsets)
    mean, degrees = offsets.mean(axis=0), 2 * (count - 1)
    sd = READING_SD
    if degrees > 2:
        scatter = float(np.sqrt(((offsets - mean) ** 2).sum() / degrees))
        if scatter > _APART * READING_SD:
            return None
        sd = scatter * float(np.sqrt(degrees / (degrees - 2)))
    x, y = mean.tolist()
    return PointerCheck((x, y), max(sd / float(np.sqrt(count)), _LEAST), count, after)


def pen_changed(before: PointerCheck, profile_doubt: float, after: int) -> PointerCheck:
    """What is left of `before` for another pen in the same holder, which may stand otherwise."""
    doubt = float(np.hypot(before.doubt, profile_doubt))
    return PointerCheck(before.offset, doubt, 0, after)


def pointer_record(check: PointerCheck) -> dict[str, Any]:
    """The check as plain data, to keep in the job's record."""
    return {
        "offset": list(check.offset),
        "doubt": check.doubt,
        "count": check.count,
        "after": check.after,
    }


def pointer_from(record: Mapping[str, Any]) -> PointerCheck:
    """A check from what `pointer_record` made of it. Raises BadInputError for anything else."""
    with as_kept(record, "a check of the pointer"):
        x, y = map(float, record["offset"])
        return PointerCheck(
            (x, y), float(record["doubt"]), int(record["count"]), int(record["after"])
        )
