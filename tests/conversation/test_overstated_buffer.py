"""A plotter that says it holds more than it does: found out pen up, before any ink.

HP 7470A Interfacing and Programming Manual (07470-90001), page 10-27: ESC.E answers 16 when the
input buffer has overflowed "and one or more bytes of data have been lost"; page 10-26: ESC.B.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.conversation.ahead import AheadLimits
from devices.conversation.checkpoints import Checkpoint
from devices.conversation.conversation import Conversation
from devices.conversation.events import Event, Failed, Greeted, Say
from devices.dialects.hpgl.answers import HpglDialect
from devices.dialects.hpgl.buffer_trial import BufferTrial
from devices.dialects.writer import PenUse
from devices.driving.machine import MachineSetting, setting
from devices.driving.program import Script
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.hpgl import SimulatedPlotter
from devices.simulated.onboard import simulated
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from tests.conversation.line import Line
from tests.inking.kills import SECTION, make_job, samples

if TYPE_CHECKING:
    from pathlib import Path

ASKED = ("1024", "0", "0", "24", "0", "0", "16")
"""Answers to ESC.B, ESC.E, OE, OS, ESC.E, OE, OS."""
TRIAL = BufferTrial(((0, 7600), (0, 0)), 0.7, 9600)


def greeted(*trials: str) -> tuple[Conversation, list[int], list[Event]]:
    """A greeting whose trials of the buffer are answered so; the bytes that each one sent."""
    talk = Conversation(HpglDialect("barrier", trial=TRIAL), AheadLimits(1024))
    talk.open(0.0)
    for reply in ASKED:
        talk.due(0.0)
        talk.receive(reply.encode() + b"\r", 0.0)
    sizes, events = [], []
    for answer in trials:
        due = talk.due(0.0)
        assert due is not None
        # Nothing but raised moves, then the question that is answered at once.
        assert re.fullmatch(rb"(PU(\d+,\d+)?;)+\x1b\.E", due.data)
        sizes.append(len(due.data) - len(b"\x1b.E"))
        talk.receive(answer.encode() + b"\r", 0.0)
        cleared = talk.due(0.0)
        assert cleared is not None
        assert cleared.data == b"\x1b.KPU;OE;"
        events += talk.receive(b"0\r", 0.0)
    return talk, sizes, events


def test_a_buffer_is_filled_pen_up_to_what_it_is_said_to_hold_before_anything_is_inked() -> None:
    talk, sizes, events = greeted("0")
    assert 1024 - 3 < sizes[0] <= 1024
    (done,) = events
    assert isinstance(done, Greeted)
    # What a plotter twice as quick would have worked off meanwhile has not been shown.
    assert 950 < done.buffer_bytes < 1024 - len(b"OA;OS;")
    assert talk.greeted.overstated is None


def test_a_buffer_that_overflows_is_tried_ever_smaller_until_it_holds() -> None:
    talk, sizes, events = greeted("16", "16", "16", "16", "16", "0", "16")
    assert sizes == sorted(sizes[:5], reverse=True) + sizes[5:]
    assert sizes[5] <= 60
    (done,) = events
    assert isinstance(done, Greeted)
    assert done.buffer_bytes <= sizes[5]
    assert talk.greeted.overstated == 1024


def test_an_overflow_in_mid_run_is_named_with_the_key_that_cures_it() -> None:
    talk = Conversation(HpglDialect("barrier"), AheadLimits(1024))
    talk.open(0.0)
    for reply in ASKED:
        talk.due(0.0)
        talk.receive(reply.encode() + b"\r", 0.0)
    talk.feed([Say(b"PU1,1;PD900,1;PU1,1;OA;OS;", 1.0, ("a",), Checkpoint("1,1,0", ("a",)))])
    assert talk.due(0.0) is not None
    now = 0.0
    answers = {b"\x1b.KPU;OS;": b"16\r", b"\x1b.KPU;OE;": b"2\r", b"\x1b.E": b"16\r"}
    events: list[Event] = []
    while not talk.over:
        now += 1.0
        events += talk.tick(now)
        due = talk.due(now)
        if due is not None and due.data in answers:
            events += talk.receive(answers[due.data], now)
        assert now < 200
    (failed,) = (event for event in events if isinstance(event, Failed))
    assert "input buffer overflowed" in failed.reason
    assert "plotter.buffer_bytes" in failed.reason
    assert "paused or stuck" not in failed.reason


def on_the_bench(
    folder: Path, profile: str, extra: str, **build: Any
) -> tuple[MachineSetting, SimulatedPlotter]:
    from msgspec.structs import replace

    make_job(folder / "job", profile, extra)
    job = load_job(folder / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == SECTION)
    made = setting(section, job.plotter, job.pens)
    plain = simulated(job.plotter, made.bed, Cloth())
    assert isinstance(plain, SimulatedPlotter)
    return made, SimulatedPlotter(replace(plain.build, **build), Cloth())


@pytest.mark.parametrize("handshake", ["xonxoff", "barrier", "space"])
def test_a_plotter_of_60_bytes_that_says_1024_inks_its_section_true(
    tmp_path: Path, handshake: str
) -> None:
    extra = f'handshake = "{handshake}"\n'
    made, machine = on_the_bench(tmp_path, "flatbed-a3", extra, buffer_bytes=60, says_it_holds=1024)
    line = Line(Conversation(made.dialect, made.limits), machine)
    line.open()
    lost_in_the_trial = machine.lost_bytes
    assert lost_in_the_trial > 0
    assert machine.carriage.cloth.ink == ()
    script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
    line.run(script.opening())
    line.run(script.ink(made.strokes[:12]))
    assert line.failure is None
    assert machine.lost_bytes == lost_in_the_trial
    assert line.confirmed == [stroke.id for stroke in made.strokes[:12]]
    unit = made.bed.unit
    wanted = samples([np.array(stroke.path) * unit for stroke in made.strokes[:12]])
    laid = samples([np.array(ink.path) for ink in machine.carriage.cloth.ink])
    assert cKDTree(wanted).query(laid)[0].max() < 0.06
    assert cKDTree(laid).query(wanted)[0].max() < 0.06


@pytest.mark.parametrize("holds", [45, 48, 54, 60])
def test_what_a_small_buffer_is_sent_always_leaves_room_for_the_question_after_it(
    tmp_path: Path, holds: int
) -> None:
    """Three instructions that fill it and are not asked about are waited for in vain."""
    made, machine = on_the_bench(tmp_path, "flatbed-a3", "", buffer_bytes=holds)
    line = Line(Conversation(made.dialect, made.limits), machine)
    line.open()
    script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
    line.run(script.opening())
    lost = machine.lost_bytes
    # Far out, where coordinates are longest.
    x, y = made.bed.high
    lines = [((x - 9 * n, y - 700), (x - 9 * n, y - 90)) for n in range(1, 9)]
    pen = made.strokes[0].pen
    strokes = [PenUse(f"far{n}", pen, path, False) for n, path in enumerate(lines)]
    line.run(script.ink(strokes))
    line.run(script.closing())
    assert line.failure is None
    assert machine.lost_bytes == lost
    assert line.confirmed == [stroke.id for stroke in strokes]


@pytest.mark.parametrize("profile", ["flatbed-a4", "flatbed-a3", "flatbed-24x36", "roll-36"])
def test_a_plotter_that_holds_what_it_says_is_used_to_nearly_all_of_it(
    tmp_path: Path, profile: str
) -> None:
    made, machine = on_the_bench(tmp_path, profile, "")
    line = Line(Conversation(made.dialect, made.limits), machine)
    line.open()
    assert line.failure is None
    assert machine.lost_bytes == 0
    assert line.conversation.greeted.overstated is None
    assert line.conversation.room >= 0.9 * made.limits.buffer_bytes - len(b"OA;OS;")
