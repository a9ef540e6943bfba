"""What ink waits for before a device is set down: a trial that it stays, and the morning's check.

It knows what the record keeps of both, and nothing of machines; who asks says how to keep either.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.days import morning
from marking.errors import RefusedError
from marking.fastness.tried import TriedInk, keep_tried, last_tried, pens_tried, waits_for
from marking.record.record import layout_hash, utc_now

if TYPE_CHECKING:
    from devices.session.session import Workplace


_QUESTION = (
    "Was this ink tried on a scrap of this very canvas, dried, rubbed and pressed, and did it stay?"
)


def let_ink_be_laid(place: Workplace, untried: str | None, try_it: str, check_it: str) -> None:
    """Raises RefusedError where ink has to wait. `untried` is a person's reason to go on without
    a trial; `try_it` and `check_it` are the commands that tell how.
    """
    if place.job.inking.tried != "not asked":
        _tried(place, untried, try_it)
    _checked(place, check_it)


def _tried(place: Workplace, untried: str | None, try_it: str) -> None:
    pens, record = place.job.pens, place.record
    why = waits_for(record, pens)
    if why is None:
        return
    if untried is None and place.job.inking.tried == "ask" and last_tried(record) is None:
        if not place.person.attended:
            place.person.say(f"note: {why}. {try_it} says how to try it")
            return
        place.person.say(f"{why[0].upper()}{why[1:]}: {try_it} says how to try it on a scrap")
        if place.person.agrees(_QUESTION):
            untried = "said at the table that it was tried"
    if untried is None:
        raise RefusedError(
            f"{why}, and what comes off lands on customers' cloth; nothing was inked. Try it on a "
            f"scrap first: {try_it} says how, and keeps what you see. To ink all the same, give "
            '--ink-untried REASON, or set inking.tried = "not asked" in job.toml'
        )
    keep_tried(record, layout_hash(place.layout), TriedInk(pens_tried(pens), went_on=untried))
    place.person.say(f"note: {why}. It is inked all the same, and kept why: {untried}")


def _checked(place: Workplace, check_it: str) -> None:
    now = utc_now()
    why = morning.waits_for(place.record, place.layout, place.plan, place.job.units, now)
    if why is None:
        return
    if place.ink_anyway is None:
        raise RefusedError(
            f"{why}; nothing was inked. {check_it} says what to read, and keeps it. To ink all "
            "the same, give --ink-anyway REASON"
        )
    place.person.say(f"note: {why}. It is inked all the same: {place.ink_anyway}")
