"""Whether a machine may have lost its place, as the record keeps it, and what finds it again.

It owns the rule that such a machine inks nothing before marks are read anew; it must not know
how a machine shows that it has lost its place, nor how marks are read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.readings import MarkReading
    from marking.record import KeptWhereabouts, Record


def loss(record: Record, section: str) -> KeptWhereabouts | None:
    """The last event by which the machine may have lost its place.

    None when there was none, or when the marks of `section` were read anew after it. A place is
    lost for every section at once, and found again for each by marks of its own.
    """
    last = None
    for kept in record.whereabouts():
        if kept.event == "lost":
            last = kept
        elif kept.event == "found" and kept.section == section:
            last = None
    return last


def read_anew(
    readings: Sequence[MarkReading], lost: KeptWhereabouts | None, record: Record
) -> tuple[MarkReading, ...]:
    """Those of `readings` that the record did not hold already when the place was lost.

    A reading equal to a kept one, to the last digit, may have been copied from it, and counts
    for nothing; a mark that truly reads alike is read once more under the pen.
    """
    if lost is None:
        return tuple(readings)
    old = {(r.section, r.mark, r.at_bed) for r in record.readings()[: lost.readings]}
    return tuple(one for one in readings if (one.section, one.mark, one.at_bed) not in old)
