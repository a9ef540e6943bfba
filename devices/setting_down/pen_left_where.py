"""Where a run that ended unseen may have left the pen: on the way that it was sent.

It knows what was sent and confirmed, and nothing of where the device is found to stand.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.session.progress import verdicts
from devices.session.session import set_for
from devices.session.whereabouts import Left, last_driven
from devices.setting_down.where_it_stands import at_pose
from marking.begun.on_the_cover import pose_from

if TYPE_CHECKING:
    from devices.plotter.bed import UnitPoint
    from devices.session.session import Workplace
    from marking.record.rows import KeptRun
    from marking.sections.plan import Section


def way_of_run(section: Section, last: KeptRun, place: Workplace) -> list[tuple[float, float]]:
    """Where a run that ended unseen may have left the pen, in mm of the device."""
    driven = last_driven(place.record)
    if driven is None:
        return []
    made = set_for(at_pose(section, pose_from(last.pose)).section, place)
    kept = place.record.strokes(section.id)
    begun = Left.of(driven.detail)
    known = verdicts(made.strokes, kept)
    paths = {stroke.id: stroke.path for stroke in made.strokes}
    sent = [one.stroke for one in kept[begun.strokes :] if one.event == "sent"]
    under_way = [name for name in dict.fromkeys(sent) if name in known.maybe]
    drawn = [name for name in sent if name in known.drawn]
    # A stroke is kept as sent once the pen is over its start, or on its way there.
    coming = [one.id for one in made.strokes if one.id in known.to_ink and one.id not in sent]
    unit = made.bed.unit

    def in_mm(*spots: UnitPoint) -> list[tuple[float, float]]:
        return [(x * unit, y * unit) for x, y in spots]

    park = made.bed.park
    next_start = [paths[name][0] for name in coming[:1]]
    if not sent:
        # From where it stood to its park, over a line that is drawn, and to its first stroke.
        checked = [paths[name][0] for name in known.drawn[:1]]
        stood = [] if begun.at is None else [begun.at]
        return [*stood, *in_mm(park, *checked, park, *next_start)]
    inked = [spot for name in (*drawn[-1:], *under_way) for spot in paths[name]]
    if under_way:
        return in_mm(*([] if drawn else [park]), *inked, *next_start)
    return in_mm(*inked, *next_start, inked[-1], park)
