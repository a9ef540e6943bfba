"""A stop, byte by byte: braked before it is reset, the pen raised as soon as it can be.

The gantry's answers are those of Grbl 1.1: doc/markdown/interface.md ("Hold:1 Hold in-progress.
Reset will throw an alarm"; ALARM:3 and the lock's message) and commands.md ("If reset while in not
motion, position is retained").
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from devices.conversation.conversation import Conversation
from devices.conversation.events import Event, PlaceLost
from devices.conversation.halt import Halt
from devices.dialects.gcode.answers import GcodeDialect
from devices.dialects.hpgl.answers import HpglDialect
from devices.driving.driver import Driver
from devices.driving.kept_places import whereabouts_in
from devices.driving.machine import setting
from devices.driving.program import Script
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.gantry import Gantry
from devices.simulated.onboard import simulated
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.driving.own_time import BANNER, GantryPort, OwnTimePort
from tests.inking.kills import SECTION, make_job

if TYPE_CHECKING:
    from pathlib import Path

    from devices.driving.driver import Cable, Wish

AT_MOST_DOWN = 0.15
"""Seconds that the pen may stand on the cloth after a stop, on a machine that obeys at once."""
RAISE = b"G21G90\nG0Z4\n"


def job_on(folder: Path, plotter: str, extra: str = "") -> Job:
    make_job(folder / "job", plotter, extra)
    return load_job(folder / "job", Job)


def report(state: str, x: float, z: float) -> bytes:
    return f"<{state}|MPos:{x:.3f},20.000,{z:.3f}|FS:0,0>\r\n".encode()


def spoken(halt: Halt, answers: list[tuple[float, bytes]], until: float = 60.0) -> Any:
    """What the stop sends at each of the machine's answers, and what comes of them."""
    sent, events = [(0.0, halt.due(0.0))], list[Event]()
    for at, data in answers:
        if data == b"":
            events += halt.receive(b"", at)
        else:
            events += halt.receive(data, at)
        due = halt.due(at)
        if due:
            sent.append((at, due))
    return sent, events


@pytest.fixture
def dialect(tmp_path: Path) -> GcodeDialect:
    return GcodeDialect(job_on(tmp_path, "gantry-gcode").plotter)


def test_a_gantry_is_reset_only_when_it_says_that_it_stands(dialect: GcodeDialect) -> None:
    halt = Halt(dialect, 0.0)
    sent, events = spoken(
        halt,
        [
            (0.01, report("Run", 100.0, 0.0)),
            (0.05, report("Hold:1", 101.0, 0.0)),
            (0.10, report("Hold:1", 102.0, 0.0)),
            (0.14, report("Hold:0", 102.5, 0.0)),
            (0.15, BANNER),
            (0.30, report("Run", 102.5, 2.0)),
            (0.40, report("Idle", 102.5, 4.0)),
        ],
    )
    resets = [at for at, data in sent if b"\x18" in data]
    assert sent[0] == (0.0, b"!?")
    assert resets == [0.14], "a machine reset while it moves loses its place"
    raised = [at for at, data in sent if RAISE in data]
    assert raised == [0.15]
    assert not any(b"$X" in data for _, data in sent)
    assert events == []
    assert halt.over
    assert halt.stands is not None
    assert halt.stands.text == "102.500,20.000,4.000"


def test_a_reset_that_came_while_it_moved_is_a_lost_place(dialect: GcodeDialect) -> None:
    halt = Halt(dialect, 0.0)
    sent, events = spoken(
        halt,
        [
            (0.1, report("Hold:0", 102.5, 0.0)),
            (0.2, b"ALARM:3\r\n" + BANNER + b"[MSG:'$H'|'$X' to unlock]\r\n"),
        ],
    )
    assert [type(event) for event in events] == [PlaceLost]
    # The pen is raised all the same: unlocked for that, after the loss was told.
    assert any(b"$X\n" + RAISE in data for _, data in sent)


def test_a_machine_that_is_silent_is_stopped_unseen_and_has_lost_its_place(
    dialect: GcodeDialect,
) -> None:
    halt = Halt(dialect, 0.0)
    sent, events = spoken(halt, [(0.1 * step, b"") for step in range(1, 60)])
    first_reset = min(at for at, data in sent if b"\x18" in data)
    assert 0.4 < first_reset < 1.0
    assert any(b"$X\n" + RAISE in data for _, data in sent)
    assert [type(event) for event in events] == [PlaceLost]
    assert halt.over


def test_a_machine_that_has_restarted_raises_its_pen_by_as_much_and_to_no_height(
    dialect: GcodeDialect,
) -> None:
    """Its own zero of Z is where it was switched on: Z4 may be below where the pen stands."""
    halt = Halt(dialect, 0.0, restarted=True)
    sent, _ = spoken(
        halt, [(0.1, report("Hold:0", 0.0, 0.0)), (0.2, BANNER), (0.4, report("Idle", 0.0, 4.0))]
    )
    assert any(b"G91\nG0Z4.000\nG90\n" in data for _, data in sent)
    assert not any(RAISE in data for _, data in sent)
    assert halt.stands is None


def test_an_impatient_person_still_leaves_the_pen_up(dialect: GcodeDialect) -> None:
    halt = Halt(dialect, 0.0)
    halt.due(0.0)
    assert halt.at_once == b"\x18$X\n" + RAISE
    assert [type(event) for event in halt.given_up()] == [PlaceLost]


