"""What the sections of one job share while it is driven, and the line to the machine.

It knows record, placement, person and conversation only to hold them together; it decides
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.conversation import Conversation
from devices.division import division_settings
from devices.machine import setting
from devices.run import Driver
from devices.script import Script
from marking.begun import keep_begun

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from devices.bed import Point
    from devices.correction import Correction
    from devices.job import Job
    from devices.machine import Setting
    from devices.person import Person
    from devices.run import Line
    from marking.layout import Layout
    from marking.readings import MarkReading
    from marking.record import Record
    from marking.sections import Plan, Section


@dataclass(frozen=True)
class Workplace:
    """All that the sections of one job share while it is driven."""

    job: Job
    layout: Layout
    plan: Plan
    record: Record
    person: Person
    readings: Sequence[MarkReading] = ()
    moved: bool = False
    ink_anyway: str | None = None
    outline: bool = False
    correction: Correction | None = None
    """What the last check of the plotter says to draw with."""
    rehearsal: bool = False
    """Whether the cloth is a simulated one, on which nothing can be spoiled."""


@dataclass
class Link:
    """An open conversation; before anything is inked it moves the pen, raised."""

    driver: Driver
    script: Script
    set: Setting

    def go(self, point: Point) -> None:
        """Brings the raised pen over a point."""
        self.driver.send(self.script.hop_to(point))


def begin(place: Workplace) -> None:
    """Keeps what the job is begun with, before anything is read or inked."""
    settings = division_settings("plotter", place.job, place.correction)
    keep_begun(place.record, place.job, place.layout, place.plan, settings)


def set_for(section: Section, place: Workplace) -> Setting:
    """The job's machine, set down for a section that is cut for where it stands."""
    return setting(section, place.job.plotter, place.job.pens, place.correction)


def opened(section: Section, place: Workplace, port: Line, clock: Callable[[], float]) -> Link:
    """The machine greeted, its pen raised and parked. Raises DeviceError."""
    made = set_for(section, place)
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
    return Link(driver, script, made)
