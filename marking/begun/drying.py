"""How long ink has to dry yet that a foot comes to stand on, by the record's own times.

It knows the record, the division and the clock; what a person is told of it stands elsewhere.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.begun.on_the_cover import plan_hash
from marking.record.record import utc_now
from marking.sections.under_the_feet import stood_on

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from marking.job.keys import PensTable
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section


def left_to_dry(
    section: Section, plan: Plan, record: Record, drying: float, pens: PensTable
) -> tuple[int, Sequence[str]]:
    """Seconds to wait before the device is set down at `section`, and whose ink that is for.

    `drying` is how long ink takes, in seconds.
    """
    inked = {
        one.id: _last_inked(one, plan, record) for one in plan.sections if one.id != section.id
    }
    now = utc_now()
    # A clock that was set back would make ink of tomorrow: it is taken for just laid.
    ages = {
        name: max(0.0, (now - at).total_seconds()) for name, at in inked.items() if at is not None
    }
    young = [one for one in plan.sections if ages.get(one.id, drying) < drying]
    under = stood_on(section, young, plan.zone, pens)
    if not under:
        return 0, []
    wettest = min(under, key=lambda name: ages[name])
    return math.ceil((drying - ages[wettest]) / 10) * 10, under


def _last_inked(section: Section, plan: Plan, record: Record) -> datetime | None:
    """When ink of a section of this division was last laid; None for never."""
    named = plan_hash(plan)
    times = [ink.at for ink in record.ink() if ink.section == section.id and ink.plan == named]
    if not times:
        return None
    return max([*times, *(stroke.at for stroke in record.strokes(section.id))])
