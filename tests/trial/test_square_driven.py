"""The scrap square drawn by its plotter: each line of the sheet, nothing kept, the pen up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.commands import main
from devices.driving.port import DeviceError, FailedInRunError
from devices.job import Job
from devices.session.person import Person
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from devices.trial.drawn import draw_sheet, refuse_begun
from devices.trial.sheet import scrap_strokes
from marking.errors import RefusedError
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from tests.inking.kills import make_job, samples
from tests.job.command_cases import REFUSED

if TYPE_CHECKING:
    from pathlib import Path


def job_of(folder: Path, plotter: str) -> Job:
    make_job(folder, plotter)
    return load_job(folder, Job)


def over_scrap(job: Job) -> tuple[Any, Cloth]:
    """The job's plotter, and the scrap under it."""
    cloth = Cloth()
    bed = scrap_strokes(job.plotter, job.pens, None, job.units).bed
    return simulated(job.plotter, bed, cloth), cloth


class UnpluggedPort(OnboardPort):
    """One whose adapter is pulled out once there is ink, as `devices.driving.port` tells it."""

    cloth: Cloth

    def read(self) -> bytes:
        if self.cloth.ink:
            what = "COM9: the line to the machine is gone (no such device)"
            raise FailedInRunError(f"{what}. Everything confirmed is kept; run drive again", what)
        return super().read()


def test_a_gantry_draws_every_line_of_the_sheet_where_it_is_meant_and_nothing_is_kept(
    tmp_path: Path,
) -> None:
    """As a pen plotter does, which `tests.bench.at_work.test_square_drawn` looks at."""
    job = job_of(tmp_path / "a", "gantry-gcode")
    wanted = scrap_strokes(job.plotter, job.pens, None, job.units)
    machine, cloth = over_scrap(job)
    port = OnboardPort(machine, 3000)
    assert draw_sheet(job, None, Person(attended=False), port, port.clock) == "done"
    meant = samples([job.plotter.unit * np.array(one.path) for one in wanted.strokes])
    laid = samples([np.array(one.path) for one in cloth.ink])
    assert cKDTree(laid).query(meant)[0].max() < 0.06, "each line of the sheet is drawn"
    assert cKDTree(meant).query(laid)[0].max() < 0.06, "and nothing else is"
    assert {path.name for path in (tmp_path / "a").iterdir()} == {"job.toml"}


def test_a_stop_raises_the_pen_and_says_to_draw_it_anew(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    job = job_of(tmp_path / "a", "flatbed-a4")
    machine, cloth = over_scrap(job)
    port = OnboardPort(machine, 3000)
    monkeypatch.setattr(Person, "wish", lambda _: "stop" if cloth.ink else "go on")
    assert draw_sheet(job, None, Person(attended=False), port, port.clock) == "stopped"
    # It is told to; a pen plotter first ends the piece of line that it is in.
    for _ in range(50):
        port.read()
    assert not machine.carriage.down
    assert "look that the pen is up, and draw it anew" in capsys.readouterr().err


def test_a_square_whose_plotter_fails_is_to_be_drawn_anew_and_nothing_is_to_be_gone_on_with(
    tmp_path: Path,
) -> None:
    job = job_of(tmp_path / "a", "flatbed-a4")
    machine, cloth = over_scrap(job)
    port = UnpluggedPort(machine, 3000)
    port.cloth = cloth
    with pytest.raises(DeviceError) as failed:
        draw_sheet(job, None, Person(attended=False), port, port.clock)
    (told,) = failed.value.messages
    assert "draw it anew, on fresh scrap" in told
    assert "drive" not in told


def test_no_square_is_drawn_by_a_plotter_that_stands_over_a_section_begun(tmp_path: Path) -> None:
    job = job_of(tmp_path / "a", "flatbed-a4")
    refuse_begun(tmp_path / "a")
    layout = lay_out(job)
    with open_record(tmp_path / "a") as record:
        record.add_run("", "r1c1", {}, {}, "", "")
    with pytest.raises(RefusedError, match="r1c1 is begun and not done: the plotter has to stay"):
        refuse_begun(tmp_path / "a")
    with open_record(tmp_path / "a") as record:
        record.add_ink(layout, "r1c1", "done", "as it is")
    refuse_begun(tmp_path / "a")


def test_a_square_is_drawn_or_measured_and_never_both(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job_of(tmp_path / "a", "flatbed-a4")
    words = ["trial", "--job", str(tmp_path / "a"), "--port", "loop://"]
    assert main([*words, "--ink"]) == 2
    assert "do one thing at a time" in capsys.readouterr().err
    assert main([*words, "--corrected"]) == REFUSED
    assert "no correction is kept" in capsys.readouterr().err
