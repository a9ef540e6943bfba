"""Inks one section: the dry pass, the ink, and going on after any end.

It brings record, machine and person together, and knows no dialect; where the device stands is
found in `devices.setting_down.set_down`.
"""

from __future__ import annotations

import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from devices.driving.port import DeviceError
from devices.inking.pen_change import last_by_slot, left_by_tip, stretches
from devices.session.keypresses import single_keys
from devices.session.progress import in_words, verdicts
from devices.session.run_told import progress_record
from devices.session.session import begin, opened, set_anew, set_for
from devices.setting_down import set_down as setdown
from devices.setting_down.read_pointer import doubt_pointer, find_pointer
from devices.setting_down.read_verniers import (
    by_what_they_show,
    halves_of_these,
    to_read_first,
)
from devices.setting_down.set_down_words import INK_FOLLOWS
from devices.what_moves_ink import device_settings, what_moves_ink
from marking.begun.inked import done_sections, runs_of
from marking.begun.on_the_cover import plan_hash
from marking.errors import RefusedError
from marking.measures.counts import counted
from marking.record.record import NotKeptError, layout_hash

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from devices.dialects.writer import PenUse
    from devices.driving.driver import Cable, Wish
    from devices.inking.pen_change import PenAsked, PenStretch
    from devices.plotter.bed import UnitPoint
    from devices.session.run_told import Ended
    from devices.session.session import Link, Workplace
    from devices.setting_down.where_it_stands import Stance
    from marking.record.rows import KeptRun
    from marking.sections.plan import Section

_SHOWN_EVERY, _DRAWN_EVERY = 5.0, 0.4
"""Seconds between what is said of progress, and what a program is shown of it."""


class RunOutcome(Struct, frozen=True):
    """How the inking of one section ended."""

    ended: Ended
    drawn: int


def ink_section(
    section: Section, place: Workplace, port: Cable, clock: Callable[[], float]
) -> RunOutcome:
    """Inks what the record does not know as drawn. Raises RefusedError and DeviceError."""
    earlier = runs_of(place.record, section.id, place.plan)
    _same_device(earlier, place)
    if not earlier:
        setdown.refuse_out_of_turn(section, place)
    setdown.refuse_lost_unread(section, earlier, place)
    if not setdown.agreed(section, earlier, place):
        return RunOutcome("not allowed", 0)
    with single_keys():
        relied = setdown.relies_on_its_place(section, earlier, place)
        link = opened(section, place, port, clock, relied=relied)
        if not setdown.has_its_place(section, earlier, place, link):
            return RunOutcome("not allowed", 0)
        link.begin()
        try:
            stance = setdown.found(section, earlier, place, link)
            if stance is None:
                return RunOutcome("not allowed", 0)
            first = to_read_first(stance, place)
            if first:
                halves = halves_of_these(stance, first, place)
                outcome = _ink(stance, place, link, clock, only=halves)
                if outcome.ended != "done":
                    return outcome
                stance = by_what_they_show(stance, first, place)
            if stance is None:
                return RunOutcome("not allowed", 0)
            outcome = _ink(stance, place, link, clock)
            if outcome.ended == "done":
                find_pointer(stance, place, link)
            return outcome
        finally:
            link.leave()


def _same_device(earlier: Sequence[KeptRun], place: Workplace) -> None:
    differ = what_moves_ink(earlier[-1].device, place.job, place.correction) if earlier else None
    if differ is not None:
        raise RefusedError(
            f"section {earlier[-1].section} was begun with other settings: {differ}. Put them back "
            "until this section is done, then change them; nothing was inked"
        )


def _ink(
    stance: Stance,
    place: Workplace,
    link: Link,
    clock: Callable[[], float],
    only: frozenset[str] | None = None,
) -> RunOutcome:
    """Draws what is not drawn, or of that `only` some, which leave the section open."""
    section, record, pens = stance.section, place.record, place.job.pens
    made = set_for(section, place)
    known = verdicts(made.strokes, record.strokes(section.id))
    wanted = known.to_ink if only is None else known.to_ink & only
    todo = [stroke for stroke in made.strokes if stroke.id in wanted]
    left = left_by_tip(place.plan.sections, pens, record.strokes())
    last = last_by_slot(place.plan.sections, pens, record.strokes())
    in_turn = list(stretches(section, todo, pens, left, last))
    _refuse_pens_unattended(section, in_turn, place)
    link = set_anew(link, section, place)
    _tell_overstated(link, place)
    if place.outline and todo and only is None:
        link.driver.send(link.script.outline(_outline(todo)))
        if not place.person.agrees("That was the outline, pen up. Ink it?"):
            link.driver.send(link.script.closing())
            return RunOutcome("not allowed", len(known.drawn))
    shown = _Shown(place, section, todo, len(known.drawn), clock)
    link.driver.drawn, link.driver.wish = shown.drawn, place.person.wish
    with _cloth_told(section, place, made.strokes):
        ended = _stretch_by_stretch(stance, in_turn, place, link, shown)
        if not shown.left and only is None:
            record.add_ink(place.layout, section.id, "done", plan_hash(place.plan))
    if ended == "done" and shown.left:
        raise DeviceError(
            f"section {section.id}: all was sent, and {counted(shown.left, 'stroke')} not "
            "confirmed. Look at the cloth, and run drive again to ink what is missing"
        )
    return RunOutcome(ended, shown.done)


