"""Inks section after section on the real plotter or a simulated one, up to one that does not end.

It brings record, port and rehearsal together with what is inked in turn; one section's inking is
`devices.inking.section`'s.
"""

from __future__ import annotations

import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from devices.begun import guard_division
from devices.inking.in_turn import in_turn
from devices.inking.section import ink_section
from devices.inking.waits import let_ink_be_laid
from devices.session.progress import what_next
from devices.session.run_told import ended_record
from devices.session.session import port_for
from devices.setting_down.standstill import keep_given
from marking.errors import CanvasruleError
from marking.measures.counts import counted
from marking.mending.mend import mends
from marking.mending.words import looking_over_said
from marking.record.record import open_record
from marking.sections.mended import mended_name

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from contextlib import AbstractContextManager
    from pathlib import Path

    from devices.driving.driver import Cable
    from devices.inking.section import RunOutcome
    from devices.session.run_told import Ended
    from devices.session.session import Workplace
    from marking.job.keys import PensTable
    from marking.layout.layout import Layout
    from marking.proof.verniers import JoinVernier
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section


class Wished(Struct, frozen=True):
    """How sections are to be inked, beside what they share at the table."""

    folder: Path
    port: str | None
    pace: float
    """How many times faster a simulated plotter's time runs."""
    most: int | None
    """How many sections to ink, at most."""
    untried: str | None
    """A reason to ink although it was not tried that the ink stays."""


class Commands(Struct, frozen=True):
    """What a person types, for what is said to them."""

    trial: str
    days: str
    again: Callable[[int | None, bool], str]
    """What goes on, with so many sections still asked for and whether the section was placed."""


def record_for(folder: Path, *, simulate: bool) -> AbstractContextManager[Record]:
    """The job's record, or that of a rehearsal, made anew."""
    if simulate:
        from devices.inking.rehearsal import rehearsal_record

        return rehearsal_record(folder)
    return open_record(folder)


def verniers_added(
    plan: Plan, layout: Layout, pens: PensTable
) -> tuple[Plan, tuple[JoinVernier, ...], str]:
    """The sections with their halves of verniers, these, and a word on how many there are."""
    from marking.proof.drawn import with_verniers

    drawn, verniers = with_verniers(plan, layout, pens)
    said = (
        f"{counted(len(verniers), 'vernier')} over the joins, one half by each section, with the "
        f"removable pen from holder {pens.removable.slot}"
    )
    return drawn, verniers, said


def ink_in_turn(
    sections: Sequence[Section], place: Workplace, wished: Wished, commands: Commands
) -> dict[str, RunOutcome]:
    """Inks what is not done, one section after another, up to the first that is not finished."""
    say = place.person.say
    guard_division(place.record, place.job, place.layout, place.plan, place.correction)
    traced = sorted({ink.section for ink in place.record.ink() if ink.section.startswith("beam ")})
    if traced:
        say(
            f"note: lines were traced by the projector here already ({', '.join(traced)}, of the "
            "beam's own sections). The plotter would ink them again; leave out what they cover"
        )
    if place.rehearsal:
        say("A rehearsal: the plotter and the cloth are simulated")
    turns = in_turn(place.record, place.job.pens, place.layout, place.plan)
    done = {section.id for section, inked in turns if inked}
    todo = [section for section in sections if section.id not in done]
    if todo and not place.rehearsal:
        let_ink_be_laid(place, wished.untried, commands.trial, commands.days)
    if not todo:
        place.person.shows("ended", ended_record(None, "done", (), _not_done(place)))
    keep_given(place)
    outcomes: dict[str, RunOutcome] = {}
    for count, section in enumerate(todo[: wished.most]):
        most = None if wished.most is None else wished.most - count
        outcomes[section.id] = _inked(section, place, wished, commands, most)
        if outcomes[section.id].ended != "done":
            break
    if place.rehearsal:
        from devices.inking.rehearsal import picture

        pictured = [*place.plan.sections, *(section for section in todo if section.id in outcomes)]
        shown = picture(wished.folder, place.job, pictured, place.correction)
        say(f"A rehearsal: no cloth was inked, and nothing of it is kept; look at {shown}")
    return outcomes


def _inked(
    section: Section, place: Workplace, wished: Wished, commands: Commands, most: int | None
) -> RunOutcome:
    """Inks one section, of `most` that are still asked for; however that ends, says what next."""
    ended: Ended | Literal["failed", "interrupted"] = "interrupted"
    before = len(place.record.placements(section.id))
    try:
        with ports(section, place, wished) as (port, clock):
            outcome = ink_section(section, place, port, clock)
            ended = outcome.ended
    except CanvasruleError:
        ended = "failed"
        raise
    finally:
        # The terminal that it would be said on may be what has gone, or the disk read for it.
        with suppress(OSError, CanvasruleError):
            placed = len(place.record.placements(section.id)) > before
            words = _what_next(section, ended, place, commands.again(most, placed))
            left = _not_done(place)
            # A program goes on by itself: the last of what comes next is what a person types.
            told = words if ended == "done" else words[:-1]
            place.person.shows("ended", ended_record(section.id, ended, told, left))
            for text in words:
                place.person.say(text)
    return outcome


def _what_next(section: Section, ended: str, place: Workplace, again: str) -> list[str]:
    if place.rehearsal:
        return []
    if ended == "done":
        found = mends(place.record, place.layout, place.plan)
        own = [one for one in found if section.id in (mended_name(at, one.id) for at in one.pieces)]
        return [looking_over_said(one) for one in own if one.waits_for_a_look]
    return list(what_next(section.id, ended, place.record, again))


def _not_done(place: Workplace) -> list[str]:
    """What is still to be inked, in order."""
    turns = in_turn(place.record, place.job.pens, place.layout, place.plan)
    return [section.id for section, inked in turns if not inked]


@contextmanager
def ports(
    section: Section, place: Workplace, wished: Wished
) -> Iterator[tuple[Cable, Callable[[], float]]]:
    """The port for one section and the clock that goes with it."""
    if place.rehearsal:
        from devices.inking.rehearsal import rehearsal_port

        with rehearsal_port(
            wished.folder, place.job.plotter, section, place.correction, wished.pace
        ) as simulated:
            yield simulated, simulated.clock
        return
    port = port_for(wished.port, place.job.plotter, place.person)
    try:
        yield port, time.monotonic
    finally:
        port.close()
