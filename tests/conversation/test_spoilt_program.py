"""A byte garbled on its way to the machine: little or no ink goes wrong, and the pen ends up.

What a machine does with it is the simulated machines' (see their own tests for the manuals):
G-code refuses the line with `error:N`; HP-GL drops the instruction, sets the error bit of OS and
goes on with what its buffer holds.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.conversation.ahead import AheadLimits
from devices.conversation.conversation import Conversation
from devices.conversation.events import Confirmed, Failed
from devices.conversation.states import State
from devices.dialects.hpgl.answers import HpglDialect
from devices.driving.driver import Driver, Wish
from devices.driving.machine import MachineSetting, setting
from devices.driving.port import DeviceError
from devices.driving.program import Script
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import simulated
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.inking.kills import SECTION, make_job, samples

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from marking.record.record import Record

LOOK = 0.01
"""Seconds of the machine's time between two looks at it."""
SAMPLING = 0.06
"""mm: ink and strokes are compared at points this far apart."""


@dataclass
class SpoiltPort:
    """A port in the machine's own time, which garbles the instruction of one kind that it counts.

    `deaf` machines are heard no more.
    """

    machine: Any
    kind: bytes = b"(?!)"
    number: int = 0
    garbled: bytes = b"#"
    deaf: bool = False
    now: float = 0.0
    seen: int = field(default=0)

    def clock(self) -> float:
        return self.now

    def write(self, data: bytes) -> None:
        self.machine.receive(re.sub(self.kind, self._count, data), self.now)

    def read(self) -> bytes:
        self.now += LOOK
        self.machine.advance(self.now)
        said: bytes = self.machine.reply()
        return b"" if self.deaf else said

    def clear_to_send(self, line: str) -> bool:
        return True

    def forget_unsent(self) -> None:
        pass

    def _count(self, found: re.Match[bytes]) -> bytes:
        self.seen += 1
        spoilt = found[0][:1] + self.garbled + found[0][2:]
        return spoilt if self.seen == self.number else found[0]


def section_of(folder: Path, plotter: str, extra: str = "") -> tuple[MachineSetting, Any]:
    make_job(folder / "job", plotter, extra)
    job = load_job(folder / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == SECTION)
    made = setting(section, job.plotter, job.pens)
    return made, simulated(job.plotter, made.bed, Cloth())


def ink(
    made: MachineSetting,
    port: SpoiltPort,
    record: Record,
    wish: Callable[[], Wish] = lambda: "go on",
) -> Wish:
    talk = Conversation(made.dialect, made.limits)
    driver = Driver(
        port, talk, made.dialect, "barrier", record, 1, SECTION, wish, lambda _: None, port.clock
    )
    driver.greet()
    port.seen = 0
    script = Script(made.writer, made.dialect, talk.room, made.nudge)
    driver.send(script.opening())
    return driver.send(script.ink(made.strokes))


def _stop_in_mid_stroke(port: SpoiltPort) -> Callable[[], Wish]:
    return lambda: "stop" if port.now > 20 and port.machine.carriage.down else "go on"


def ink_elsewhere(made: MachineSetting, machine: Any) -> float:
    """mm of ink that lies on no stroke."""
    if not machine.carriage.cloth.ink:
        return 0.0
    wanted = cKDTree(samples([np.array(stroke.path) * made.bed.unit for stroke in made.strokes]))
    laid = samples([np.array(line.path) for line in machine.carriage.cloth.ink])
    return float((wanted.query(laid)[0] > SAMPLING).sum() * 0.05)


@pytest.mark.parametrize("number", [4, 12, 25])
@pytest.mark.parametrize("kind", [rb"G0X[^\n]*\n", rb"G0Z4\n", rb"G0Z0\n", rb"G1X[^\n]*\n"])
def test_a_line_of_gcode_garbled_on_its_way_is_followed_by_no_ink_and_a_raised_pen(
    tmp_path: Path, kind: bytes, number: int
) -> None:
    made, machine = section_of(tmp_path, "gantry-gcode")
    port = SpoiltPort(machine, kind, number)
    with open_record(tmp_path / "job") as record, pytest.raises(DeviceError, match="refused"):
        ink(made, port, record)
    assert port.seen >= number
    machine.advance(port.now + 60)
    assert not machine.carriage.down
    assert ink_elsewhere(made, machine) == 0


