"""A plotter that restarts in mid-run: nothing after it counts as drawn, and its place is in doubt.

HP 7470A Interfacing and Programming Manual (07470-90001): OS, page 7-8 (8 is "initialized",
cleared when it has been output; 24 upon power up), IN, page 1-11 (as switching off and on), OW,
page 2-9 (the window is the whole bed again upon power on, front-panel reset or IN).
"""

from __future__ import annotations

import subprocess
import sys
import threading
from queue import Queue
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.spatial import cKDTree

from devices.conversation.ahead import AheadLimits
from devices.conversation.checkpoints import Checkpoint
from devices.conversation.conversation import Conversation
from devices.conversation.events import Confirmed, Event, Failed, PlaceLost, Say
from devices.dialects.hpgl.answers import HpglDialect
from devices.driving.machine import MachineSetting, setting
from devices.driving.program import Script
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.simulated.cloth import Cloth
from devices.simulated.hpgl import SimulatedPlotter
from devices.simulated.onboard import simulated
from devices.simulated.serve import serve_socket
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.conversation.line import Line
from tests.inking.kills import SECTION, make_job, plotter_at, samples

if TYPE_CHECKING:
    from pathlib import Path

GREETING = ("1024", "0", "0", "24", "0", "0", "16")
"""Answers to ESC.B, ESC.E, OE, OS, ESC.E, OE, OS of a plotter just switched on."""


def talking(dialect: HpglDialect, *replies: str) -> Conversation:
    talk = Conversation(dialect, AheadLimits(1024))
    talk.open(0.0)
    for reply in replies:
        assert talk.due(0.0) is not None
        talk.receive(reply.encode() + b"\r", 0.0)
    assert not talk.greeting
    return talk


def heard(talk: Conversation, *replies: str) -> list[Event]:
    events: list[Event] = []
    for reply in replies:
        events += talk.receive(reply.encode() + b"\r", 1.0)
    return events


def stroke(name: str, start: str, end: str) -> Say:
    data = f"PU{start};PD{end};PU{end};OA;OS;".encode()
    return Say(data, 1.0, (name,), Checkpoint(f"{end},0", (name,)), f"{end},0")


def test_an_eight_in_the_status_ends_the_run_with_nothing_confirmed_and_the_place_lost() -> None:
    talk = talking(HpglDialect("barrier"), *GREETING)
    talk.feed([stroke("a", "10,10", "900,10"), stroke("b", "10,5000", "900,5000")])
    assert talk.due(0.5) is not None
    assert heard(talk, "900,10,0", "16") == [Confirmed(("a",))]
    lost, failed = heard(talk, "900,5000,0", "24")
    assert isinstance(lost, PlaceLost)
    assert isinstance(failed, Failed)
    assert "restarted by itself" in failed.reason
    assert talk.due(2.0) is None


def test_an_eight_counts_also_beside_a_place_that_nobody_asked_for() -> None:
    """The reset cut a move short: the pen stands elsewhere, and the 8 is told this once."""
    talk = talking(HpglDialect("barrier"), *GREETING)
    talk.feed([stroke("a", "10,10", "900,10"), stroke("b", "10,5000", "900,5000")])
    talk.due(0.5)
    assert any(isinstance(event, PlaceLost) for event in heard(talk, "0,3000,0", "24"))
    assert not any(isinstance(event, Confirmed) for event in heard(talk, "900,5000,0", "16"))


def test_a_checkpoint_confirms_no_earlier_one_whose_answer_never_came() -> None:
    """A restart may have been told in the answer that was lost, and then dropped the pen."""
    talk = talking(HpglDialect("barrier"), *GREETING)
    talk.feed([stroke("a", "10,10", "900,10"), stroke("b", "10,5000", "900,5000")])
    talk.due(0.5)
    events = heard(talk, "900,5000,0", "16")
    assert not [event for event in events if isinstance(event, Confirmed)]


WINDOWED = HpglDialect("barrier", starts=True, own_window="100,100,9000,7000")


