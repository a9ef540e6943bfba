"""Whole sections on every stock plotter: all is confirmed, nothing waits for ever, ink lies true.

The job is small and telling: a grid wide apart has long lines, and where hems meet the table's
ends several strokes join into one chain that takes far longer than a machine is sent ahead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.commands import main
from devices.conversation.conversation import Conversation
from devices.driving.machine import setting
from devices.driving.program import Script
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import simulated
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from marking.shipped_files import stock
from tests.conversation.line import Line
from tests.inking.kills import samples

if TYPE_CHECKING:
    from pathlib import Path

PLOTTERS = sorted(path.stem for path in (stock() / "plotters").glob("*.toml"))
JOB = """schema = 1
[table]
length = "34 in"
width = "{width}"
{hems}[grid]
pitch = "{pitch}"
[numerals]
every = 6
[pens]
removable = {{ slot = 1, width = "0.5 mm" }}
[plotter]
profile = "{plotter}"
"""
THROUGH = {"desk-a3": ("10 1/2 in", '[hems]\ndepth = "2 in"\nfolds = []\n')}
"""Width and hems of a cover that goes through an opening."""
WHOLE = ("22 in", "")
HURRIED = 1e6
"""A pace at which the machine's time runs as far between two looks as it ever may."""
SAMPLING = 0.06
"""mm: ink and strokes are compared at points this far apart."""


def _job(plotter: str, pitch: str) -> str:
    width, hems = THROUGH.get(plotter, WHOLE)
    return JOB.format(plotter=plotter, pitch=pitch, width=width, hems=hems)


@pytest.mark.parametrize("pitch", ["1 in", "6 in"])
@pytest.mark.parametrize("plotter", PLOTTERS)
def test_every_stock_plotter_draws_its_sections_to_the_last_stroke_and_no_ink_elsewhere(
    tmp_path: Path, plotter: str, pitch: str
) -> None:
    (tmp_path / "job.toml").write_text(_job(plotter, pitch))
    job = load_job(tmp_path, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    for section in (plan.sections[0], plan.sections[-1]):
        made = setting(section, job.plotter, job.pens)
        machine = simulated(job.plotter, made.bed, Cloth())
        line = Line(Conversation(made.dialect, made.limits), machine, job.plotter.baud)
        line.open()
        script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
        line.run(script.opening())
        line.run(script.ink(made.strokes))
        line.run(script.closing())
        assert line.failure is None
        assert machine.lost_bytes == 0
        assert line.confirmed == [stroke.id for stroke in made.strokes]
        machine.advance(line.now + 60)
        assert not machine.carriage.down
        wanted = samples([np.array(stroke.path) * made.bed.unit for stroke in made.strokes])
        laid = samples([np.array(ink.path) for ink in machine.carriage.cloth.ink])
        assert cKDTree(laid).query(wanted)[0].max() <= SAMPLING
        assert cKDTree(wanted).query(laid)[0].max() <= SAMPLING


@pytest.mark.parametrize("plotter", PLOTTERS)
def test_no_pace_of_the_simulated_machine_is_taken_for_a_silent_one(
    tmp_path: Path, plotter: str
) -> None:
    (tmp_path / "job.toml").write_text(_job(plotter, "6 in"))
    drive = ["drive", "--job", str(tmp_path), "--simulate", "--unattended", "--most", "1"]
    assert main([*drive, "--pace", str(HURRIED)]) == 0
