"""A job whose first section is inked, and whose second is driven next, by a gantry."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.job import Job
from devices.plotter.bed import bed_of
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from tests.driving.own_time import GantryPort, driven_at
from tests.inking.kills import make_job, samples

if TYPE_CHECKING:
    from pathlib import Path

    from devices.simulated.cloth import Spot
    from marking.sections.plan import Section

DONE = 0
FIRST, SECOND = "r1c1", "r1c2"
STANDS_OFF = (1.2, -0.8)
"""mm by which the device stands beside its planned place in the second section."""
SAMPLING = 0.06
"""mm: cloth and strokes are compared at points this far apart."""
TWO_SECTIONS = 'x_size = "400 mm"\n'


@dataclass
class Begun:
    """A job whose first section is inked; its second is driven next, by the marks of the first."""

    folder: Path
    job: Job
    section: Section

    @property
    def words(self) -> list[Any]:
        # A cover placed by tape alone holds less than is allowed; that is not asked about here.
        why = ["--ink-anyway", "its readings are exact"]
        return ["--job", self.folder, "--section", SECOND, "--unattended", *why]

    def readings(self, name: str, zero: Spot = (0.0, 0.0)) -> list[Any]:
        """Exact readings of the section's marks by a machine whose zero lies at `zero`."""
        rows = ["section,mark,x_mm,y_mm"]
        for mark, (x, y) in self.bed_of_marks(zero).items():
            rows.append(f"{SECOND},{mark},{x:.3f},{y:.3f}")
        (self.folder / name).write_text("\n".join(rows) + "\n", "utf-8")
        return ["--readings", self.folder / name]

    def bed_of_marks(self, zero: Spot) -> dict[str, Any]:
        """Where the machine sees each mark, in mm of its own."""
        bed = bed_of(self.section, self.job.plotter)
        return {
            mark.id: (np.subtract(mark.at_table, STANDS_OFF) - bed.origin_table) @ bed.to_bed.T
            - zero
            for mark in self.section.locating_marks
        }

    def faults(self, port: GantryPort) -> tuple[float, float]:
        """mm: the furthest point of a stroke from ink, and of ink from any stroke."""
        bed = bed_of(self.section, self.job.plotter)
        wanted = samples([piece.stroke.path for piece in self.section.pieces])
        laid = samples(
            [
                np.array(line.path) @ bed.to_bed + bed.origin_table + STANDS_OFF
                for line in port.cloth.ink
            ]
        )
        missing = float(cKDTree(laid).query(wanted)[0].max())
        displaced = float(cKDTree(wanted).query(laid)[0].max())
        return missing, displaced


@pytest.fixture(scope="session")
def first_inked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose first section is inked, for copies to be made of."""
    folder = tmp_path_factory.mktemp("begun") / "job"
    make_job(folder, "gantry-gcode", TWO_SECTIONS)
    with pytest.MonkeyPatch.context() as patch, driven_at(GantryPort(), patch) as drive:
        words = ["--job", folder, "--section", FIRST, "--unattended", "--ink-anyway", "by tape"]
        assert drive(*words) == DONE
    return folder


@pytest.fixture
def begun(first_inked: Path, tmp_path: Path) -> Begun:
    folder = tmp_path / "job"
    shutil.copytree(first_inked, folder)
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    return Begun(folder, job, next(one for one in plan.sections if one.id == SECOND))
