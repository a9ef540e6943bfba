"""What is inked, section after section, in which order, and what of it is done.

It knows division, mends and record; it asks nobody and moves nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.history import has_record
from marking.begun.inked import done_sections, ruled_lines_done
from marking.errors import BadInputError
from marking.mending.mend import mends, set_downs
from marking.record.record import open_record

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from marking.job.keys import PensTable
    from marking.layout.layout import Layout
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section


def in_turn(
    record: Record, pens: PensTable, layout: Layout, plan: Plan
) -> Sequence[tuple[Section, bool]]:
    """What is inked, in order, and whether it is done: each section, then what is mended there."""
    done = done_sections(record, layout, plan)
    again = set_downs(record, layout, plan, pens)
    return [
        one
        for section in plan.sections
        for one in ((section, section.id in done), *again.get(section.id, ()))
    ]


def known(folder: Path, pens: PensTable, layout: Layout, plan: Plan) -> Sequence[Section]:
    """All that can be asked for; looking makes no record."""
    if not has_record(folder):
        return plan.sections
    with open_record(folder) as record:
        return [section for section, _ in in_turn(record, pens, layout, plan)]


def asked_for(sections: Sequence[Section], name: str | None) -> list[Section]:
    """The section of that name, or all where there is no name. Raises BadInputError for no such."""
    found = [section for section in sections if name in (None, section.id)]
    if not found:
        shown = ", ".join(section.id for section in sections[:6])
        raise BadInputError(f"--section {name}: no such section; there are {shown}, …")
    return found


def lines_to_rule(folder: Path, layout: Layout, plan: Plan) -> int | None:
    """How many lines are still to be ruled by hand; None of a plan that has none to rule."""
    if not plan.ruled:
        return None
    if not has_record(folder):
        return len(plan.ruled)
    with open_record(folder) as record:
        return len(plan.ruled) - len(ruled_lines_done(record, layout, plan))


def mends_to_rule(folder: Path, layout: Layout, plan: Plan) -> tuple[str, ...]:
    """Names of mends of which lines are still to be ruled anew by hand."""
    if not plan.ruled or not has_record(folder):
        return ()
    with open_record(folder) as record:
        return tuple(one.id for one in mends(record, layout, plan) if one.to_rule)
