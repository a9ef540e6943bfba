"""Finds where the device stands for a section, with the person at the table, and keeps it.

It owns what may be inked by: the record of a section begun, readings from a file or under the
pen, or the planned place; it must not know how a stroke is inked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from devices.keys import has_keyboard, key_pressed
from devices.progress import in_words, verdicts
from devices.sighting import sight
from devices.stance import as_set_down, at_pose, from_readings, marks_in_sight, still_to_ink
from devices.workplace import set_for
from marking.errors import BadInputError, RefusedError
from marking.lengths import format_length
from marking.readings import READING_SD, MarkReading
from marking.record import layout_hash
from marking.standing import keep_placement, pose_from, pose_record, setup_record

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.stance import Stance
    from devices.workplace import Link, Workplace
    from marking.pose import Pose
    from marking.record import KeptRun
    from marking.sections import Section
    from marking.witness import Mark

_SAME_PLACE = 0.2
"""A placement that moves a corner of the window by less than this, in mm, is the same one."""
_FEWEST = 2
"""Marks that tell where a device stands."""


def agreed(section: Section, place: Workplace, *, stands: bool) -> bool:
    """Says where to set the device down, or to leave it, and asks whether it is there."""
    if stands:
        place.person.say(
            f"{section.id} is begun: do not move the device, nor the cover under it. If it was "
            "moved, answer n"
        )
        if place.person.agrees("Does the device stand where it stood?"):
            return True
        place.person.say("Then read its marks anew: run drive again with --moved")
        return False
    units = place.job.units
    x, y = section.window[:2]
    if place.plan.zone.feed is not None:
        fed = (x, y)[place.plan.zone.feed]
        place.person.say(
            f"{section.id}: feed the loose canvas, squared to a drawn thread, until the pen's "
            f"reach begins {format_length(fed, units)} from the canvas's zero corner"
        )
        return place.person.agrees(f"Is the canvas fed in for {section.id}?")
    turned = ", turned a quarter from its profile," if section.turned else ""
    place.person.say(
        f"{section.id}: set the device down{turned} with "
        f"{place.job.plotter.pointing(turned=section.turned)}, the corner of its reach nearest the "
        f"zero corner {format_length(x, units)} along from the zero end and "
        f"{format_length(y, units)} across from the near edge, by tape from the zero corner"
    )
    return place.person.agrees(f"Is the device set down for {section.id}?")


def refuse_out_of_turn(section: Section, place: Workplace) -> None:
    """Refuses a section whose marks are not on the cover yet. Raises RefusedError."""
    missing = still_to_ink(section, place.plan, place.layout, place.record)
    seen = _marks(section, place)
    if place.rehearsal or not missing or len([m for m in seen if m.id not in missing]) >= _FEWEST:
        return
    first = list(dict.fromkeys(missing.values()))
    raise RefusedError(
        f"section {section.id} is read by marks that {' and '.join(first)} "
        f"{'ink' if len(first) > 1 else 'inks'}, and that is not done: nothing would tell where "
        f"the device stands; nothing was inked. Ink {first[0]} first: leave --section out, and "
        "drive takes them in turn"
    )


def found(
    section: Section, earlier: Sequence[KeptRun], place: Workplace, link: Link
) -> Stance | None:
    """Where the device stands, by the record, by readings or as planned; None if not allowed."""
    readings = [one for one in place.readings if one.section == section.id]
    if earlier and not place.moved:
        return _as_it_stood(section, pose_from(earlier[-1].pose), readings, place, link)
    if not readings and place.person.attended and _readable(section, place):
        readings = _sighted(section, place, link)
    if readings:
        stance = _by(section, readings, place)
        place.record.add_readings(layout_hash(place.layout), readings)
    else:
        stance = _unread(section, place)
    place.person.say(f"{section.id}: {stance.advice}")
    if not stance.fits:
        place.person.say("Nothing was inked, and no reason helps here: do what it says")
        return None
    if not stance.allowed and place.ink_anyway is None:
        place.person.say(
            "Nothing was inked. Do what it says, or give --ink-anyway with your reason"
        )
        return None
    if not stance.allowed:
        place.person.say(f"It is inked all the same, and recorded why: {place.ink_anyway}")
    _keep(stance, place)
    return stance


def _as_it_stood(
    section: Section, pose: Pose, readings: Sequence[MarkReading], place: Workplace, link: Link
) -> Stance | None:
    if readings:
        _refuse_other_pose(section, _by(section, readings, place).pose, pose)
    stance = at_pose(section, pose)
    if _hangs_over_its_line(stance, place, link):
        return stance
    place.person.say("Then read its marks anew: run drive again with --moved")
    return None


def _unread(section: Section, place: Workplace) -> Stance:
    """The planned place, where that is all there is to go by. Raises RefusedError."""
    if place.moved:
        raise RefusedError(
            f"section {section.id}: the device was moved, and no marks were read, so nobody knows "
            "where it stands; nothing was inked. Give --readings FILE, or leave --unattended out "
            "and read them under the pen. With no mark in reach, bring it back over a line that "
            "it has drawn, and run drive without --moved"
        )
    if place.rehearsal:
        advice = "a rehearsal: the device is taken to stand exactly where planned"
        return as_set_down(section, allowed=True, advice=advice)
    if place.person.attended:
        advice = "no mark is in its reach: it is taken to stand where the tape says"
        return as_set_down(section, allowed=True, advice=advice)
    advice = (
        "no marks were read, so nobody knows where the device stands. Give --readings FILE, or "
        "leave --unattended out and read them under the pen"
    )
    return as_set_down(section, allowed=False, advice=advice)


def _by(section: Section, readings: Sequence[MarkReading], place: Workplace) -> Stance:
    return from_readings(
        section, readings, place.plan, place.layout, place.job, place.record, place.correction
    )


def _marks(section: Section, place: Workplace) -> tuple[Mark, ...]:
    return marks_in_sight(section, place.plan, place.layout, place.job, place.record)


def _readable(section: Section, place: Workplace) -> list[Mark]:
    """The marks that are on the cover; on a simulated cloth, all that should be."""
    missing = still_to_ink(section, place.plan, place.layout, place.record)
    return [m for m in _marks(section, place) if place.rehearsal or m.id not in missing]


def _keep(stance: Stance, place: Workplace) -> None:
    """Keeps the placement, by control marks just as the verb `place` does."""
    placed = stance.placed
    if placed is not None and stance.by_control:
        accepted = place.ink_anyway is not None
        keep_placement(place.record, place.layout, place.plan, placed, accepted=accepted)
        return
    detail = {"advice": stance.advice, "allowed": stance.allowed, "override": place.ink_anyway}
    place.record.add_placement(
        layout_hash(place.layout),
        stance.section.id,
        pose_record(stance.pose),
        [] if placed is None else placed.covariance.tolist(),
        detail if placed is None else {**detail, **setup_record(placed.inking.setup)},
    )


def _refuse_other_pose(section: Section, read: Pose, kept: Pose) -> None:
    x0, y0, x1, y1 = section.window
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    off = float(np.linalg.norm(read(corners) - kept(corners), axis=1).max())
    if off > _SAME_PLACE:
        raise RefusedError(
            f"section {section.id} was begun {off:.1f} mm from where these readings put the "
            "device; nothing was inked. If it was moved, say so with --moved; if not, leave the "
            "readings out"
        )


def _hangs_over_its_line(stance: Stance, place: Workplace, link: Link) -> bool:
    """One check by eye: the pen, raised, over the beginning of a line that is surely drawn."""
    made = set_for(stance.section, place)
    known = verdicts(made.strokes, place.record.strokes(stance.section.id))
    place.person.say(in_words(known, stance.section.id))
    if not known.drawn:
        return True
    first = next(stroke for stroke in made.strokes if stroke.id == known.drawn[0])
    link.go(first.path[0])
    return place.person.agrees(
        "The pen hangs over where a drawn line begins. Is it over it, to half a pen's width?"
    )


def _sighted(section: Section, place: Workplace, link: Link) -> list[MarkReading]:
    if not has_keyboard():
        raise BadInputError(
            f"section {section.id}: its marks are read with the arrow keys, and there is no "
            "keyboard here; give --readings FILE"
        )
    marks = _readable(section, place)
    taken = sight(marks, link.set.bed, link.go, key_pressed, place.person.say)
    if taken is None:
        raise RefusedError(f"section {section.id}: no marks were read, so nothing was inked")
    unit = link.set.bed.unit
    return [
        MarkReading(section.id, one.mark, (one.at[0] * unit, one.at[1] * unit), READING_SD, "drive")
        for one in taken
    ]
