"""The test sheet drawn on scrap by the plotter itself: asked for, watched and stopped as ink is.

Nothing of it is kept: it is not of the cover. It brings sheet, machine and person together, and
knows no dialect.
"""

from __future__ import annotations

import tempfile
import time
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from devices.conversation.conversation import Conversation
from devices.driving.driver import Driver
from devices.driving.machine import made_ready
from devices.driving.port import DeviceError, FailedInRunError
from devices.driving.program import Script
from devices.history import has_record
from devices.programs.dialect import writer_for
from devices.session.keypresses import single_keys
from devices.session.run_told import ended_record, progress_record
from devices.session.session import own_limits
from devices.trial.sheet import scrap_strokes
from marking.errors import RefusedError
from marking.measures.counts import counted
from marking.measures.lengths import format_length
from marking.record.record import open_record

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from devices.dialects.writer import PenUse
    from devices.driving.driver import Cable
    from devices.job import Job
    from devices.plotter.correction import Correction
    from devices.session.person import Person
    from devices.session.run_told import Ended
    from devices.trial.sheet import ScrapStrokes

NAME = "square"
"""What stands where a section's name would."""
CAUTION = (
    "Keep hands, hair, sleeves and cords clear of the moving plotter; know its own stop. Air the "
    "room: marker solvents are not for breathing. The maker's instructions and local codes come "
    "first"
)
WORDS: Mapping[Ended, str] = {
    "done": (
        "Measure the square to the middle of its lines, taut and flat: its four sides and both "
        "diagonals"
    ),
    "paused": "The square is not whole: draw it anew, on fresh scrap",
    "stopped": "The square is not whole: look that the pen is up, and draw it anew, on fresh scrap",
    "not allowed": "Nothing was drawn",
}
_SHOWN_EVERY = 0.4
"""Seconds between what is shown of progress."""


def refuse_begun(folder: Path) -> None:
    """Raises RefusedError where the plotter stands over a section that it has begun."""
    if not has_record(folder):
        return
    with open_record(folder) as record:
        done = {one.section for one in record.ink() if one.event == "done"}
        begun = [one.section for one in record.runs() if one.section not in done]
    if begun:
        raise RefusedError(
            f"{begun[-1]} is begun and not done: the plotter has to stay where it stands, and the "
            "square is drawn on scrap. Finish that section first; nothing was moved"
        )


def draw_sheet(
    job: Job,
    correction: Correction | None,
    person: Person,
    port: Cable,
    clock: Callable[[], float],
) -> Ended:
    """Draws the sheet from corner to corner, with a correction where one is to be proved.

    Says how that ended. Raises RefusedError where it does not fit or the machine cannot do it,
    DeviceError where the machine fails; the pen is raised then, as far as it can be told.
    """
    drawn = scrap_strokes(job.plotter, job.pens, correction, job.units)
    person.say(CAUTION)
    side = format_length(drawn.sheet.side, job.units)
    ended: Ended = "not allowed"
    if person.agrees(
        f"Does {job.plotter.name} stand over scrap of the same canvas, held down flat, with room "
        f"for a square of {side} from its own zero, and not over the cover?"
    ):
        try:
            ended = _driven(drawn, person, port, clock)
        except FailedInRunError as fault:
            raise DeviceError(f"{fault.what}. {WORDS['stopped']}") from fault
    person.say(WORDS[ended])
    person.shows("ended", ended_record(None, ended, [WORDS[ended]], ()))
    return ended


def _driven(drawn: ScrapStrokes, person: Person, port: Cable, clock: Callable[[], float]) -> Ended:
    # What is sent is kept before it leaves, as for ink; here only for as long as it is drawn.
    with tempfile.TemporaryDirectory() as kept, open_record(Path(kept)) as record, single_keys():
        writer = writer_for(drawn.plotter, drawn.tools, drawn.bed)
        made = made_ready(drawn.plotter, writer, drawn.strokes)
        driver = Driver(
            port,
            Conversation(made.dialect, made.limits),
            made.dialect,
            drawn.plotter.handshake,
            record,
            0,
            NAME,
            person.wish,
            lambda _: None,
            clock,
            person.say,
            lambda seconds: person.waits_for("answer", seconds),
        )
        driver.greet()
        driver.wish = lambda: "go on"
        own = own_limits(driver, made, drawn.plotter)
        slower = own.slower(drawn.plotter)
        writer = writer_for(slower, drawn.tools, drawn.bed, own.acceleration)
        script = Script(writer, made.dialect, driver.conversation.room, made.nudge)
        driver.send(script.opening())
        return _drawn(drawn, driver, script, person)


def _drawn(drawn: ScrapStrokes, driver: Driver, script: Script, person: Person) -> Ended:
    shown = _Shown(person, len(drawn.strokes), driver.clock)
    driver.drawn, driver.wish = shown.drawn, person.wish
    ended: Ended = "done"
    for asked, strokes in _tip_by_tip(drawn):
        if asked is not None:
            slot, name = asked
            person.shows("pen", {"section": NAME, "holder": slot, "pen": name, "new": False})
            if not person.agrees(f"Holder {slot} needs the pen for {name}. Is it in?"):
                ended = "paused"
                break
            driver.send(script.hop_to(script.at))
        shown.show()
        wish = driver.send(script.ink(strokes))
        if wish == "stop":
            return "stopped"
        if wish == "pause" and shown.left:
            ended = "paused"
            break
    return "stopped" if driver.send(script.closing()) == "stop" else ended


def _tip_by_tip(
    drawn: ScrapStrokes,
) -> Iterator[tuple[tuple[int, str] | None, Sequence[PenUse]]]:
    """The strokes of each pen together, and which holder has to get it, where pens share one."""

    def tip(one: tuple[PenUse, str]) -> tuple[int, bool]:
        return drawn.tools[one[0].pen].slot, one[1] == "removable"

    named = list(zip(drawn.strokes, drawn.names, strict=True))
    first = {at: number for number, at in reversed(list(enumerate(map(tip, named))))}
    for (slot, removable), together in groupby(sorted(named, key=lambda one: first[tip(one)]), tip):
        several = list(together)
        shared = (slot, not removable) in first
        yield (slot, several[0][1]) if shared else None, [stroke for stroke, _ in several]


class _Shown:
    """Progress as the person sees it."""

    def __init__(self, person: Person, every: int, clock: Callable[[], float]) -> None:
        self.left = every
        self._person, self._every, self._clock = person, every, clock
        self._began, self._next, self._next_said = clock(), 0.0, 0

    def drawn(self, strokes: tuple[str, ...]) -> None:
        """Counts, and tells now and then."""
        self.left -= len(strokes)
        done = self._every - self.left
        if time.monotonic() >= self._next or not self.left:
            self.show()
        if done >= self._next_said:
            self._next_said = done + self._every // 4
            self._person.say(f"The square: {done} of {counted(self._every, 'stroke')}")

    def show(self) -> None:
        """Shows a program how far it is; the picture of the cover has none of it."""
        self._next = time.monotonic() + _SHOWN_EVERY
        done = self._every - self.left
        pace = (self._clock() - self._began) / max(done, 1)
        left = pace * self.left if done else None
        self._person.shows("progress", progress_record(NAME, (done, self._every), left))
