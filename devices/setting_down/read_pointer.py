"""Finds how far what reads stands from what inks, over crossings just inked, the device unmoved.

It brings person, keys and the raised pen together; what the offset then does is
`devices.setting_down.pointer_known`'s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from devices.history import device_name
from devices.plotter.pointer import WANTED, pen_changed, pointer_check, pointer_record
from devices.session.keypresses import has_keyboard, key_pressed
from devices.session.session import set_anew
from devices.setting_down.pointer_known import pointers_kept
from devices.setting_down.read_marks import sight
from marking.mending.chosen import called
from marking.mending.marks_around import asked_for, crossings
from marking.placement.laid_ink import stances
from marking.record.record import layout_hash
from marking.sections.locating_marks import Mark
from marking.sections.mended import section_mended

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.plotter.pointer import PointerCheck
    from devices.session.session import Link, Workplace
    from devices.setting_down.where_it_stands import Stance
    from marking.arrays import FloatArray
    from marking.sections.plan import Section


def doubt_pointer(place: Workplace) -> None:
    """Keeps that another pen inks from now on, which may stand otherwise than the last."""
    kept = pointers_kept(place.record, place.job.plotter)
    if kept and not place.rehearsal:
        _keep(pen_changed(kept[-1], place.job.plotter.pointer_doubt, _placed(place)), place)


def find_pointer(stance: Stance, place: Workplace, link: Link) -> None:
    """Asks for it once a section is inked where it is to be found, and keeps what is found.

    That is at the first section, after a pen was changed in one and where a person wants it;
    where nobody is there to bring the pen over a crossing, it says what is taken instead.
    """
    section, after = stance.section, _placed(place)
    kept = pointers_kept(place.record, place.job.plotter)
    first = not kept and len({i.section for i in place.record.ink() if i.event == "done"}) == 1
    # Since the section was placed: perhaps in a run of it that was stopped.
    new_pen = bool(kept) and not kept[-1].count and kept[-1].after == after
    if place.rehearsal or section_mended(section.id) is not None:
        return
    if not (first or new_pen or place.pointer):
        return
    check = None
    if place.person.attended and has_keyboard():
        check = _found(stance, place, link, after)
    if check is not None:
        _keep(check, place)
        return
    doubt = kept[-1].doubt if kept else place.job.plotter.pointer_doubt
    stands = "where it was found before" if kept else "where its pen does"
    if kept and not kept[-1].count:
        stands = "where it was found with the last pen"
    place.person.say(
        f"{section.id}: nobody found how far what reads stands from what inks; it is taken to "
        f"stand {stands}, to {doubt:.2f} mm. drive --pointer asks for it after the next section"
    )


def _placed(place: Workplace) -> int:
    """The last placement kept."""
    return max((one.id for one in place.record.placements()), default=0)


def _keep(check: PointerCheck, place: Workplace) -> None:
    name = device_name(place.job.plotter)
    place.record.add_check(layout_hash(place.layout), "pointer", name, pointer_record(check))


def _found(stance: Stance, place: Workplace, link: Link, after: int) -> PointerCheck | None:
    """What a person finds; None where it is left, or there is no crossing to find it over."""
    section = next(one for one in place.plan.sections if one.id == stance.section.id)
    spots = _crossings(section, place)
    if not spots:
        return None
    at = stance.pose.inverse(np.array([mark.at_table for mark in spots]))
    marks = [
        Mark(mark.id, (float(x), float(y)), "grid")
        for mark, (x, y) in zip(spots, at.tolist(), strict=True)
    ]
    person = place.person
    question = (
        f"{section.id} is inked. Do not move the device: how far what reads stands from what inks "
        f"is found over {len(marks)} crossings of its own lines. Find it now?"
    )
    while person.agrees(question):
        link = set_anew(link, stance.section, place)
        taken = sight(marks, link.set.bed, link.go, key_pressed, person.say, person.shows)
        link.driver.send(link.script.closing())
        if taken is None:
            return None
        read = np.array([one.at for one in taken]) * link.set.bed.unit
        check = pointer_check(_drawn_at(marks, [t.mark for t in taken], link) - read, after)
        if check is not None:
            x, y = check.offset
            person.say(
                f"{section.id}: what inks stands x {x:+.2f}, y {y:+.2f} mm from what reads, to "
                f"{1.96 * check.doubt:.2f} in 95 of 100: counted from now on, and out of what was "
                "read before"
            )
            return check
        question = "The readings contradict each other: one of them slipped. Take them anew?"
    return None


def _crossings(section: Section, place: Workplace) -> list[Mark]:
    """The few crossings of its own lines to bring the pen over, called as a person calls them."""
    # What was drawn before the device was moved says nothing of where it stands now.
    last = stances(place.record)[section.id][-1].strokes
    pieces = [p for p in section.pieces if last is None or p.stroke.id in last]
    found = crossings({section.id: pieces}, (), section.window)
    named = []
    for mark in asked_for(found, section.core)[:WANTED]:
        lines = called(place.layout, mark.id.split("/"))
        named.append(Mark(" and ".join(lines), mark.at_table, "grid"))
    return named


def _drawn_at(marks: Sequence[Mark], read: Sequence[str], link: Link) -> FloatArray:
    """Where the pen was sent for what was read of `marks`, (n, 2) mm in the device's axes."""
    at, bed = {mark.id: mark.at_table for mark in marks}, link.set.bed
    drawn: FloatArray = (np.array([at[name] for name in read]) - bed.origin_table) @ bed.to_bed.T
    return drawn
