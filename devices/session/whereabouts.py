"""Whether a machine may have lost its place, as the record keeps it, and what finds it again.

It owns the rule that such a machine inks nothing before marks are read anew; it must not know
how a machine shows that it has lost its place, nor how marks are read.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from devices.driving.kept_places import given_in, whereabouts_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.conversation.greeting import Greeting
    from devices.dialects.answers import Dialect, Reply
    from devices.driving.kept_places import KeptWhereabouts
    from marking.arrays import Spot
    from marking.record.readings import MarkReading
    from marking.record.record import Record


class Left(Struct, frozen=True):
    """Where a machine stood when a run began to move it, or left it at rest."""

    stands: str
    """In its own words; empty if it did not say."""
    zero: str
    """Where its program's zero lay for it."""
    strokes: int | None = None
    """Of a run's beginning: how many events of the section's strokes were kept before."""

    @property
    def detail(self) -> str:
        """As the record keeps it."""
        return ";".join(map(str, (self.stands, self.zero, self.strokes)[: 2 + self.began]))

    @property
    def began(self) -> bool:
        """Whether a run began then."""
        return self.strokes is not None

    @property
    def at(self) -> Spot | None:
        """mm, where it said so."""
        return _spot(self.stands) if self.stands else None

    @classmethod
    def of(cls, detail: str) -> Left:
        """From a row of the record."""
        stands, zero, *strokes = detail.split(";")
        return cls(stands, zero, int(strokes[0]) if strokes else None)


_BESIDE = 1.0
"""mm: a raised pen is asked where it stands a hair beside the next line, never further."""


def loss(record: Record, section: str) -> KeptWhereabouts | None:
    """The last event by which the machine may have lost its place.

    None when there was none, or when the marks of `section` were read anew after it. A place is
    lost for every section at once, and found again for each by marks of its own.
    """
    last = None
    for kept in whereabouts_in(record):
        if kept.event == "lost":
            last = kept
        elif kept.event == "found" and kept.section == section:
            last = None
    return last


def read_anew(
    readings: Sequence[MarkReading], lost: KeptWhereabouts | None, record: Record
) -> tuple[MarkReading, ...]:
    """Those of `readings` that were neither kept nor given already when the place was lost.

    What was given counts whatever came of it: a command may have ended before it used them. A
    reading equal to an old one, to the last digit, may have been copied from it, and counts
    for nothing; a mark that truly reads alike is read once more under the pen.
    """
    if lost is None:
        return tuple(readings)
    old = {(r.section, r.mark, r.at_bed) for r in record.readings()[: lost.readings]}
    old |= {(r.section, r.mark, r.at_bed) for r in given_in(record) if r.whereabouts < lost.id}
    return tuple(one for one in readings if (one.section, one.mark, one.at_bed) not in old)


def given_before(readings: Sequence[MarkReading], record: Record) -> bool:
    """Whether any of `readings` was given to a command before the present one, too."""
    told = [(one.section, one.mark, one.at_bed) for one in given_in(record)]
    return any(told.count((one.section, one.mark, one.at_bed)) > 1 for one in readings)


def last_driven(record: Record) -> KeptWhereabouts | None:
    """The last row that tells where a machine stood."""
    rows = [kept for kept in whereabouts_in(record) if kept.event in ("moving", "resting")]
    return rows[-1] if rows else None


def ended_unseen(record: Record) -> bool:
    """Whether the last run heard nothing of a raised pen: it was killed, or stopped in mid-line."""
    last = last_driven(record)
    return last is not None and last.event == "moving"


def unseen_restart(greeted: Greeting, *, flat: bool, stood: bool, again: bool) -> str | None:
    """Why an HP-GL machine that counts from where power finds it may stand elsewhere now.

    `stood` is whether it is to ink on from where it stood, `again` whether the readings given
    were given before; nothing is told of a `flat` bed whose status has never told of a restart.
    """
    if greeted.restarted and (stood or again):
        return "the plotter was switched on, or reset, since it last inked"
    if flat and stood and not greeted.showed_restarts:
        return (
            "the plotter does not tell whether it was switched off since it last inked, and its "
            'profile does not say power_up = "finds its corner"'
        )
    return None


def doubt(
    record: Record, section: str, shown: Reply | None, dialect: Dialect, way: Sequence[Spot]
) -> str | None:
    """Why a machine that was driven for `section` before may not have kept its place since.

    None where it shows that it has: it stands to a hair where it was left; or, when nobody saw
    the end of the last run, where that began or on the `way` of what was sent since and not
    confirmed, in mm. A machine that was switched on, or whose processor was restarted, counts from
    nothing, and stands at none of these but by intent.
    """
    last = last_driven(record)
    if shown is None:
        return "it does not tell where it stands"
    if shown.newborn:
        return "it reports what a machine does that was just switched on"
    if last is None:
        return "nothing is kept of where it was left"
    if last.section != section:
        return f"it was driven for {last.section} since"
    left = Left.of(last.detail)
    if left.zero != shown.zero:
        return (
            f"its zero was at {left.zero} of its own when it was left, and is at {shown.zero} now"
        )
    if last.event == "moving":
        stood = [] if left.at is None else [left.at]
        if _off(shown.text, stood) > _BESIDE and _off(shown.text, way) > _BESIDE:
            return (
                f"the last run ended unseen, and it reports {shown.text}, where nothing had sent it"
            )
    elif not dialect.same_place(left.stands, shown.text):
        return f"it was left at {left.stands}, and reports {shown.text} now"
    return None


def _off(place: str, way: Sequence[Spot]) -> float:
    """mm from a place to the nearest point of a way."""
    at = np.array(_spot(place))
    ways = [np.array(spot) for spot in way]
    legs = itertools.pairwise(ways if len(ways) > 1 else ways * 2)
    return min((_from(at, a, b) for a, b in legs), default=float("inf"))


def _spot(place: str) -> Spot:
    x, y, *_ = place.split(",")
    return float(x), float(y)


def _from(at: np.ndarray, start: np.ndarray, end: np.ndarray) -> float:
    along = end - start
    length = float(along @ along)
    share = min(max(float((at - start) @ along) / length, 0.0), 1.0) if length else 0.0
    return float(np.linalg.norm(at - start - share * along))