@pytest.mark.parametrize("number", [12, 25])
@pytest.mark.parametrize("kind", [rb"PU\d[^;]*;", rb"PD\d[^;]*;"])
def test_an_instruction_of_hpgl_garbled_on_its_way_stops_the_run_with_the_pen_up(
    tmp_path: Path, kind: bytes, number: int
) -> None:
    made, machine = section_of(tmp_path, "flatbed-a3")
    port = SpoiltPort(machine, kind, number)
    with open_record(tmp_path / "job") as record:
        with pytest.raises(DeviceError):
            ink(made, port, record)
        confirmed = {kept.stroke for kept in record.strokes(SECTION) if kept.event == "drawn"}
    machine.advance(port.now + 60)
    assert not machine.carriage.down
    # Inherent in HP-GL: what follows in the buffer is drawn from the wrong place. It is never
    # more than the two strokes that may be under way, and never counts as drawn.
    longest = max(
        float(np.hypot(*np.diff(np.array(stroke.path), axis=0).T).sum()) for stroke in made.strokes
    )
    assert ink_elsewhere(made, machine) <= 2 * longest * made.bed.unit
    laid = cKDTree(samples([np.array(line.path) for line in machine.carriage.cloth.ink]))
    for stroke in made.strokes:
        if stroke.id in confirmed:
            spots = samples([np.array(stroke.path) * made.bed.unit])
            assert laid.query(spots)[0].max() <= SAMPLING


@pytest.mark.parametrize("plotter", ["flatbed-a4", "gantry-gcode"])
def test_a_machine_that_falls_silent_with_the_pen_on_the_cloth_is_told_to_raise_it(
    tmp_path: Path, plotter: str
) -> None:
    made, machine = section_of(tmp_path, plotter)
    port = SpoiltPort(machine)

    def wish() -> Wish:
        port.deaf = port.deaf or (port.now > 20 and machine.carriage.down)
        return "go on"

    with open_record(tmp_path / "job") as record, pytest.raises(DeviceError):
        ink(made, port, record, wish)
    machine.advance(port.now + 60)
    assert not machine.carriage.down


@pytest.mark.parametrize("plotter", ["flatbed-a4", "gantry-gcode"])
def test_a_stop_in_mid_stroke_raises_the_pen_and_leaves_the_stroke_unconfirmed(
    tmp_path: Path, plotter: str
) -> None:
    made, machine = section_of(tmp_path, plotter)
    port = SpoiltPort(machine)
    with open_record(tmp_path / "job") as record:
        stop = _stop_in_mid_stroke(port)
        assert ink(made, port, record, stop) == "stop"
        events = record.strokes(SECTION)
    drawn = {kept.stroke for kept in events if kept.event == "drawn"}
    assert {kept.stroke for kept in events} - drawn
    machine.advance(port.now + 60)
    assert not machine.carriage.down
    assert ink_elsewhere(made, machine) == 0


@pytest.mark.parametrize("plotter", ["flatbed-a4", "gantry-gcode"])
def test_a_machine_that_never_answers_is_driven_by_the_clock_to_its_end(
    tmp_path: Path, plotter: str
) -> None:
    made, machine = section_of(tmp_path, plotter, 'handshake = "timed"\n')
    port = SpoiltPort(machine, deaf=True)
    with open_record(tmp_path / "job") as record:
        assert ink(made, port, record) == "go on"
        kinds = {kept.stroke: kept.event for kept in record.strokes(SECTION)}
    assert set(kinds) == {stroke.id for stroke in made.strokes}
    assert "drawn" not in kinds.values()
    assert machine.lost_bytes == 0
    machine.advance(port.now + 60)
    assert not machine.carriage.down
    assert ink_elsewhere(made, machine) == 0


def test_a_status_still_on_its_way_is_not_taken_for_the_number_of_a_fault() -> None:
    # HP 7470A manual, page 7-8: status 48 is ready (16) with an error (32); page 7-5: OE gives 1
    # for an instruction not recognised.
    from devices.conversation.checkpoints import Checkpoint
    from devices.conversation.events import Say

    talk = Conversation(HpglDialect("barrier"), AheadLimits(255))
    talk.open(0.0)
    for reply in ("255", "0", "0", "24", "0", "0", "16"):
        talk.due(0.0)
        talk.receive(reply.encode() + b"\r", 0.0)
    talk.feed(
        [
            Say(b"OA;OS;", 0.1, (), Checkpoint("1111,2222,0", ("one",))),
            Say(b"OA;OS;", 0.1, (), Checkpoint("4444,6666,0", ("two",))),
        ]
    )
    talk.due(0.0)
    events = talk.receive(b"1111,2222,0\r48\r", 0.1)
    due = talk.due(0.1)
    assert talk.state is State.DIAGNOSING
    assert due is not None
    # What is buffered is dropped before anything is asked, and the pen raised.
    assert due.data == b"\x1b.KPU;OE;"
    events += talk.receive(b"4444,6666,0\r48\r1\r", 0.2)
    talk.due(0.2)
    events += talk.receive(b"0\r", 0.3)
    assert not [event for event in events if isinstance(event, Confirmed)]
    (failed,) = [event for event in events if isinstance(event, Failed)]
    assert "did not recognise" in failed.reason
    assert "48" not in failed.reason