def windowed(*, started: str) -> Conversation:
    """A greeting with IN, whose window is the whole bed at first; then IW, read back."""
    greeting = ("1024", "0", "0", "24", started, "0,0,10300,7650", "0", "0", "0", "16")
    talk = talking(WINDOWED, *greeting)
    opening = Say(b"IW100,100,9000,7000;PU100,100;OA;OS;", 1.0, (), Checkpoint("100,100,0", ()))
    talk.feed([opening])
    talk.due(0.1)
    assert heard(talk, "100,100,0", "16") == []
    asked = talk.due(0.2)
    assert asked is not None
    assert asked.data == b"OW;"
    assert not talk.drained
    assert heard(talk, "100,100,9000,7000") == []
    assert talk.drained
    return talk


def test_a_lost_answer_is_made_good_by_the_window_that_no_restart_would_have_left() -> None:
    talk = windowed(started="24")
    talk.feed([stroke("a", "110,110", "900,110"), stroke("b", "110,5000", "900,5000")])
    talk.due(0.5)
    assert heard(talk, "900,5000,0", "16") == []
    asked = talk.due(0.6)
    assert asked is not None
    assert asked.data == b"OW;"
    assert heard(talk, "100,100,9000,7000") == [Confirmed(("a", "b"))]
    assert talk.drained


def test_a_lost_answer_and_a_window_as_at_power_on_is_a_restart() -> None:
    talk = windowed(started="24")
    talk.feed([stroke("a", "110,110", "900,110"), stroke("b", "110,5000", "900,5000")])
    talk.due(0.5)
    heard(talk, "900,5000,0", "16")
    talk.due(0.6)
    lost, failed = heard(talk, "0,0,10300,7650")
    assert isinstance(lost, PlaceLost)
    assert isinstance(failed, Failed)


def test_a_plotter_that_never_sets_the_bit_confirms_by_its_window_alone() -> None:
    talk = windowed(started="16")
    talk.feed([stroke("a", "110,110", "900,110")])
    talk.due(0.5)
    assert heard(talk, "900,110,0", "16") == []
    talk.due(0.6)
    assert heard(talk, "100,100,9000,7000") == [Confirmed(("a",))]
    talk.feed([stroke("b", "110,5000", "900,5000")])
    talk.due(0.7)
    heard(talk, "900,5000,0", "16")
    talk.due(0.8)
    assert any(isinstance(event, PlaceLost) for event in heard(talk, "0,0,10300,7650"))


# -- the whole machine ---------------------------------------------------------------------------


def on_the_bench(
    folder: Path, profile: str, **build: Any
) -> tuple[MachineSetting, SimulatedPlotter]:
    make_job(folder / "job", profile)
    job = load_job(folder / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == SECTION)
    made = setting(section, job.plotter, job.pens)
    plain = simulated(job.plotter, made.bed, Cloth())
    assert isinstance(plain, SimulatedPlotter)
    # Real beds are a little larger than what a profile uses of them.
    (x, y), wider = plain.build.high, {"high": (0, 0)}
    wider["high"] = (x + 40, y + 40)
    return made, SimulatedPlotter(replace(plain.build, **wider, **build), Cloth())


def run_with_a_reset(made: MachineSetting, machine: SimulatedPlotter, at: float, seed: int) -> Line:
    line = Line(Conversation(made.dialect, made.limits), machine, 9600, seed=seed)
    line.open()
    script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
    line.run(script.opening())
    assert line.failure is None
    line.noise = 0.01 * (seed % 2)
    line.conversation.feed(script.ink(made.strokes))
    line.run_until(lambda: line.conversation.drained or line.now > at)
    machine.reset(line.now, stows_pen=True)
    line.run_until(lambda: line.conversation.drained)
    return line


@pytest.mark.parametrize("shows", [True, False])
@pytest.mark.parametrize("profile", ["flatbed-a4", "flatbed-a3"])
def test_after_a_reset_that_puts_the_pen_away_no_stroke_is_told_as_drawn(
    tmp_path: Path, profile: str, shows: bool
) -> None:
    told = 0
    for seed in range(6):
        made, machine = on_the_bench(tmp_path / str(seed), profile, shows_initialized=shows)
        line = run_with_a_reset(made, machine, 9.0 + 3.37 * seed, seed)
        assert line.failure is not None
        # Where answers are garbled, the one that would tell of the restart may be among them: then
        # nobody knows.
        told += any(isinstance(event, PlaceLost) for event in line.events)
        inked = [np.array(ink.path) for ink in machine.carriage.cloth.ink if ink.pen > 0]
        laid = cKDTree(samples(inked)) if inked else None
        for stroke_ in made.strokes:
            if stroke_.id in line.confirmed:
                assert laid is not None
                wanted = samples([np.array(stroke_.path) * made.bed.unit])
                off = laid.query(wanted)[0].max()
                assert off < 0.06, f"{stroke_.id} was told as drawn and is not"
        assert len(line.confirmed) < len(made.strokes)
    assert told == 6


