"""The second row of numerals in the margins: where it counts from. Table frame, millimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import RefusedError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from marking.job.keys import MarkingJob

OF_FIRST = 2 / 3
"""Its height over the first row's, so that the two are told apart: our judgement, no source."""
_SAME = 1e-6


def second_zero(job: MarkingJob, lines: int) -> int | None:
    """Which of `lines` cross lines the second row counts from; None where there is none.

    Raises RefusedError for a place off the table, with no numbered cross line, or on the zero line.
    """
    wanted, every, pitch = job.numerals.second_zero, job.numerals.every, job.grid.pitch
    if wanted == "none":
        return None
    if wanted == "middle":
        return round((lines - 1) / 2 / every) * every
    shown = format_length(wanted, job.units)
    number = round(wanted / pitch)
    last = (lines - 1) // every * every
    if wanted > last * pitch + _SAME:
        raise RefusedError(
            f"numerals.second_zero = {shown}: off the table; the last numbered cross line is "
            f'{format_length(last * pitch, job.units)} from the zero line. Take that or less, or "'
            'middle"'
        )
    if abs(wanted - number * pitch) > _SAME or number % every or not number:
        below = max(every, int(wanted / pitch / every) * every)
        above = min(last, below + every)
        raise RefusedError(
            f"numerals.second_zero = {shown}: no numbered cross line stands there but the zero "
            "line's own, and two scales that are not on the same lines collide. Take "
            f"{format_length(below * pitch, job.units)} or "
            f"{format_length(above * pitch, job.units)}"
        )
    return number
