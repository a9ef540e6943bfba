"""What a person at the table is told before a section is inked: where to, and what is under it.

It knows the plan, the record's times and the clock; it asks nothing and keeps nothing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.begun.on_the_cover import plan_hash
from marking.measures.durations import format_duration
from marking.measures.lengths import format_length
from marking.record.record import utc_now
from marking.sections.feet_words import board_said, two_people
from marking.sections.set_downs import next_step
from marking.sections.standing import standings, stood_on

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from devices.session.session import Workplace
    from marking.sections.plan import Section


def what_to_do(section: Section, place: Workplace) -> Iterator[str]:
    """What is said, in order, before it is asked whether a section's device stands there."""
    units = place.job.units
    x, y = section.window[:2]
    if place.plan.zone.feed is not None:
        fed = format_length((x, y)[place.plan.zone.feed], units)
        yield f"{section.id}: {next_step(place.plan.zone, fed)}"
        return
    yield from under_its_feet(section, place)
    turned = ", turned a quarter from its profile," if section.turned else ""
    yield (
        f"{section.id}: set the device down{turned} with "
        f"{place.job.plotter.pointing(turned=section.turned)}, the corner of its reach nearest the "
        f"zero corner {format_length(x, units)} along from the zero end and "
        f"{format_length(y, units)} across from the near edge, by tape from the zero corner"
    )


def question(section: Section, place: Workplace) -> str:
    """What is asked then."""
    if place.plan.zone.feed is None:
        return f"Is the device set down for {section.id}?"
    moved = "drawn up" if place.plan.zone.own_bed else "fed in"
    return f"Is the canvas {moved} for {section.id}?"


def under_its_feet(section: Section, place: Workplace) -> Iterator[str]:
    """Two people once, ink to let dry first, and boards to stand feet on."""
    zone = place.plan.zone
    if zone.footing is not None and zone.footing.takes_two and section.order == 1:
        yield two_people(zone.footing)
    said = _still_wet(section, place)
    if said:
        yield said
    stood = standings(zone, place.plan.sections, place.layout, place.job).get(section.id)
    for foot in () if stood is None else stood.in_air:
        yield (
            f"{section.id}: {board_said(foot, place.job.units)}: put a board of the table's "
            "height under it, and try it with the hand's weight first"
        )


def _still_wet(section: Section, place: Workplace) -> str:
    """How long to wait for ink that a foot comes to stand on, by the record's own times."""
    inked = {one.id: _last_inked(one, place) for one in place.plan.sections if one.id != section.id}
    now = utc_now()
    drying = place.job.inking.drying
    # A clock that was set back would make ink of tomorrow: it is taken for just laid.
    ages = {
        name: max(0.0, (now - at).total_seconds()) for name, at in inked.items() if at is not None
    }
    young = [one for one in place.plan.sections if ages.get(one.id, drying) < drying]
    under = stood_on(section, young, place.plan.zone, place.job.pens)
    if not under:
        return ""
    wettest = min(under, key=lambda name: ages[name])
    left = math.ceil((drying - ages[wettest]) / 10) * 10
    return (
        f"{section.id}: wait {format_duration(left)} before you set the device down: a foot comes "
        f"to stand on the ink of {' and '.join(under)}, which dries for {format_duration(drying)}"
    )


def _last_inked(section: Section, place: Workplace) -> datetime | None:
    """When ink of a section of this division was last laid; None for never."""
    named = plan_hash(place.plan)
    times = [
        ink.at for ink in place.record.ink() if ink.section == section.id and ink.plan == named
    ]
    if not times:
        return None
    return max([*times, *(stroke.at for stroke in place.record.strokes(section.id))])