# -- the real command ----------------------------------------------------------------------------


class ResetsOnce:
    """A plotter whose reset is pressed once, in the stroke of this number; it puts its pen away."""

    def __init__(self, machine: SimulatedPlotter, after: int) -> None:
        self.machine, self.after = machine, after

    def receive(self, data: bytes, now: float) -> None:
        self.machine.receive(data, now)

    def advance(self, now: float) -> None:
        self.machine.advance(now)
        carriage = self.machine.carriage
        if carriage.down and len(carriage.cloth.ink) > self.after:
            self.after = 10**9
            self.machine.reset(now, stows_pen=True)

    def reply(self) -> bytes:
        return self.machine.reply()


@pytest.fixture
def second_section(tmp_path: Path) -> tuple[Path, MachineSetting, SimulatedPlotter, Any]:
    """A job whose first section is inked; the second, its plotter, and what reads its marks."""
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a3")
    with plotter_at(folder, 400) as port:
        words = ["--section", SECTION, "--unattended", "--ink-anyway", "by tape"]
        assert drive(folder, *port, *words).returncode == 0
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(one for one in plan.sections if one.id == "r1c2")
    bed = bed_of(section, job.plotter)

    def read(name: str, off: float) -> list[str]:
        rows = ["section,mark,x_mm,y_mm"]
        for mark in section.locating_marks:
            x, y = np.subtract(mark.at_table, bed.origin_table) @ bed.to_bed.T + off
            rows.append(f"r1c2,{mark.id},{x:.3f},{y:.3f}")
        (folder / name).write_text("\n".join(rows) + "\n")
        return ["--readings", str(folder / name)]

    made = setting(section, job.plotter, job.pens)
    machine = simulated(job.plotter, made.bed, Cloth())
    assert isinstance(machine, SimulatedPlotter)
    return folder, made, machine, read


def drive(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """The real command, in a process of its own."""
    command = [sys.executable, "-m", "devices.commands", "drive", "--job", str(folder), *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def test_a_panel_reset_in_mid_run_ends_with_3_and_only_marks_read_anew_let_it_ink(
    second_section: tuple[Path, MachineSetting, SimulatedPlotter, Any],
) -> None:
    folder, made, machine, read = second_section
    port: Queue[str] = Queue()
    served = (ResetsOnce(machine, 9), ("127.0.0.1", 0), 150.0, port.put)
    threading.Thread(target=serve_socket, args=served, daemon=True).start()
    words = ["--section", "r1c2", "--unattended", "--ink-anyway", "exact", "--port", port.get()]
    first = read("first.csv", 0.0)
    reset = drive(folder, *words, *first)
    assert reset.returncode == 3
    assert "restarted by itself" in reset.stderr
    with open_record(folder) as record:
        drawn = {kept.stroke for kept in record.strokes("r1c2") if kept.event == "drawn"}
    laid = cKDTree(samples([np.array(i.path) for i in machine.cloth.ink if i.pen > 0]))
    for stroke_ in made.strokes:
        if stroke_.id in drawn:
            wanted = samples([np.array(stroke_.path) * made.bed.unit])
            assert laid.query(wanted)[0].max() < 0.06, f"{stroke_.id} is not on the cloth"
    inked = len(machine.cloth.ink)
    for given in ([], first):
        again = drive(folder, *words, *given)
        assert again.returncode == 1
        assert "may have lost its place" in again.stderr
    assert len(machine.cloth.ink) == inked
    done = drive(folder, *words, *read("anew.csv", 0.01))
    assert done.returncode == 0, done.stderr
    inks = samples([np.array(i.path) for i in machine.cloth.ink if i.pen > 0])
    wanted = samples([np.array(one.path) * made.bed.unit for one in made.strokes])
    assert cKDTree(inks).query(wanted)[0].max() < 0.07
    assert cKDTree(wanted).query(inks)[0].max() < 0.07
