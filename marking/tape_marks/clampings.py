"""Where a fence is clamped along each row of sections, and which marks it is set to.

A fence shorter than its row is moved along. It knows sections, marks and the fence's length, no
reading. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.network.fence import Clamping
from marking.tape_marks.visible import within

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.job.work_keys import FenceTable
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Plan, Section

_HELD = 0.9
"""How much of its window's length a device needs against the rail: both places where it touches."""


def stretches(plan: Plan, length: float) -> tuple[tuple[Section, ...], ...]:
    """The sections that each clamping of a fence `length` mm long serves, in inking order.

    A rail too short for one device still serves one: the device then overhangs it.
    """
    rows: dict[int, list[Section]] = {}
    for section in plan.sections:
        rows.setdefault(section.row, []).append(section)
    found: list[tuple[Section, ...]] = []
    for row in rows.values():
        left = sorted(row, key=lambda one: one.window[0])
        while left:
            end = left[0].window[0] + length
            here = [left[0], *(one for one in left[1:] if _held_to(one) <= end)]
            found.append(tuple(here))
            left = left[len(here) :]
    return tuple(found)


def _held_to(section: Section) -> float:
    x0, _, x1, _ = section.window
    return x0 + _HELD * (x1 - x0)


def clampings(plan: Plan, fence: FenceTable, marks: Sequence[Mark]) -> Mapping[str, Clamping]:
    """By section id, the clamping that its device is pushed against.

    It is set to the first and the last of the tape marks that its sections reach; to the table's
    own edge where they reach fewer than two.
    """
    found: dict[str, Clamping] = {}
    for count, here in enumerate(stretches(plan, fence.length), 1):
        reached = sorted(
            (mark.at_table[0], mark.at_table[1], mark.id)
            for mark in marks
            if any(within(mark.at_table, one, plan) for one in here)
        )
        # The far end's own row is another: what one row shares then turns no whole clamping.
        ends = (reached[0], reached[-1]) if reached and reached[-1][0] > reached[0][0] else None
        clamping = Clamping(
            f"{count}",
            here[0].window[0],
            max(one.window[2] for one in here),
            (ends[0][2], ends[1][2]) if ends else None,
            fence.stops is not None,
        )
        found |= dict.fromkeys((one.id for one in here), clamping)
    return found
