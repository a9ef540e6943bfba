"""Where machines were set going, left, lost and found, and what readings were given: as it is kept.

It owns the rows of `whereabouts` and `given` in the job's record; it must not know what follows
from them (`devices.session.whereabouts`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from marking.record.cells import finite

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from marking.record.readings import MarkReading
    from marking.record.record import Record

WhereaboutsEvent = Literal["moving", "resting", "lost", "found"]
"""A machine set going, at rest where it says, perhaps without its place, its marks read anew."""


class KeptGiven(Struct, frozen=True):
    """A reading that was given to a command from a file, whatever came of it. Bed frame, mm."""

    section: str
    mark: str
    at_bed: tuple[float, float]
    whereabouts: int
    """Number of the last row of whereabouts that was kept before; 0 for none."""


class KeptWhereabouts(Struct, frozen=True):
    """Something known of whether a machine still has its place."""

    id: int
    at: datetime
    section: str
    """The one it was driven for."""
    event: WhereaboutsEvent
    detail: str
    """Why the place may be lost, or the place in the machine's own words."""
    readings: int
    """How many readings of marks, of all sections, were kept before."""


def add_whereabouts(
    record: Record, section: str, event: WhereaboutsEvent, detail: str = ""
) -> None:
    """Keeps whether the machine driven for `section` has its place."""
    row = (section, event, detail, len(record.readings()))
    record.add_rows("whereabouts", "section, event, detail, readings", [row])


def whereabouts_in(record: Record) -> tuple[KeptWhereabouts, ...]:
    """All that is known of where the machine was, oldest first."""
    return tuple(
        KeptWhereabouts(number, at, section, event, detail, readings)
        for number, at, section, event, detail, readings in record.rows("whereabouts")
    )


def add_given(record: Record, readings: Sequence[MarkReading]) -> None:
    """Keeps that `readings` were given to a command, before it does anything with them."""
    rows = whereabouts_in(record)
    last = rows[-1].id if rows else 0
    given = [(r.section, r.mark, *map(finite, r.at_bed), last) for r in readings]
    record.add_rows("given", "section, mark, x_bed, y_bed, whereabouts", given)


def given_in(record: Record) -> tuple[KeptGiven, ...]:
    """All readings that were ever given to a command, oldest first."""
    return tuple(
        KeptGiven(section, mark, (x, y), last)
        for _, _, section, mark, x, y, last in record.rows("given")
    )
