"""A machine that may have lost its place inks nothing before its marks are read anew."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from kills import make_job, samples
from own_time import GantryPort, driven_at
from scipy.spatial import cKDTree

from devices.bed import bed_at
from devices.job import Job
from marking.jobfile import load_job
from marking.layout import lay_out
from marking.record import open_record
from marking.sections import cut_into_sections

if TYPE_CHECKING:
    from pathlib import Path

    from devices.simulated.cloth import Spot
    from marking.sections import Section

DONE, REFUSED, DEVICE_FAILED = 0, 1, 3
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
        bed = bed_at(self.job.plotter, self.section.window)
        for mark in self.section.witness:
            at = np.subtract(mark.at_table, STANDS_OFF) - bed.origin_table
            x, y = at @ bed.to_bed.T - zero
            rows.append(f"{SECOND},{mark.id},{x:.3f},{y:.3f}")
        (self.folder / name).write_text("\n".join(rows) + "\n", "utf-8")
        return ["--readings", self.folder / name]

    def faults(self, port: GantryPort) -> tuple[float, float]:
        """mm: the furthest point of a stroke from ink, and of ink from any stroke."""
        bed = bed_at(self.job.plotter, self.section.window)
        wanted = samples([piece.stroke.points for piece in self.section.pieces])
        laid = samples(
            [
                np.array(line.path) @ bed.to_bed + bed.origin_table + STANDS_OFF
                for line in port.cloth.ink
            ]
        )
        missing = float(cKDTree(laid).query(wanted)[0].max())
        displaced = float(cKDTree(wanted).query(laid)[0].max())
        return missing, displaced


@pytest.fixture
def begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Begun:
    folder = tmp_path / "job"
    make_job(folder, "gantry-gcode", TWO_SECTIONS)
    job = load_job(folder, Job)
    plan = cut_into_sections(lay_out(job), job, job.plotter.zone)
    with driven_at(GantryPort(), monkeypatch) as drive:
        words = ["--job", folder, "--section", FIRST, "--unattended", "--ink-anyway", "by tape"]
        assert drive(*words) == DONE
    return Begun(folder, job, next(one for one in plan.sections if one.id == SECOND))


def power_goes_in_mid_stroke(port: GantryPort, zero: Spot, after: int = 12) -> None:
    """The power goes once, in the stroke of this number; the zero is set anew at `zero`."""

    def look() -> None:
        if len(port.cloth.ink) > after and port.machine.carriage.down:
            port.before_read = lambda: None
            port.power_cycle(zero)

    port.before_read = look


def test_after_a_power_loss_in_mid_run_only_marks_read_anew_let_it_ink(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    port = GantryPort()
    zero = (2.0, 1.5)
    power_goes_in_mid_stroke(port, zero)
    before = begun.readings("before.csv")
    with driven_at(port, monkeypatch) as drive:
        assert drive(*begun.words, *before) == DEVICE_FAILED
        laid = len(port.cloth.ink)
        capsys.readouterr()
        for words in ([], before, ["--moved"], ["--moved", *before]):
            assert drive(*begun.words, *words) == REFUSED
            said = capsys.readouterr().err
            assert "may have lost its place" in said
            assert ("place nothing now" in said) is (before[-1] in words)
            assert len(port.cloth.ink) == laid, "it inked without its place"
        assert drive(*begun.words, *begun.readings("anew.csv", zero)) == DONE
    assert max(begun.faults(port)) <= SAMPLING


def test_a_place_is_lost_for_every_section_and_found_for_each_by_its_own_marks(
    tmp_path: Path,
) -> None:
    from devices.whereabouts import loss, read_anew
    from marking.readings import MarkReading

    old = MarkReading("r1c2", "k1", (10.0, 20.0), 0.25, "a file")
    new = MarkReading("r1c2", "k1", (10.0, math.nextafter(20.0, 21)), 0.25, "a file")
    with open_record(tmp_path) as record:
        assert loss(record, "r1c1") is None
        record.add_readings("layout", [old])
        record.add_whereabouts("r1c1", "lost", "it was switched off")
    with open_record(tmp_path) as record:
        assert {loss(record, one).detail for one in ("r1c1", "r1c2")} == {"it was switched off"}
        lost = loss(record, "r1c2")
        assert read_anew([old, new], lost, record) == (new,)
        record.add_readings("layout", [new])
        assert read_anew([old, new], lost, record) == (new,), "read after the loss, it counts"
        record.add_whereabouts("r1c2", "found")
        assert loss(record, "r1c2") is None
        assert loss(record, "r1c1") == lost
        record.add_whereabouts("r1c2", "lost", "it was switched off again")
        assert read_anew([old, new], loss(record, "r1c2"), record) == ()
