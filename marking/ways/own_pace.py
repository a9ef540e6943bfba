"""A job's own pace: how long acts took by the times that its record kept, beside the assumption.

What is timed is how many times as long as assumed a stretch of work took, so that set-downs and the
readings at them, which the record cannot tell apart, share one figure. Medians, breaks left out. It
knows the record's rows and no machine. Seconds.
"""

from __future__ import annotations

from itertools import groupby, pairwise
from statistics import median
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import datetime

    from marking.job.work_keys import PaceTable
    from marking.record.record import Record

ENOUGH = 5
"""Stretches of work timed before they count for more than an assumption: our judgement."""
BREAK = 3.0
"""Times the median past which a stretch held a break, and under whose inverse it held no work."""
Key = Literal[
    "reading",
    "set_down",
    "set_down_by_two",
    "set_down_at_fence",
    "line_ruled",
    "draw_speed",
]


class Timed(Struct, frozen=True):
    """An act as this job's record times it."""

    key: Key
    assumed: float
    own: float
    """Seconds, as `assumed`; of `draw_speed` both in mm a second."""
    count: int
    """Stretches of work that it is the median of."""


class WorkAsked(Struct, frozen=True):
    """What one division of a layout asks for, to hold times against."""

    layout: str
    division: str
    """Their hashes."""
    drawing: Mapping[str, float]
    """Seconds that each section is drawn, by section, at the pace assumed."""
    set_down: Key = "set_down"
    """Which key its set-downs go by."""


def own_pace(record: Record, work: WorkAsked, pace: PaceTable) -> tuple[Timed, ...]:
    """The acts that were timed often enough, less those whose key [pace] sets by hand."""
    found: list[Timed] = []
    each = getattr(pace, work.set_down)
    moved = _robust(_placed(record, work, each, pace.reading))
    if moved is not None:
        found.append(_slower(work.set_down, each, moved))
        found.append(_slower("reading", pace.reading, moved))
    ruled = _robust(_ruled(record, work, pace.line_ruled))
    if ruled is not None:
        found.append(_slower("line_ruled", pace.line_ruled, ruled))
    drawn = _robust(_drawn(record, work))
    if drawn is not None:
        factor, count = drawn
        found.append(
            Timed("draw_speed", pace.draw_speed, round(pace.draw_speed / factor, 1), count)
        )
    return tuple(one for one in found if one.key not in pace.model_fields_set)


def at_own_pace(pace: PaceTable, timed: Iterable[Timed]) -> PaceTable:
    """`pace` with what was timed in place of what is assumed; the keys set by hand stay known."""
    own = pace.model_copy(update={one.key: one.own for one in timed})
    own.model_fields_set.intersection_update(pace.model_fields_set)
    return own


def _slower(key: Key, assumed: float, timed: tuple[float, int]) -> Timed:
    factor, count = timed
    return Timed(key, assumed, round(factor * assumed, 0), count)


def _robust(ratios: Iterable[float]) -> tuple[float, int] | None:
    """The median of times over assumptions and how many it is of; None of too few."""
    all_ = [ratio for ratio in ratios if ratio > 0]
    if len(all_) < ENOUGH:
        return None
    middle = median(all_)
    kept = [ratio for ratio in all_ if middle / BREAK <= ratio <= BREAK * middle]
    return (median(kept), len(kept)) if len(kept) >= ENOUGH else None


def _placed(record: Record, work: WorkAsked, set_down: float, reading: float) -> Iterator[float]:
    """From one section done to the readings of the next: a set-down and so many readings."""
    done = [ink.at for ink in record.ink() if ink.event == "done" and ink.plan == work.division]
    taken = [one for one in record.readings() if one.layout == work.layout]
    last: datetime | None = None
    for (at, _), several in groupby(taken, key=lambda one: (one.at, one.section)):
        before = max((one for one in done if one < at), default=None)
        # Of several batches after one section only the first has the set-down in it.
        if before is not None and before != last:
            yield (at - before).total_seconds() / (set_down + reading * len(list(several)))
        last = before


def _ruled(record: Record, work: WorkAsked, line_ruled: float) -> Iterator[float]:
    """From one tick to the next: so many lines ruled."""
    ticks = [one for one in record.ruled() if one.plan == work.division]
    groups = [list(several) for _, several in groupby(ticks, key=lambda one: (one.at, one.event))]
    for before, now in pairwise(groups):
        if before[0].event == now[0].event == "ruled":
            yield (now[0].at - before[0].at).total_seconds() / (line_ruled * len(now))


def _drawn(record: Record, work: WorkAsked) -> Iterator[float]:
    """From a section begun to that section done, of those that were inked in one run."""
    begun: dict[str, list[datetime]] = {}
    for ink in record.ink():
        if ink.plan != work.division:
            continue
        if ink.event == "begun":
            begun.setdefault(ink.section, []).append(ink.at)
        elif ink.section in work.drawing and len(begun.get(ink.section, ())) == 1:
            yield (ink.at - begun[ink.section][0]).total_seconds() / work.drawing[ink.section]