def test_a_plotter_raises_its_pen_right_behind_the_abort() -> None:
    """HP 7470A manual, page 10-24: ESC.K drops what is buffered; the next instruction is new."""
    halt = Halt(HpglDialect("xonxoff"), 0.0)
    assert halt.due(0.0) == b"\x1b.KPU;"


# -- on machines ---------------------------------------------------------------------------------


class InterruptedPort(OwnTimePort):
    """One on whose driver Ctrl C is pressed once it has read `left` times."""

    left: int | None = None

    def read(self) -> bytes:
        if self.left is not None:
            self.left -= 1
            if self.left == -1:
                raise KeyboardInterrupt
        return super().read()


class Stopped(NamedTuple):
    """A stop in the middle of a stroke; seconds from it."""

    driver: Driver
    told: float
    """Until the machine was told to raise its pen."""
    up: float
    """Until it had."""


def stopped(made: Any, port: Any, folder: Path, number: int) -> Stopped:
    stopped_at = 0.0

    def wish() -> Wish:
        nonlocal stopped_at
        if port.now > 6 + 1.7 * number and port.machine.carriage.down:
            stopped_at = stopped_at or port.now
            return "stop"
        return "go on"

    with open_record(folder) as record:
        talk = Conversation(made.dialect, made.limits)
        line: Cable = port
        driver = Driver(
            line,
            talk,
            made.dialect,
            "barrier",
            record,
            1,
            SECTION,
            wish,
            lambda _: None,
            port.clock,
        )
        driver.greet()
        script = Script(made.writer, made.dialect, talk.room, made.nudge)
        driver.send(script.opening())
        lifted: list[float] = []
        write = port.write

        def written(data: bytes) -> None:
            if stopped_at and (b"PU;" in data or b"G0Z4" in data):
                lifted.append(port.now)
            write(data)

        port.write = written
        assert driver.send(script.ink(made.strokes)) == "stop"
        assert not [kept for kept in whereabouts_in(record) if kept.event == "lost"]
    while port.machine.carriage.down and port.now < stopped_at + 30:
        port.read()
    assert not port.machine.carriage.down
    return Stopped(driver, lifted[0] - stopped_at, port.now - stopped_at)


@pytest.mark.parametrize("plotter", ["flatbed-a4", "flatbed-a3", "gantry-gcode"])
def test_the_order_to_raise_the_pen_is_out_at_once_on_a_machine_that_obeys_at_once(
    tmp_path: Path, plotter: str
) -> None:
    for number in range(6):
        folder = tmp_path / str(number)
        job = job_on(folder, plotter)
        plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
        made = setting(plan.sections[0], job.plotter, job.pens)
        machine = simulated(job.plotter, made.bed, Cloth())
        if plotter == "gantry-gcode":
            # It brakes as hard as a carriage starts, as pen plotters do.
            machine = GantryPort(Gantry(high=job.plotter.bed_size, acceleration=8000.0)).machine
        found = stopped(made, OwnTimePort(machine), folder / "job", number)
        assert found.told <= AT_MOST_DOWN


@pytest.mark.parametrize("speed", ["20 mm/s", "60 mm/s", "150 mm/s"])
@pytest.mark.parametrize("plotter", ["flatbed-a4", "flatbed-24x36"])
def test_a_pen_plotter_is_off_the_cloth_within_a_second_of_a_stop_in_a_long_line(
    tmp_path: Path, plotter: str, speed: str
) -> None:
    """It cannot brake: it draws to the end of a vector that it has begun (the 7470A's manual has
    each pair of a PD plotted as soon as it is there), and a line of a section takes up to 10 s.
    """
    slow = f'[pens.lines]\nslot = 1\nwidth = "0.7 mm"\nspeed = "{speed}"\n'
    for number in range(4):
        folder = tmp_path / str(number)
        job = job_on(folder, plotter, slow)
        plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
        made = setting(plan.sections[0], job.plotter, job.pens)
        machine = simulated(job.plotter, made.bed, Cloth())
        assert stopped(made, OwnTimePort(machine), folder / "job", number).up <= 1.0


def test_a_gantry_that_brakes_slowly_is_waited_for_and_keeps_its_place(tmp_path: Path) -> None:
    job = job_on(tmp_path, "gantry-gcode")
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    made = setting(plan.sections[0], job.plotter, job.pens)
    port = GantryPort(Gantry(high=job.plotter.bed_size, acceleration=40.0))
    driver = stopped(made, port, tmp_path / "job", 1).driver
    assert port.machine.carriage.real == port.machine.carriage.at
    assert driver.stands is not None


def test_a_pen_that_a_killed_run_left_down_is_raised_when_the_next_is_ended_in_its_greeting(
    tmp_path: Path,
) -> None:
    job = job_on(tmp_path, "flatbed-a4")
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    made = setting(plan.sections[0], job.plotter, job.pens)
    for after in range(6):
        port = InterruptedPort(simulated(job.plotter, made.bed, Cloth()))
        port.write(b"PU1000,1000;PD1200,1000;")
        port.now += 3.0
        port.read()
        assert port.machine.carriage.down
        port.left = after
        with open_record(tmp_path / "job") as record:
            driver = Driver(
                port,
                Conversation(made.dialect, made.limits),
                made.dialect,
                "barrier",
                record,
                0,
                SECTION,
                lambda: "go on",
                lambda _: None,
                port.clock,
            )
            with pytest.raises(KeyboardInterrupt):
                driver.greet()
        port.machine.advance(port.now + 1.0)
        assert not port.machine.carriage.down
