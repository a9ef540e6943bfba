"""G-code read by pygcode (PyPI), an interpreter that no one here wrote, against the section."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pygcode import Line as GcodeLine
from pygcode import Machine

from devices.commands import main
from devices.conversation.conversation import Conversation
from devices.dialects.gcode.answers import GcodeDialect
from devices.driving.machine import setting
from devices.driving.program import Script
from devices.job import Job
from devices.programs.files import program
from devices.simulated.cloth import Cloth
from devices.simulated.gcode import Gantry, SimulatedGantry
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from tests.conversation.line import Line
from tests.dialects.interpreters import pygcode_draws
from tests.driving.side_by_side import way
from tests.inking.kills import SECTION, make_job

if TYPE_CHECKING:
    from pathlib import Path

ROUNDING = 0.0051
"""mm: half the profile's unit of 0.01 mm, and what decimals lose."""


def test_a_written_file_ends_with_the_pen_up_and_parked(tmp_path: Path) -> None:
    make_job(tmp_path / "job", "gantry-gcode")
    job = load_job(tmp_path / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    for section in plan.sections:
        data, bed = program(section, job.plotter, job.pens)
        machine = Machine()
        for text in data.decode().splitlines():
            machine.process_block(GcodeLine(text).block)
        assert float(job.plotter.pen_up.removeprefix("Z")) <= machine.pos.Z
        park = np.array(bed.park) * job.plotter.unit
        assert np.allclose((machine.pos.X, machine.pos.Y), park, atol=ROUNDING)


def test_pygcode_draws_every_stroke_where_the_section_has_it(tmp_path: Path) -> None:
    make_job(tmp_path / "job", "gantry-gcode")
    job = load_job(tmp_path / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == SECTION)
    data, bed = program(section, job.plotter, job.pens)
    drawn = pygcode_draws(data)
    wanted = []
    for piece in section.pieces:
        pen = job.pens.named(piece.stroke.pen)
        points = way(piece.stroke.points, pen.passes, pen.width) - bed.origin_table
        path = points @ bed.to_bed.T
        wanted += [(a, b) for a, b in itertools.pairwise(path) if np.hypot(*(b - a)) > 0.01]
    assert len(drawn) == len(wanted)
    assert np.abs(drawn - np.array(wanted)).max() <= ROUNDING
    simulated = SimulatedGantry(Gantry(10**6, high=job.plotter.bed_size), Cloth())
    simulated.receive(data, 0.0)
    for second in range(1, 4000):
        simulated.advance(float(second))
    inked = [
        line
        for ink in simulated.carriage.cloth.ink
        for line in zip(ink.path, ink.path[1:], strict=False)
    ]
    length = sum(np.hypot(b[0] - a[0], b[1] - a[1]) for a, b in inked)
    assert abs(length - sum(np.hypot(*(b - a)) for a, b in wanted)) < 0.01 * len(wanted)


@pytest.mark.parametrize(
    "pen",
    ["", 'pen_up = "S30"\npen_down = "S90"\n', 'pen_up = "S90"\npen_down = "S0"\n'],
)
def test_a_pen_on_a_servo_or_an_axis_is_up_and_parked_at_the_end(tmp_path: Path, pen: str) -> None:
    make_job(tmp_path / "job", "gantry-gcode", pen)
    job = load_job(tmp_path / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    data, bed = program(plan.sections[0], job.plotter, job.pens)
    machine = SimulatedGantry(
        Gantry(10**6, high=job.plotter.bed_size, inks_at=job.plotter.pen_down), Cloth()
    )
    machine.receive(data, 0.0)
    for second in range(1, 4000):
        machine.advance(float(second))
    assert machine.carriage.cloth.ink
    assert not machine.carriage.down
    parked = (bed.park[0] * bed.unit, bed.park[1] * bed.unit)
    assert machine.carriage.at == pytest.approx(parked)
    last_move = data.decode().rindex("G1")
    after = data.decode()[last_move:].splitlines()
    # The pen goes up before anything else moves, and M2 (which also stops the spindle, so turns
    # a servo's S to 0; NISTIR 6556, from memory) comes only where that leaves it up.
    raised = f"G0{job.plotter.pen_up}" if not pen else f"M3{job.plotter.pen_up}"
    assert after[1] == raised
    assert (after[-1] == "M2") is ("S0" not in pen)


def test_a_job_on_a_gantry_writes_gcode_files(tmp_path: Path) -> None:
    make_job(tmp_path / "job", "gantry-gcode")
    assert main(["write", "--job", str(tmp_path / "job"), "--hpgl"]) == 0
    assert (tmp_path / "job" / "out" / "sections" / "r1c1.gcode").read_bytes().startswith(b"G17")


@pytest.mark.parametrize("reports_work", [False, True])
def test_a_work_offset_set_at_the_machine_is_no_fault(tmp_path: Path, reports_work: bool) -> None:
    make_job(tmp_path / "job", "gantry-gcode")
    job = load_job(tmp_path / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    made = setting(plan.sections[0], job.plotter, job.pens)
    gantry = Gantry(
        high=job.plotter.bed_size,
        work_offset=(-312.5, 40.125, -57.25),
        reports_work=reports_work,
    )
    machine = SimulatedGantry(gantry, Cloth())
    line = Line(Conversation(made.dialect, made.limits), machine, job.plotter.baud)
    line.open()
    script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
    line.run(script.opening())
    line.run(script.ink(made.strokes))
    assert line.failure is None
    assert line.confirmed == [stroke.id for stroke in made.strokes]


def test_replies_are_read_as_the_firmware_prints_them(tmp_path: Path) -> None:
    # Examples of the forms in Grbl 1.1, doc/markdown/interface.md.
    make_job(tmp_path / "job", "gantry-gcode")
    dialect = GcodeDialect(load_job(tmp_path / "job", Job).plotter)
    assert dialect.heard(b"ok").kind == "accepted"
    assert dialect.heard(b"error:20").kind == "refused"
    assert dialect.heard(b"ALARM:1").kind == "alarm"
    assert dialect.heard(b"Grbl 1.1f ['$' for help]").kind == "banner"
    assert dialect.heard(b"[MSG:'$H'|'$X' to unlock]").kind == "note"
    report = dialect.heard(b"<Idle|MPos:5.529,0.560,7.000|FS:0,0>")
    assert (report.text, report.settled) == ("5.529,0.560,7.000", True)
    # The work position is the program's: WPos = MPos - WCO, and WCO is not in every report.
    report = dialect.heard(b"<Idle|MPos:5.529,0.560,7.000|FS:0,0|WCO:0.000,1.551,5.664>")
    assert report.text == "5.529,-0.991,1.336"
    assert dialect.heard(b"<Idle|MPos:5.529,0.560,7.000|FS:0,0>").text == "5.529,-0.991,1.336"
    assert dialect.heard(b"<Idle|WPos:-2.500,0.000,11.000|FS:0,0>").text == "-2.500,0.000,11.000"
    assert not dialect.heard(b"<Run|MPos:5.529,0.560,7.000|FS:0,0>").settled
    assert not dialect.heard(b"<Alarm|MPos:0.000,0.000,0.000|FS:0,0>").sound
    for garbled in (b"o", b"okk", b"<Idle|MPos:5.5x9,0.560,7.000|FS:0,0>", b"\xff\xfe", b"<Idle"):
        assert dialect.heard(garbled).kind == "noise"
