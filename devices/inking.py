"""Inks one section: where the device stands, the dry pass, the ink, and going on after any end.

It brings record, placement, machine and person together, and knows no dialect.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from devices.conversation import Conversation
from devices.keys import has_keyboard, key_pressed, single_keys
from devices.machine import Setting, device_digest, setting
from devices.penchange import spent_by_slot, stretches
from devices.progress import in_words, verdicts
from devices.run import Driver
from devices.script import Script
from devices.sighting import sight
from devices.standing import (
    Standing,
    as_set_down,
    at_pose,
    from_readings,
    marks_in_sight,
    pose_from,
    pose_record,
)
from marking.errors import BadInputError, RefusedError
from marking.lengths import format_length
from marking.readings import READING_SD, MarkReading
from marking.record import layout_hash
from marking.standing import keep_placement

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from devices.bed import Point
    from devices.correction import Correction
    from devices.hand import Inking
    from devices.job import Job
    from devices.person import Person
    from devices.run import Line, Wish
    from marking.layout import Layout
    from marking.pose import Pose
    from marking.record import KeptRun, Record
    from marking.sections import Plan, Section
    from marking.witness import Mark

_SAME_PLACE = 0.2
"""A placement that moves a corner of the window by less than this, in mm, is the same one."""
_SHOWN_EVERY = 5.0


@dataclass(frozen=True)
class Workplace:
    """All that the sections of one job share while it is driven."""

    job: Job
    layout: Layout
    plan: Plan
    record: Record
    person: Person
    readings: Sequence[MarkReading]
    moved: bool
    ink_anyway: str | None
    outline: bool
    correction: Correction | None = None
    """What the last check of the plotter says to draw with."""


@dataclass(frozen=True)
class Outcome:
    """How the inking of one section ended."""

    ended: Literal["done", "paused", "stopped", "not allowed"]
    drawn: int


def is_done(section: Section, place: Workplace) -> bool:
    """Whether the record says that a section is inked."""
    return any(kept.section == section.id and kept.event == "done" for kept in place.record.ink())


def ink_section(
    section: Section, place: Workplace, port: Line, clock: Callable[[], float]
) -> Outcome:
    """Inks what the record does not know as drawn. Raises RefusedError and DeviceError."""
    earlier = place.record.runs(section.id)
    _same_device(earlier, place)
    _say_where(section, place)
    if not place.person.agrees(f"Is the device set down for {section.id}?"):
        return Outcome("not allowed", 0)
    with single_keys():
        link = _open(section, place, port, clock)
        standing = _standing(section, earlier, place, link)
        if standing is None:
            return Outcome("not allowed", 0)
        return _ink(section, standing, place, port, clock)


def _say_where(section: Section, place: Workplace) -> None:
    units = place.job.units
    x, y = section.window[:2]
    place.person.say(
        f"{section.id}: set the device down with its low corner {format_length(x, units)} along "
        f"from the zero end and {format_length(y, units)} across from the near edge, by tape "
        "from the zero corner"
    )


def _same_device(earlier: Sequence[KeptRun], place: Workplace) -> None:
    if not earlier:
        return
    last = earlier[-1]
    if last.layout != layout_hash(place.layout):
        raise RefusedError(
            f"section {last.section} was begun with another layout; put job.toml back as it was"
        )
    if last.device != device_digest(place.job.plotter, place.job.pens, place.correction):
        raise RefusedError(
            f"section {last.section} was begun with other [plotter] or [pens] settings; put them "
            "back until this section is done, then change them"
        )


# -- where it stands ---------------------------------------------------------------------------


@dataclass
class _Link:
    """An open conversation before anything is inked: it moves the pen, raised."""

    driver: Driver
    script: Script
    set: Setting

    def go(self, point: Point) -> None:
        """Brings the raised pen over a point."""
        self.driver.send(self.script.hop_to(point))


def _open(section: Section, place: Workplace, port: Line, clock: Callable[[], float]) -> _Link:
    made = _set(section, place)
    driver = Driver(
        port,
        Conversation(made.tongue, made.limits),
        made.tongue,
        place.job.plotter.handshake,
        place.record,
        0,
        section.id,
        lambda: "go on",
        lambda _: None,
        clock,
    )
    driver.greet()
    script = Script(made.hand, made.tongue, driver.conversation.room, made.nudge)
    driver.send(script.opening())
    return _Link(driver, script, made)


def _standing(
    section: Section, earlier: Sequence[KeptRun], place: Workplace, link: _Link
) -> Standing | None:
    """The placement to ink with, by the record, by readings or as planned; None if not allowed."""
    begun = bool(earlier) and not place.moved
    readings = [r for r in place.readings if r.section == section.id]
    if begun:
        pose = pose_from(earlier[-1].pose)
        if readings:
            _refuse_other_pose(
                section,
                _by(section, readings, place).pose,
                pose,
            )
        if not _stands_where_it_stood(section, pose, place, link):
            place.person.say("Then read its marks anew: run drive again with --moved")
            return None
        return Standing(at_pose(section, pose), pose, [], True, "it stands where it stood")
    if not readings and place.person.attended and _marks(section, place):
        readings = _sighted(section, place, link)
    if not readings:
        standing = as_set_down(section)
        place.person.say(f"{section.id}: {standing.advice}")
    else:
        standing = _by(section, readings, place)
        place.record.add_readings(layout_hash(place.layout), readings)
        place.person.say(f"{section.id}: {standing.advice}")
    if not standing.allowed and place.ink_anyway is None:
        place.person.say(
            "Nothing was inked. Do what it says, or give --ink-anyway with your reason"
        )
        return None
    _keep(section, standing, place)
    return standing


def _by(section: Section, readings: Sequence[MarkReading], place: Workplace) -> Standing:
    return from_readings(
        section, readings, place.plan, place.layout, place.job, place.record, place.correction
    )


def _marks(section: Section, place: Workplace) -> tuple[Mark, ...]:
    return marks_in_sight(section, place.plan, place.layout, place.job, place.record)


def _set(section: Section, place: Workplace) -> Setting:
    return setting(section, place.job.plotter, place.job.pens, place.correction)


def _keep(section: Section, standing: Standing, place: Workplace) -> None:
    """Keeps the placement, by control marks just as the verb `place` does."""
    if standing.placed is not None:
        accepted = place.ink_anyway is not None
        keep_placement(place.record, place.layout, place.plan, standing.placed, accepted=accepted)
        return
    place.record.add_placement(
        layout_hash(place.layout),
        section.id,
        pose_record(standing.pose),
        standing.covariance,
        {"advice": standing.advice, "allowed": standing.allowed, "override": place.ink_anyway},
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


def _stands_where_it_stood(section: Section, pose: Pose, place: Workplace, link: _Link) -> bool:
    """One check by eye: the pen, raised, over the beginning of a line that is surely drawn."""
    made = _set(at_pose(section, pose), place)
    found = verdicts(made.strokes, place.record.strokes(section.id))
    place.person.say(in_words(found, section.id))
    if not found.drawn:
        return True
    first = next(stroke for stroke in made.strokes if stroke.id == found.drawn[0])
    link.go(first.path[0])
    return place.person.agrees(
        "The pen hangs over where a drawn line begins. Is it over it, to half a pen's width?"
    )


def _sighted(section: Section, place: Workplace, link: _Link) -> list[MarkReading]:
    if not has_keyboard():
        raise BadInputError(
            f"section {section.id}: its marks are read with the arrow keys, and there is no "
            "keyboard here; give --readings FILE, or --unattended to take the planned place"
        )

    taken = sight(_marks(section, place), link.set.bed, link.go, key_pressed, place.person.say)
    if taken is None:
        raise RefusedError(f"section {section.id}: no marks were read, so nothing was inked")
    unit = link.set.bed.unit
    return [
        MarkReading(section.id, one.mark, (one.at[0] * unit, one.at[1] * unit), READING_SD, "drive")
        for one in taken
    ]


# -- ink ---------------------------------------------------------------------------------------


def _ink(
    section: Section, standing: Standing, place: Workplace, port: Line, clock: Callable[[], float]
) -> Outcome:
    record, job = place.record, place.job
    made = _set(standing.section, place)
    found = verdicts(made.strokes, record.strokes(section.id))
    todo = [stroke for stroke in made.strokes if stroke.id in found.to_ink]
    link = _open(standing.section, place, port, clock)
    driver, script = link.driver, link.script
    if place.outline and todo:
        driver.send(script.outline(_outline(todo)))
        if not place.person.agrees("That was the outline, pen up. Ink it?"):
            driver.send(script.closing())
            return Outcome("not allowed", len(found.drawn))
    record.add_ink(place.layout, section.id, "begun")
    driver.run = record.add_run(
        layout_hash(place.layout),
        section.id,
        device_digest(job.plotter, job.pens, place.correction),
        pose_record(standing.pose),
        place.ink_anyway or standing.advice,
    )
    shown = _Shown(place, section, todo, len(found.drawn), clock)
    driver.drawn, driver.wish = shown.drawn, place.person.wish
    spent = spent_by_slot(place.plan.sections, job.pens, record.strokes())
    for stretch in stretches(section, todo, job.pens, spent):
        if not all(place.person.agrees(question) for question in stretch.questions):
            driver.send(script.closing())
            return Outcome("paused", shown.done)
        ended: Wish = driver.send(script.ink(stretch.strokes))
        if ended == "stop":
            return Outcome("stopped", shown.done)
        if ended == "pause" and shown.left:
            # A pen left over the cloth for a while dries, or drips.
            driver.send(script.closing())
            return Outcome("paused", shown.done)
    ended = driver.send(script.closing())
    record.add_ink(place.layout, section.id, "done")
    return Outcome("stopped" if ended == "stop" else "done", shown.done)


def _outline(strokes: Sequence[Inking]) -> list[Point]:
    points = np.concatenate([np.array(stroke.path) for stroke in strokes])
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]


class _Shown:
    """Progress as the person sees it."""

    def __init__(
        self,
        place: Workplace,
        section: Section,
        todo: Sequence[Inking],
        done: int,
        clock: Callable[[], float],
    ) -> None:
        self.done = done
        self.left = len(todo)
        self._place, self._section, self._clock = place, section, clock
        self._all = len(todo) + done
        self._next = 0.0
        self._began = clock()
        self._drawn_now = 0

    def drawn(self, strokes: tuple[str, ...]) -> None:
        """Counts, and says something now and then."""
        self.done += len(strokes)
        self._drawn_now += len(strokes)
        self.left -= len(strokes)
        now = self._clock()
        if now < self._next:
            return
        self._next = now + _SHOWN_EVERY
        pace = (now - self._began) / max(self._drawn_now, 1)
        done_sections = sum(kept.event == "done" for kept in self._place.record.ink())
        self._place.person.say(
            f"{self._section.id}: {self.done} of {self._all} strokes, about "
            f"{pace * self.left / 60:.0f} min left here; {done_sections} of "
            f"{len(self._place.plan.sections)} sections done"
        )
