"""Which sections fall into which day, whole rows where a day has room for one.

A row that is inked from end to end can be worked with; half of one cannot. It knows sections and
times, not what is measured. Seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.job.work_keys import PaceTable
    from marking.sections.plan import Plan, Section

HOURS = 6.0
"""At the table in a day, where a person does not say."""


class Day(Struct, frozen=True):
    """One day's sections, and what is whole on its evening."""

    sections: tuple[str, ...]
    seconds: float
    whole_rows: tuple[int, ...]
    """Every row that is inked from end to end by then, counted from the near edge."""
    last: bool


def section_seconds(
    section: Section, plan: Plan, pace: PaceTable, readings: int | None = None
) -> float:
    """A person's time at one section: set down, marks read, and there while it is inked."""
    by_two = plan.zone.footing is not None and plan.zone.footing.takes_two
    set_down = pace.set_down_by_two if by_two else pace.set_down
    read = len(section.locating_marks) if readings is None else readings
    return set_down + read * pace.reading + (plan.seconds(section) or 0.0)


def spread(
    plan: Plan, done: frozenset[str], seconds: Mapping[str, float], day: float
) -> tuple[Day, ...]:
    """What is not `done`, in inking order, into days of so many seconds; one section at least."""
    left = [section for section in plan.sections if section.id not in done]
    inked = set(done)
    days: list[Day] = []
    while left:
        fits = _fitting(left, seconds, day)
        fits = _to_a_whole_row(plan, left, fits, inked)
        now, left = left[:fits], left[fits:]
        inked |= {section.id for section in now}
        days.append(
            Day(
                tuple(section.id for section in now),
                sum(seconds[section.id] for section in now),
                whole_rows(plan, inked),
                not left,
            )
        )
    return tuple(days)


def _fitting(left: Sequence[Section], seconds: Mapping[str, float], day: float) -> int:
    spent, count = 0.0, 0
    for section in left:
        spent += seconds[section.id]
        if count and spent > day:
            break
        count += 1
    return count


def _to_a_whole_row(plan: Plan, left: Sequence[Section], fits: int, inked: set[str]) -> int:
    """Fewer of them where that ends with a row: the next is begun in the morning."""
    if fits == len(left):
        return fits
    before = len(whole_rows(plan, inked))
    reached = [
        len(whole_rows(plan, inked | {one.id for one in left[:count]}))
        for count in range(1, fits + 1)
    ]
    # Half a day at least is worked, else rows as long as the table would never be begun.
    least = fits // 2
    ends = [n for n, rows in enumerate(reached, 1) if n > least and rows == reached[-1] > before]
    return ends[0] if ends else fits


def whole_rows(plan: Plan, inked: set[str] | frozenset[str]) -> tuple[int, ...]:
    """The rows of which every section is inked."""
    open_rows = {section.row for section in plan.sections if section.id not in inked}
    return tuple(row for row in range(1, plan.rows + 1) if row not in open_rows)
