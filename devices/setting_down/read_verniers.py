"""Asks what the verniers show that a section has made whole, before anything of it is inked.

It brings person, stance and record together; it draws nothing.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.setting_down.set_down import keep, tell_verdict
from devices.setting_down.steps_read import as_steps, closing
from devices.setting_down.vernier_halves import halves_in, moved_halves
from devices.setting_down.where_it_stands import met_by_steps
from marking.begun.inked import done_sections
from marking.measures.lengths import parse_length
from marking.network.steps import StepsTaken
from marking.placement.recut import carried
from marking.proof.sheet_words import VERNIER_NOTES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.session.session import Workplace
    from devices.setting_down.where_it_stands import Stance
    from marking.proof.verniers import JoinVernier

_WAYS = ("along the table, plus towards the far end", "across it, plus towards the far edge")


def to_read_first(stance: Stance, place: Workplace) -> tuple[JoinVernier, ...]:
    """The verniers to read before the section of `stance` is inked; none where nobody can.

    The removable pen has to have a holder of its own: nobody changes pens twice for a section.
    """
    section, pens = stance.section, place.job.pens
    nobody = place.rehearsal or not place.person.attended
    begun = place.record.strokes(section.id)
    if nobody or begun or stance.placed is None or not place.verniers:
        return ()
    inks = {pens.named(p.stroke.pen).slot for p in section.pieces if p.stroke.pen != "removable"}
    if pens.removable.slot in inks:
        return ()
    done = done_sections(place.record, place.layout, place.plan)
    return closing(section, place.verniers, done)


def halves_of_these(
    stance: Stance, verniers: Sequence[JoinVernier], place: Workplace
) -> frozenset[str]:
    """The strokes that the section draws of `verniers`."""
    return halves_in(stance.section, place, [one.id for one in verniers])


def by_what_they_show(
    stance: Stance, verniers: Sequence[JoinVernier], place: Workplace
) -> Stance | None:
    """`stance` by what a person reads of `verniers` too, kept; None where it may not be inked.

    Where nothing is read it stays as it is.
    """
    name, say = stance.section.id, place.person.say
    say(f"{name}: its halves of {', '.join(one.id for one in verniers)} are drawn. Do not move it")
    say(VERNIER_NOTES[1])
    while True:
        shown = _asked(verniers, place)
        if not shown:
            say(f"{name}: no step was read, so it is inked as its marks have it")
            return stance
        taken = StepsTaken(as_steps(verniers, shown), stance.pose)
        found = met_by_steps(stance, taken, place.job, place.correction)
        wrong = (
            []
            if found.placed is None
            else [d for d in found.placed.doubts if set(d.marks) & set(shown)]
        )
        if not wrong:
            break
        for doubt in wrong:
            say(f"{name}: {doubt.message}")
    tell_verdict(found, place)
    if not found.fits or not (found.allowed or place.ink_anyway is not None):
        say("Nothing was inked. Do what it says, or give --ink-anyway with your reason")
        return None
    if found.placed is None:
        return None
    keep(found, place)
    section = moved_halves(found.placed.section, stance.pose, found.pose, list(shown), place)
    return replace(found, section=carried(section, found.pose))


def _asked(verniers: Sequence[JoinVernier], place: Workplace) -> dict[str, float]:
    shown: dict[str, float] = {}
    for one in verniers:
        question = f"{one.id}, {' to '.join(one.sections)}, {_WAYS[one.axis]}: what step? [mm]"
        while (typed := place.person.tells(f"{question} (Enter alone leaves it out)")) != "":
            step = step_typed(typed)
            if step is not None and abs(step) <= one.most + 1e-9:
                shown[one.id] = step
                break
            place.person.say(f"  {typed}: it tells from -{one.most:g} to {one.most:g} mm, as 0.2")
    return shown


def step_typed(typed: str) -> float | None:
    """A step as typed, a bare number being mm as the question says, a length with its unit what
    it says; None for anything else.
    """
    typed = typed.replace("−", "-")
    with suppress(ValueError):
        return float(typed.removesuffix("mm").replace(",", "."))
    sign, size = (-1, typed[1:]) if typed[0] == "-" else (1, typed.removeprefix("+"))
    with suppress(ValueError):
        return sign * parse_length(size.strip())
    return None