@contextmanager
def _cloth_told(section: Section, place: Workplace, strokes: Sequence[PenUse]) -> Iterator[None]:
    """When the record takes no more, says what is on the cloth. Raises DeviceError then.

    The run is over by that time and the pen told to rise: nothing more is inked than is kept.
    """
    try:
        yield
    except NotKeptError as fault:
        try:
            cloth = in_words(verdicts(strokes, place.record.strokes(section.id)), section.id)
        except NotKeptError:
            cloth = f"section {section.id}: what is drawn is told when the record can be read"
        raise DeviceError(
            f"{fault.why}, so the run was ended. The plotter was told to raise its pen: look that "
            f"it is up. {cloth}. Move neither device nor cover. {fault.advice}; then run drive "
            "again to go on"
        ) from None


def _tell_overstated(link: Link, place: Workplace) -> None:
    talk = link.driver.conversation
    said = talk.greeted.overstated
    if said is not None:
        place.person.say(
            f"The plotter is said to hold {said} bytes and holds fewer: {talk.room} are "
            "used, which is slower. Set plotter.buffer_bytes to what its manual says"
        )


def _refuse_pens_unattended(
    section: Section, in_turn: Sequence[PenStretch], place: Workplace
) -> None:
    asked = [question for stretch in in_turn for question in stretch.questions]
    if asked and not (place.person.attended or place.rehearsal):
        raise RefusedError(
            f"section {section.id}: nobody is here to change pens, and it needs that "
            f'("{asked[0]}"); nothing was inked. Leave --unattended out, or give a pen that '
            "shares a holder another slot under [pens]"
        )


def _stretch_by_stretch(
    stance: Stance, in_turn: Sequence[PenStretch], place: Workplace, link: Link, shown: _Shown
) -> Literal["done", "paused", "stopped"]:
    driver, script = link.driver, link.script
    begun = False
    for stretch in in_turn:
        in_hand = (_agreed(one, stance.section, place, stretch.asked[-1]) for one in stretch.asked)
        if not all(in_hand):
            driver.send(script.closing())
            return "paused"
        if not begun:
            driver.run = _begun(stance, place)
            begun = True
        if stretch.new_pen:
            # However the section ends, and whether or not it is gone on with.
            doubt_pointer(place)
        if stretch.questions:
            # A pen was changed by hand: what was pressed at the panel meanwhile tells now.
            driver.send(script.hop_to(script.at))
        shown.show()
        wish: Wish = driver.send(script.ink(stretch.strokes))
        if wish == "stop":
            return "stopped"
        if wish == "pause" and shown.left:
            # A pen left over the cloth for a while dries, or drips.
            driver.send(script.closing())
            return "paused"
    return "stopped" if driver.send(script.closing()) == "stop" else "done"


def _agreed(asked: PenAsked, section: Section, place: Workplace, last: PenAsked) -> bool:
    place.person.shows("pen", asked.record(section.id))
    then = f" {INK_FOLLOWS}" if asked is last else ""
    return place.person.agrees(f"{asked.question}{then}")


def _begun(stance: Stance, place: Workplace) -> int:
    """Keeps that the next byte may be ink; returns the run's number."""
    begin(place)
    section, division = stance.section.id, plan_hash(place.plan)
    place.record.add_ink(place.layout, section, "begun", division)
    return place.record.add_run(
        layout_hash(place.layout),
        section,
        device_settings(place.job, place.correction),
        stance.pose.as_data(),
        place.ink_anyway or stance.advice,
        division,
    )


def _outline(strokes: Sequence[PenUse]) -> list[UnitPoint]:
    points = np.concatenate([np.array(stroke.path) for stroke in strokes])
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]


class _Shown:
    """Progress as the person sees it."""

    def __init__(
        self,
        place: Workplace,
        section: Section,
        todo: Sequence[PenUse],
        done: int,
        clock: Callable[[], float],
    ) -> None:
        self.done = done
        self.left = len(todo)
        self._place, self._section, self._clock = place, section, clock
        self._all = len(todo) + done
        self._next = self._next_shown = 0.0
        self._began = clock()
        self._lines = {piece.stroke.id: piece.stroke.points for piece in section.pieces}
        self._fresh: list[str] = []
        self._sections = len(done_sections(place.record, place.layout, place.plan))
        self._drawn_now = 0

    def drawn(self, strokes: tuple[str, ...]) -> None:
        """Counts, and says something now and then."""
        self.done += len(strokes)
        self._drawn_now += len(strokes)
        self.left -= len(strokes)
        self._fresh += strokes
        now = self._clock()
        if time.monotonic() >= self._next_shown or not self.left:
            self.show()
        if now < self._next:
            return
        self._next = now + _SHOWN_EVERY
        pace = self._pace
        self._place.person.say(
            f"{self._section.id}: {self.done} of {counted(self._all, 'stroke')}, about "
            f"{pace * self.left / 60:.0f} min left here; {self._sections} of "
            f"{counted(len(self._place.plan.sections), 'section')} done"
        )

    def show(self) -> None:
        """Shows a program how far it is, and what was drawn since, as polylines, table frame, mm,
        where it was planned to stand.
        """
        self._next_shown = time.monotonic() + _DRAWN_EVERY
        lines = [self._lines[one].round(2).tolist() for one in self._fresh if one in self._lines]
        self._fresh.clear()
        record = progress_record(
            self._section.id,
            (self.done, self._all),
            self._pace * self.left if self._drawn_now else None,
            (self._sections, len(self._place.plan.sections)),
            lines,
        )
        self._place.person.shows("progress", record)

    @property
    def _pace(self) -> float:
        """Seconds a stroke takes here."""
        return (self._clock() - self._began) / max(self._drawn_now, 1)
