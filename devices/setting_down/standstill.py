"""Whether the device of a section begun still stands where it inked: readings held against it.

It knows the record and a stance by readings, no person, no pen and no port.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.driving.kept_places import add_given
from marking.begun.on_the_cover import pose_from
from marking.errors import RefusedError
from marking.placement.unmoved import seen_move, seen_off

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.session.session import Workplace
    from devices.setting_down.where_it_stands import Stance
    from marking.network.pose import Pose
    from marking.placement.unmoved import SeenMove
    from marking.record.readings import MarkReading
    from marking.record.record import Record
    from marking.record.rows import KeptPlacement
    from marking.sections.plan import Section

_FEWEST = 2
"""Marks that tell where a device stands."""
_TO_SHOW_A_MOVE = "To see whether the device was moved, read its marks anew"


def inking_pose(kept: KeptPlacement) -> Pose:
    """The pose that a kept placement is inked with."""
    detail = kept.detail if isinstance(kept.detail, dict) else {}
    return pose_from(detail.get("inked_with", kept.pose))


def still_there(
    section: Section, readings: Sequence[MarkReading], stance: Stance, record: Record
) -> str:
    """What `readings` of a section begun tell of a move: that nothing has moved, and how surely.

    `stance` is the placement by them. Raises RefusedError where they contradict each other or
    say that the device stands elsewhere now.
    """
    old = kept_before(section, readings, record)
    if len(old) == len(readings):
        return (
            "it is taken to stand where it stood: these readings are those that it was placed by, "
            f"so they show no move since. {_TO_SHOW_A_MOVE}"
        )
    placed = stance.placed
    if placed is None:
        raise RefusedError(f"section {section.id}: {stance.advice}")
    if placed.doubts:
        raise RefusedError(
            f"section {section.id} is begun, and these readings do not tell whether its device "
            f"was moved: {placed.advice}; nothing was inked"
        )
    seen = _seen(stance, record)
    if not seen.by_chance:
        raise RefusedError(
            f"section {section.id} was begun {seen.off:.1f} mm from where these readings put the "
            "device; nothing was inked. If it was moved, say so with --moved when you drive it; "
            "if not, read its marks again"
        )
    said = (
        f"nothing has moved as far as {len({one.mark for one in readings})} marks can tell; it "
        f"goes on where it stood. A move of {seen.noticed:.1f} mm at a corner of its bed would "
        "have been noticed, a smaller one may pass unseen"
    )
    if old:
        return f"{said} ({', '.join(old)} read as before; anew would tell more)"
    return said


def _seen(stance: Stance, record: Record) -> SeenMove:
    if stance.placed is None:
        raise ValueError("only a stance by readings can be held against an earlier one")
    kept = record.placements(stance.section.id)[-1]
    if stance.begun_as is None or not kept.covariance:
        return seen_off(stance.placed, pose_from(kept.pose))
    return seen_move(stance.placed, stance.begun_as)


def kept_before(
    section: Section, readings: Sequence[MarkReading], record: Record
) -> tuple[str, ...]:
    """The marks whose readings are kept already, to the last figure."""
    kept = {(one.mark, one.at_bed) for one in record.readings(section.id)}
    return tuple(one.mark for one in readings if (one.mark, one.at_bed) in kept)


def refuse_old_readings(section: Section, readings: Sequence[MarkReading], record: Record) -> None:
    """Refuses to place a device that was moved by what was read before. Raises RefusedError."""
    old = kept_before(section, readings, record)
    if old and len(old) >= min(_FEWEST, len(readings)):
        raise RefusedError(
            f"section {section.id}: the device was moved, and the readings of {', '.join(old[:6])} "
            "are kept from before, to the last figure: they do not tell where it stands now. "
            "Nothing was inked. Read its marks anew; if it was not moved since they were read, "
            "leave --moved out"
        )


def keep_given(place: Workplace) -> None:
    """Keeps the readings given, before anything can fail: whatever is lost later, they are old.

    To be called before the port is opened.
    """
    if place.readings and not place.rehearsal:
        add_given(place.record, place.readings)
