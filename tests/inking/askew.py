"""A table on which the device is put down where the plan does not have it, and its ink there."""

from __future__ import annotations

import math
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct, field
from scipy.spatial import cKDTree

from devices.inking.section import ink_section
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.person import Person
from devices.session.session import Workplace
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.record.readings import MarkReading
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.inking.kills import make_job, samples

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from devices.driving.driver import Wish
    from devices.inking.section import RunOutcome
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Plan, Section

BESIDE = "r1c2"
SAMPLING = 0.06
"""mm: ink and strokes are compared at points this far apart."""


class Stood(Struct, frozen=True):
    """How a device really stands: its section's window turned about its middle and shifted."""

    section: Section
    shift: tuple[float, float] = (0.0, 0.0)
    degrees: float = 0.0

    @property
    def _turn(self) -> NDArray[np.float64]:
        c, s = np.cos(np.radians(self.degrees)), np.sin(np.radians(self.degrees))
        return np.array([[c, -s], [s, c]])

    @property
    def _middle(self) -> NDArray[np.float64]:
        x0, y0, x1, y1 = self.section.window
        return np.array([(x0 + x1) / 2, (y0 + y1) / 2])

    def on_table(self, planned: NDArray[np.float64]) -> NDArray[np.float64]:
        """Where on the table lies what would lie at `planned` if it stood as planned."""
        return (planned - self._middle) @ self._turn.T + self._middle + self.shift

    def reads(self, job: Job, marks: Sequence[Mark], slip: float = 0.0) -> tuple[MarkReading, ...]:
        """What the pen reads over marks that lie where they should.

        The first is misread by `slip` mm across the table.
        """
        bed = bed_of(self.section, job.plotter)
        readings = []
        for count, mark in enumerate(marks):
            at = (np.array(mark.at_table) - self.shift - self._middle) @ self._turn + self._middle
            x, y = (at + (0.0, 0.0 if count else slip) - bed.origin_table) @ bed.to_bed.T
            read = (float(x), float(y))
            readings.append(MarkReading(self.section.id, mark.id, read, 0.25, "a test"))
        return tuple(readings)


class Silent(Person, frozen=True):
    """Nobody; what is said is kept, and the run is stopped once something is `enough`."""

    attended: bool = False
    said: list[str] = field(default_factory=list)
    enough: Callable[[], bool] = lambda: False

    def say(self, text: str) -> None:
        self.said.append(text)

    def wish(self) -> Wish:
        return "stop" if self.enough() else "go on"


class Table(Struct, frozen=True):
    """A job with its record, and the ink that really lies on its table."""

    job: Job
    place: Workplace
    plan: Plan
    ink: dict[str, list[NDArray[np.float64]]]

    def section(self, name: str) -> Section:
        return next(section for section in self.plan.sections if section.id == name)

    def inked(
        self,
        stood: Stood,
        readings: Sequence[MarkReading] = (),
        *,
        moved: bool = False,
        anyway: str | None = None,
        stops_after: float = math.inf,
    ) -> tuple[RunOutcome, list[str]]:
        """Inks a section with the device standing so; the outcome, and all that was said."""
        said: list[str] = []
        person = Silent(said=said, enough=lambda: len(self.drawn(stood.section.id)) >= stops_after)
        at = self.place
        place = Workplace(at.job, at.layout, at.plan, at.record, person, readings, moved, anyway)
        cloth, bed = Cloth(), bed_of(stood.section, self.job.plotter)
        peer = simulated(self.job.plotter, bed, cloth)
        port = OnboardPort(peer, 400)
        outcome = ink_section(stood.section, place, port, port.clock)
        peer.advance(port.clock() + 60)
        laid = [stood.on_table(bed.table_of(np.array(line.path))) for line in cloth.ink]
        self.ink.setdefault(stood.section.id, []).extend(laid)
        return outcome, said

    def drawn(self, name: str) -> set[str]:
        """The strokes of a section that the record knows as drawn."""
        return {s.stroke for s in self.place.record.strokes(name) if s.event == "drawn"}

    def faults(self, name: str) -> tuple[float, float]:
        """How far, in mm, the least inked point of a section and its most displaced ink lie off."""
        wanted = samples([piece.stroke.path for piece in self.section(name).pieces])
        laid = samples(self.ink[name])
        missing, displaced = cKDTree(laid).query(wanted)[0], cKDTree(wanted).query(laid)[0]
        return float(missing.max()), float(displaced.max())


@contextmanager
def bare_table(folder: Path) -> Iterator[Table]:
    """The table of the job in a folder, for its plotter, as its record has it."""
    job = load_job(folder, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    with open_record(folder) as record:
        yield Table(job, Workplace(job, layout, plan, record, Silent()), plan, {})


def forgiving(folder: Path) -> None:
    """A small job whose tolerance two marks beside a section can hold."""
    make_job(folder, "flatbed-a4")
    text = (folder / JOB_FILE).read_text("utf-8")
    (folder / JOB_FILE).write_text(f'tolerance = "12 mm"\n{text}', "utf-8")
