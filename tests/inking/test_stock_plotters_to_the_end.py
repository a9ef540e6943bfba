"""Every stock plotter inks every section of whole tables, to the last stroke, in simulated time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from devices.conversation.conversation import Conversation
from devices.conversation.events import Failed
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

if TYPE_CHECKING:
    from pathlib import Path

PLOTTERS = sorted(path.stem for path in stock().joinpath("plotters").iterdir())
TABLES = {
    "one column of long joined lines": 'length = "34 in"\nwidth = "22 in"',
    "two rows": 'length = "20 in"\nwidth = "40 in"',
    "a folding table": 'profile = "folding-30x72"',
}

THROUGH = {"desk-a3": 'length = "34 in"\nwidth = "10 1/2 in"\n[hems]\ndepth = "2 in"\nfolds = []'}
"""A cover that goes through an opening, in place of any of these."""


@pytest.mark.parametrize("table", TABLES, ids=TABLES)
@pytest.mark.parametrize("plotter", PLOTTERS)
def test_every_section_is_drawn_and_confirmed_and_the_pen_ends_up(
    tmp_path: Path, plotter: str, table: str
) -> None:
    size = THROUGH.get(plotter, TABLES[table])
    (tmp_path / "job.toml").write_text(
        f'schema = 1\n[table]\n{size}\n[plotter]\nprofile = "{plotter}"\n'
        '[pens]\nremovable = { slot = 1, width = "0.5 mm" }\n',
        "utf-8",
    )
    job = load_job(tmp_path, Job)
    for section in divide_into_sections(lay_out(job), job, job.plotter.zone).sections:
        ready = setting(section, job.plotter, job.pens)
        machine = simulated(job.plotter, ready.bed, Cloth())
        line = Line(Conversation(ready.dialect, ready.limits), machine, job.plotter.baud)
        line.open()
        script = Script(ready.writer, ready.dialect, line.conversation.room, ready.nudge)
        for part in (script.opening(), script.ink(ready.strokes), script.closing()):
            line.run(part)
        failed = [event for event in line.events if isinstance(event, Failed)]
        assert not failed, (section.id, failed)
        assert sorted(line.confirmed) == sorted(stroke.id for stroke in ready.strokes), section.id
        assert not machine.carriage.down, section.id
