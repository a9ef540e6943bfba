"""Finds where the device stands for a section, with the person at the table, and keeps it.

It owns what may be inked by: the record of a section begun, readings from a file or under the
pen, or the planned place; it must not know how a stroke is inked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.driving.kept_places import add_whereabouts
from devices.session.keypresses import has_keyboard, key_pressed
from devices.session.progress import in_words, verdicts
from devices.session.session import begin, set_for
from devices.session.whereabouts import (
    doubt,
    ended_unseen,
    given_before,
    loss,
    read_anew,
    unseen_restart,
)
from devices.setting_down.pen_left_where import way_of_run
from devices.setting_down.read_marks import sight
from devices.setting_down.scatter_words import scatter_line
from devices.setting_down.set_down_words import (
    clamping_of,
    height_too,
    question,
    set_down_record,
    unread_mend,
    verdict_record,
    what_to_do,
    with_what_follows,
)
from devices.setting_down.slip_words import foreseen, slip_report
from devices.setting_down.standstill import inking_pose, refuse_old_readings, still_there
from devices.setting_down.vernier_halves import with_halves
from devices.setting_down.where_it_stands import (
    as_set_down,
    at_pose,
    drawn_now,
    from_readings,
    ground_of,
    marks_in_reach,
    marks_in_sight,
    still_to_ink,
)
from marking.begun.on_the_cover import keep_placement, pose_from, setup_record
from marking.errors import BadInputError, RefusedError
from marking.record.readings import READING_SD, MarkReading
from marking.record.record import layout_hash
from marking.sections.mended import section_mended

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.driving.kept_places import KeptWhereabouts
    from devices.session.session import Link, Workplace
    from devices.setting_down.where_it_stands import Stance
    from marking.record.rows import KeptRun
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Section

_FEWEST = 2
"""Marks that tell where a device stands."""


def agreed(section: Section, earlier: Sequence[KeptRun], place: Workplace) -> bool:
    """Says where to set the device down, or to leave it, and asks whether it is there."""
    lost = _lost(section, place)
    stays = bool(earlier) and not place.moved
    said = list(_where_to(section, lost, place, stays=stays))
    marks = _readable(section, place)
    place.person.shows("set_down", set_down_record(section, place, marks, said, stays=stays))
    for one in said:
        place.person.say(one)
    at_once = not marks or bool(_readings(section, place))
    if stays and lost is not None:
        at_zero = "Does it stand at its zero, the device and cover unmoved?"
        return place.person.agrees(with_what_follows(at_zero, place, ink=at_once))
    if not stays:
        return place.person.agrees(with_what_follows(question(section, place), place, ink=at_once))
    fresh = all(one.event != "drawn" for one in place.record.strokes(section.id))
    still = "Does the device stand where it stood?"
    if place.person.agrees(with_what_follows(still, place, ink=fresh)):
        return True
    place.person.say("Then read its marks anew: run drive again with --moved")
    return False


def _where_to(
    section: Section, lost: KeptWhereabouts | None, place: Workplace, *, stays: bool
) -> Iterator[str]:
    """What is said of where the device goes, in order."""
    if lost is not None:
        yield (
            f"{section.id}: the machine may have lost its place ({lost.detail}). With its motors "
            "off, bring it to the corner it counts from, pen raised clear of the cloth, and set "
            "its zero there, as you do before a day's work; its marks are read anew before it "
            f"inks{height_too(place)}"
        )
    elif stays:
        if not place.rehearsal and ended_unseen(place.record):
            yield (
                f"{section.id}: the last run did not hear that the pen was raised: look that it is "
                "off the cloth"
            )
        yield (
            f"{section.id} is begun: do not move the device, nor the cover under it. If it was "
            "moved, answer n"
        )
    if not stays:
        yield from what_to_do(section, place)


def refuse_out_of_turn(section: Section, place: Workplace) -> None:
    """Refuses a section whose marks are not on the cover yet. Raises RefusedError."""
    missing = still_to_ink(section, place.plan, place.layout, place.record)
    seen = _marks(section, place)
    ready = [mark for mark in seen if mark.id not in missing]
    held = clamping_of(section, place) is not None and len(ready) == len(seen)
    if place.rehearsal or not missing or held or len(ready) >= _FEWEST:
        return
    first = list(dict.fromkeys(missing.values()))
    raise RefusedError(
        f"section {section.id} is read by marks that {' and '.join(first)} "
        f"{'ink' if len(first) > 1 else 'inks'}, and that is not done: nothing would tell where "
        f"the device stands; nothing was inked. Ink {first[0]} first: leave --section out, and "
        "drive takes them in turn"
    )


def refuse_lost_unread(section: Section, earlier: Sequence[KeptRun], place: Workplace) -> None:
    """Refuses a machine without its place where nobody will read its marks. Raises RefusedError."""
    lost = _lost(section, place)
    if lost is None or _readings(section, place):
        return
    if place.person.attended and (has_keyboard() or not earlier):
        return
    raise RefusedError(
        f"section {section.id}: the machine may have lost its place ({lost.detail}), so nobody "
        f"knows where it would ink; nothing was inked. {_left_out(section, place)}Set its zero at "
        f"the corner it counts from, pen raised clear of the cloth{height_too(place)}. Read its "
        "marks anew, and give them by --readings FILE, or leave --unattended out and read them "
        "under the pen. With no mark in its reach, set out tape marks by canvasrule control"
    )


def relies_on_its_place(section: Section, earlier: Sequence[KeptRun], place: Workplace) -> bool:
    """Whether ink would go wrong if the machine was switched off since it was last seen.

    A flat pen plotter may find its corner again, as its profile says; what was read of one that is
    known to have lost its place holds for where it stood then.
    """
    if earlier and not place.job.plotter.finds_corner:
        return True
    placed_anew = not earlier or place.moved or _lost(section, place) is not None
    return placed_anew and bool(_readings(section, place))


def has_its_place(
    section: Section, earlier: Sequence[KeptRun], place: Workplace, link: Link
) -> bool:
    """Whether the machine may move: it shows that it kept its place, or somebody sees to it.

    Asked before it makes its first move. A machine that finds its zero by switches has found it
    by then. Raises RefusedError where nobody will read its marks.
    """
    if place.rehearsal:
        return True
    why = _why_lost(section, earlier, place, link)
    if why is None:
        return True
    # Readings from a file were taken before: they are old from now on.
    add_whereabouts(place.record, section.id, "lost", why)
    allowed = False
    try:
        refuse_lost_unread(section, earlier, place)
        allowed = agreed(section, earlier, place)
    finally:
        if not allowed:
            # It may have been left with its pen on the cloth.
            link.driver.halt()
    return allowed


def _why_lost(
    section: Section, earlier: Sequence[KeptRun], place: Workplace, link: Link
) -> str | None:
    """Why the machine may not stand as it did when last inked, or when the readings were taken."""
    talk, dialect = link.driver.conversation, link.set.dialect
    given = _readings(section, place)
    again = given_before(given, place.record)
    if not (earlier or given):
        return None
    if place.job.plotter.dialect == "hpgl" and not place.job.plotter.finds_corner:
        # A roll begins where it lies, and so does a bed without switches; but that is brought to
        # its corner and switched on before its marks are read anew.
        flat = place.job.plotter.kind == "flat"
        stood = earlier and not (flat and (place.moved or _lost(section, place) is not None))
        return unseen_restart(talk.greeted, flat=flat, stood=bool(stood), again=again)
    if not dialect.poll or place.job.plotter.homes:
        return None
    told = talk.told
    if told.doubt is not None:
        return told.doubt
    if again and told.stands is not None and told.stands.newborn:
        return "it was switched on, or reset, since the readings were first given"
    if not earlier or place.moved or _lost(section, place) is not None:
        return None
    way = way_of_run(section, earlier[-1], place)
    return doubt(place.record, section.id, told.stands, dialect, way)


def _left_out(section: Section, place: Workplace) -> str:
    """Which of the readings given say nothing of where the machine stands now."""
    given = {one.mark for one in place.readings if one.section == section.id}
    old = sorted(given - {one.mark for one in _readings(section, place)})
    if not old:
        return ""
    return (
        f"The readings given of {', '.join(old)} are those that the record holds from before, "
        "and place nothing now; a mark that truly reads the same again is to be read under the "
        "pen. "
    )


def _lost(section: Section, place: Workplace) -> KeptWhereabouts | None:
    return None if place.rehearsal else loss(place.record, section.id)


def _readings(section: Section, place: Workplace) -> list[MarkReading]:
    """The readings given of this section that tell where the machine stands now."""
    given = [one for one in place.readings if one.section == section.id]
    return list(read_anew(given, _lost(section, place), place.record))


def found(
    section: Section, earlier: Sequence[KeptRun], place: Workplace, link: Link
) -> Stance | None:
    """Where the device stands, by the record, by readings or as planned; None if not allowed."""
    lost = _lost(section, place)
    readings = _readings(section, place)
    if old := _left_out(section, place):
        place.person.say(f"{section.id}: {old.strip()}")
    if earlier and not place.moved and lost is None:
        return _as_it_stood(section, earlier[-1], readings, place, link)
    if earlier and lost is None:
        refuse_old_readings(section, readings, place.record)
    if not readings and place.person.attended and _readable(section, place):
        readings = _sighted(section, place, link)
    if readings or _held_alone(section, place, lost):
        stance = _by(section, readings, place)
        begin(place)
        if not earlier:
            place.record.add_readings(layout_hash(place.layout), readings)
    else:
        stance = _unread(section, place, lost if earlier else None)
    slips = _slips(stance, place)
    tell_verdict(stance, place, slips)
    for line in slips:
        place.person.say(f"{section.id}: {line}")
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
    with place.record.together():
        # Readings that are kept count as those that the device was placed by.
        if earlier:
            # What did not place a device that was moved may be given again, with a reason.
            place.record.add_readings(layout_hash(place.layout), readings)
        keep(stance, place)
        if lost is not None and (stance.placed is not None or not earlier):
            # Placed by its marks, or set down by a person since, its zero set.
            add_whereabouts(place.record, section.id, "found")
    return stance


def tell_verdict(stance: Stance, place: Workplace, slips: Sequence[str] = ()) -> None:
    """Says whether the section may be inked where its device stands."""
    place.person.shows("verdict", verdict_record(stance, place, slips))
    place.person.say(f"{stance.section.id}: {stance.advice}")


def _slips(stance: Stance, place: Workplace) -> Sequence[str]:
    """What the readings would have shown of a slip, and what to read to see smaller ones."""
    placed = stance.placed
    checked = placed is not None and placed.residuals and not placed.doubts and stance.fits
    if placed is None or stance.ground is None or not checked:
        return ()
    in_sight = [mark.id for mark in _readable(stance.section, place)]
    return slip_report(stance.ground, placed.section, placed.inking.setup.readings, in_sight).lines


def _as_it_stood(
    section: Section,
    last: KeptRun,
    readings: Sequence[MarkReading],
    place: Workplace,
    link: Link,
) -> Stance | None:
    """The place it inked from before, held against new readings where there are any."""
    kept = place.record.placements(section.id)
    # A placement is kept before its run begins: the last one is where the device was left.
    pose = inking_pose(kept[-1]) if kept else pose_from(last.pose)
    if readings:
        said = still_there(section, readings, _by(section, readings, place), place.record)
        place.record.add_readings(layout_hash(place.layout), readings)
        place.person.say(f"{section.id}: {said}")
    stance = at_pose(with_halves(section, kept[-1] if kept else None, place), pose)
    if _hangs_over_its_line(stance, place, link):
        place.person.shows("verdict", verdict_record(stance, place, ()))
        return stance
    place.person.say("Then read its marks anew: run drive again with --moved")
    return None


def _unread(section: Section, place: Workplace, lost: KeptWhereabouts | None) -> Stance:
    """The planned place, where that is all there is to go by. Raises RefusedError."""
    if lost is not None:
        raise RefusedError(
            f"section {section.id}: the machine may have lost its place ({lost.detail}), and no "
            "mark is in its reach, so nobody knows where it would ink; nothing was inked. Set "
            "tape marks out by canvasrule control, then run drive again and read them"
        )
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
    if section_mended(section.id) is not None:
        raise RefusedError(
            f"{section.id}: no marks around it were read, so nobody knows where the lines to ink "
            f"anew lie; nothing was inked. {unread_mend(section)}"
        )
    if place.person.attended:
        advice = "no mark is in its reach: it is taken to stand where the tape says"
        return as_set_down(section, allowed=True, advice=advice)
    advice = (
        "no marks were read, so nobody knows where the device stands. Give --readings FILE, or "
        "leave --unattended out and read them under the pen"
    )
    return as_set_down(section, allowed=False, advice=advice)


def _held_alone(section: Section, place: Workplace, lost: KeptWhereabouts | None) -> bool:
    """Whether fence and stop alone tell where it stands: somebody pushed it there just now."""
    if place.rehearsal or place.moved or lost is not None or not place.person.attended:
        return False
    clamping = clamping_of(section, place)
    return clamping is not None and clamping.stopped


def _by(section: Section, readings: Sequence[MarkReading], place: Workplace) -> Stance:
    work = place.plan, place.layout, place.job, place.record, place.correction
    return from_readings(section, readings, *work, at_fence=_fence_counts(section, place))


def _fence_counts(section: Section, place: Workplace) -> bool:
    """A fence holds the frame, and tells nothing of where a carriage that lost its place counts
    from."""
    return _lost(section, place) is None


def _marks(section: Section, place: Workplace) -> tuple[Mark, ...]:
    if _lost(section, place) is not None and clamping_of(section, place) is not None:
        return marks_in_reach(section, place.plan, place.layout, place.job.units, place.record)
    return marks_in_sight(section, place.plan, place.layout, place.job.units, place.record)


def _readable(section: Section, place: Workplace) -> list[Mark]:
    """The marks that are on the cover; on a simulated cloth, all that should be."""
    missing = still_to_ink(section, place.plan, place.layout, place.record)
    return [m for m in _marks(section, place) if place.rehearsal or m.id not in missing]


def keep(stance: Stance, place: Workplace) -> None:
    """Keeps the placement, by tape marks just as the verb `place` does."""
    begin(place)
    placed = stance.placed
    if placed is not None and stance.by_tape_marks:
        accepted = place.ink_anyway is not None
        drawn = drawn_now(place.job, place.record, place.plan)
        keep_placement(place.record, place.layout, place.plan, placed, drawn, accepted=accepted)
        return
    drawn = drawn_now(place.job, place.record, place.plan)
    detail = {"advice": stance.advice, "allowed": stance.allowed, "override": place.ink_anyway}
    place.record.add_placement(
        layout_hash(place.layout),
        stance.section.id,
        stance.pose.as_data(),
        [] if placed is None else placed.covariance.tolist(),
        detail
        if placed is None
        else {**detail, **setup_record(placed.inking.setup, drawn, placed.inking.taken)},
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
    over = "The pen hangs over where a drawn line begins. Is it over it, to half a pen's width?"
    return place.person.agrees(with_what_follows(over, place, ink=True))


def _sighted(section: Section, place: Workplace, link: Link) -> list[MarkReading]:
    if not has_keyboard():
        raise BadInputError(
            f"section {section.id}: its marks are read with the arrow keys, and there is no "
            "keyboard here; give --readings FILE"
        )
    marks = _readable(section, place)
    at = place.plan, place.layout, place.job, place.record, place.correction
    ground = ground_of(section, *at, at_fence=_fence_counts(section, place))
    if ground.scatter is not None:
        said = scatter_line(ground.scatter, place.record, place.layout, place.plan, place.job)
        place.person.say(f"{section.id}: {said}")
    report = foreseen(ground, section, [mark.id for mark in marks])
    for line in () if report is None else report.lines:
        place.person.say(f"{section.id}: {line}")
    person = place.person
    taken = sight(
        marks, link.set.bed, link.go, key_pressed, person.say, person.shows, ink_follows=True
    )
    if taken is None:
        raise RefusedError(f"section {section.id}: no marks were read, so nothing was inked")
    unit = link.set.bed.unit
    # A mark read twice with the pen on the very same step tells nothing more.
    return [
        MarkReading(section.id, one.mark, (one.at[0] * unit, one.at[1] * unit), READING_SD, "drive")
        for one in dict.fromkeys(taken)
    ]
