"""What the sections of one job share while it is driven, and the line to the machine.

It knows record, placement, person and conversation only to hold them together; it decides
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from msgspec import Struct

from devices.conversation.conversation import Conversation
from devices.conversation.states import State
from devices.dialects.told_limits import OwnLimits
from devices.driving.driver import Driver
from devices.driving.kept_places import add_whereabouts
from devices.driving.machine import setting
from devices.driving.port import chosen, open_in_time
from devices.driving.program import Script
from devices.machine_zones import division_settings
from devices.session.whereabouts import Left
from marking.begun.layout_and_division import keep_begun
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from devices.driving.driver import Cable, Wish
    from devices.driving.machine import MachineSetting
    from devices.driving.port import Port
    from devices.job import Job
    from devices.plotter.bed import UnitPoint
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from devices.session.person import Person
    from marking.layout.layout import Layout
    from marking.proof.verniers import JoinVernier
    from marking.record.readings import MarkReading
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section


class Workplace(Struct, frozen=True):
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
    begun_with: Plan | None = None
    """The division that is kept, where `plan` has more to draw than it: verniers."""
    pointer: bool = False
    """Whether the pointer is to be found anew, though it is known and no pen was changed."""
    verniers: Sequence[JoinVernier] = ()
    """Those that `plan` has the halves of."""


@dataclass
class Link:
    """An open conversation; before anything is inked it moves the pen, raised."""

    driver: Driver
    script: Script
    set: MachineSetting
    own: OwnLimits
    """What the machine says of itself."""

    def begin(self) -> None:
        """Raises the pen and parks it: the first move of this conversation."""
        told = self.driver.conversation.told
        stands = told.stands.text if told.stands is not None else ""
        section, record = self.driver.section, self.driver.record
        left = Left(stands, told.zero, len(record.strokes(section)))
        add_whereabouts(record, section, "moving", left.detail)
        self.driver.send(self.script.opening())

    def go(self, point: UnitPoint) -> None:
        """Brings the raised pen over a point."""
        self.driver.send(self.script.hop_to(point))

    def leave(self) -> None:
        """Keeps where the machine stands, if it was heard to the end.

        Of one that failed it is not kept, since it may have restarted unheard: where it stands
        then has to fit what was sent.
        """
        talk = self.driver.conversation
        stands = self.driver.stands or talk.standing
        if stands is not None and talk.state is not State.FAILED:
            left = Left(stands, talk.told.zero)
            add_whereabouts(self.driver.record, self.driver.section, "resting", left.detail)


def port_for(named: str | None, plotter: Plotter, person: Person) -> Port:
    """The port named, or the only one there is, open; left as soon as the person wishes for an end.

    Raises BadInputError, DeviceError and KeyboardInterrupt, as `open_in_time` does.
    """
    return open_in_time(
        chosen(named),
        plotter,
        lambda: person.wish() != "go on",
        lambda seconds: person.waits_for("port", seconds),
    )


def begin(place: Workplace) -> None:
    """Keeps what the job is begun with, before anything is read or inked."""
    settings = division_settings("plotter", place.job, place.correction)
    plan = place.begun_with or place.plan
    keep_begun(place.record, place.job, place.layout, plan, settings)


def set_for(section: Section, place: Workplace, own: OwnLimits | None = None) -> MachineSetting:
    """The job's machine, set down for a section that is cut for where it stands."""
    return setting(section, place.job.plotter, place.job.pens, place.correction, own)


def opened(
    section: Section, place: Workplace, port: Cable, clock: Callable[[], float], *, relied: bool
) -> Link:
    """The machine greeted; nothing has moved yet.

    `relied` is whether anything hangs on where it stood before: ink, or readings given.
    Raises DeviceError, and RefusedError when it cannot do what its profile supposes.
    """
    made = set_for(section, place)
    driver = Driver(
        port,
        Conversation(made.dialect, made.limits),
        made.dialect,
        place.job.plotter.handshake,
        place.record,
        0,
        section.id,
        place.person.wish,
        lambda _: None,
        clock,
        place.person.say,
        lambda seconds: place.person.waits_for("answer", seconds),
    )
    finds_its_zero = place.rehearsal or place.job.plotter.homes
    driver.doubts = relied and not finds_its_zero
    driver.greet()
    # From here on, until it inks, keys move the pen and answer.
    driver.wish = _goes_on
    driver.doubts = not finds_its_zero
    own = own_limits(driver, made, place.job.plotter)
    made = set_for(section, place, own)
    script = Script(made.writer, made.dialect, driver.conversation.room, made.nudge)
    return Link(driver, script, made, own)


def own_limits(driver: Driver, made: MachineSetting, plotter: Plotter) -> OwnLimits:
    """What a machine that was greeted says of itself; what slows it down is said to the person.

    Raises RefusedError when it cannot do what its profile supposes.
    """
    own = OwnLimits(driver.conversation.told.settings)
    zero = [float(value) for value in driver.conversation.told.zero.split(",") if value]
    wrong = own.objections(made.bed, zero or (0.0, 0.0))
    if wrong:
        raise RefusedError(f"{plotter.name}: {'; '.join(wrong)}. Nothing was moved, nothing inked")
    for remark in own.remarks(plotter):
        driver.say(f"{plotter.name}: {remark}; it is driven at its own pace")
    return own


def _goes_on() -> Wish:
    return "go on"


def set_anew(link: Link, section: Section, place: Workplace) -> Link:
    """The same conversation, for the section as it must be drawn where the device stands."""
    made = set_for(section, place, link.own)
    script = Script(made.writer, made.dialect, link.driver.conversation.room, made.nudge)
    script.at, script.distinct = link.script.at, link.script.distinct
    link.driver.send(script.opening())
    return Link(link.driver, script, made, link.own)
