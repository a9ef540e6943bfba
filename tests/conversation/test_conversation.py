"""The conversation: nothing overruns, nothing is confirmed that is not on the cloth."""

from __future__ import annotations

import itertools
import random
from typing import TYPE_CHECKING, Any

import pytest

from devices.conversation.ahead import AheadLimits
from devices.conversation.checkpoints import Distinct, within_edits
from devices.conversation.conversation import Conversation
from devices.conversation.events import Confirmed, Failed, Greeted
from devices.conversation.states import TRANSITIONS, Signal, State
from devices.dialects.hpgl.answers import HpglDialect
from devices.driving.machine import MachineSetting, setting
from devices.driving.program import Script
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import simulated
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from tests.conversation.line import Line
from tests.inking.kills import SECTION, make_job

if TYPE_CHECKING:
    from pathlib import Path


def section_on(folder: Path, plotter: str, extra: str = "") -> tuple[MachineSetting, Any, Job]:
    make_job(folder / plotter, plotter, extra)
    job = load_job(folder / plotter, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == SECTION)
    made = setting(section, job.plotter, job.pens)
    return made, simulated(job.plotter, made.bed, Cloth()), job


def drive(made: MachineSetting, machine: Any, baud: int, noise: float = 0.0, seed: int = 1) -> Line:
    line = Line(Conversation(made.dialect, made.limits), machine, baud, seed=seed)
    line.open()
    line.noise = noise
    script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
    line.run(script.opening())
    if not line.conversation.over:
        line.run(script.ink(made.strokes))
    return line


@pytest.mark.parametrize(
    ("plotter", "extra"),
    [
        ("flatbed-a4", ""),
        ("flatbed-a3", ""),
        ("flatbed-a3", 'handshake = "rtscts"\n'),
        ("flatbed-a3", 'handshake = "space"\nbuffer_bytes = 255\nlongest_instruction = 100\n'),
        ("flatbed-a3", 'handshake = "barrier"\n'),
        ("gantry-gcode", ""),
    ],
)
def test_a_section_is_drawn_and_confirmed_with_no_byte_lost(
    tmp_path: Path, plotter: str, extra: str
) -> None:
    made, machine, job = section_on(tmp_path, plotter, extra)
    line = drive(made, machine, job.plotter.baud)
    assert line.failure is None
    assert machine.lost_bytes == 0
    assert line.confirmed == [stroke.id for stroke in made.strokes]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("plotter", ["flatbed-a4", "flatbed-a3", "gantry-gcode"])
def test_noise_on_the_reply_line_ends_in_progress_or_a_clear_stop_and_never_in_a_false_drawn(
    tmp_path: Path, plotter: str, seed: int
) -> None:
    made, machine, job = section_on(tmp_path, plotter)
    inked: list[int] = []
    line = drive(made, machine, job.plotter.baud, noise=(0.002, 0.02, 0.2)[seed % 3], seed=seed)
    assert machine.lost_bytes == 0
    machine.advance(line.now)
    drawn = {tuple(round(value, 6) for value in spot) for ink in _ink(machine) for spot in ink.path}
    unit = made.bed.unit
    for stroke in made.strokes:
        if stroke.id in line.confirmed:
            ends = {(round(x * unit, 6), round(y * unit, 6)) for x, y in stroke.path}
            assert ends <= drawn, f"{stroke.id} was confirmed and is not on the cloth"
            inked.append(1)
    assert line.failure or len(inked) == len(made.strokes)


def _ink(machine: Any) -> Any:
    return machine.carriage.cloth.ink


def test_replies_an_hour_late_confirm_only_what_they_report(tmp_path: Path) -> None:
    made, machine, _job = section_on(tmp_path, "flatbed-a4")
    line = Line(
        Conversation(made.dialect, AheadLimits(made.limits.buffer_bytes, patience=9e9)), machine
    )
    line.open()
    script = Script(made.writer, made.dialect, line.conversation.room, 1)
    line.run(script.opening())
    line.conversation.feed(script.ink(made.strokes))
    first = line.conversation.due(line.now)
    assert first is not None
    machine.receive(first.data, line.now)
    machine.advance(line.now + 3600)
    late = machine.reply()
    events = line.conversation.receive(late + late + late, line.now + 7200)
    confirmed = [
        stroke for event in events if isinstance(event, Confirmed) for stroke in event.strokes
    ]
    assert len(confirmed) == len(set(confirmed))
    assert set(confirmed) <= set(first.begins)


@pytest.mark.parametrize("plotter", ["flatbed-a4", "flatbed-a3", "gantry-gcode"])
def test_a_pause_at_any_moment_ends_pen_up_with_all_that_was_begun_drawn(
    tmp_path: Path, plotter: str
) -> None:
    for number in range(12):
        made, machine, job = section_on(tmp_path / str(number), plotter)
        line = Line(Conversation(made.dialect, made.limits), machine, job.plotter.baud)
        line.open()
        talk = line.conversation
        script = Script(made.writer, made.dialect, talk.room, made.nudge)
        line.run(script.opening())
        pauses_at = line.now + 0.37 + 2.9 * number
        talk.feed(script.ink(made.strokes))
        line.run_until(lambda talk=talk, line=line, at=pauses_at: talk.drained or line.now > at)
        talk.pause()
        line.run_until(lambda talk=talk: talk.drained)
        assert line.failure is None
        begun = [stroke.id for stroke in made.strokes[: len(line.confirmed)]]
        assert line.confirmed == begun
        assert len(begun) < len(made.strokes)
        machine.advance(line.now + 60)
        assert not machine.carriage.down
        # It goes on from there in the same conversation, and parks.
        line.run(script.closing())
        assert line.failure is None


def test_a_raised_pen_goes_to_and_fro_between_places_that_read_alike(tmp_path: Path) -> None:
    made, machine, job = section_on(tmp_path, "flatbed-a4")
    line = Line(Conversation(made.dialect, made.limits), machine, job.plotter.baud)
    line.open()
    script = Script(made.writer, made.dialect, line.conversation.room, made.nudge)
    line.run(script.opening())
    for x in (1000, 1040, 1000, 1001, 1001, 1000):
        line.run(script.hop_to((x, 2000)))
        assert line.failure is None
        machine.advance(line.now)
        assert machine.carriage.at == pytest.approx((x * 0.025, 50.0))


def test_an_xoff_that_never_ends_is_a_clear_stop() -> None:
    talk = Conversation(HpglDialect("xonxoff"), AheadLimits(1024, patience=5))
    talk.open(0.0)
    for reply in ("1024", "0", "0", "24", "0", "0", "16"):
        talk.due(0.0)
        talk.receive(reply.encode() + b"\r", 0.0)
    assert talk.state is State.STREAMING
    from devices.conversation.checkpoints import Checkpoint
    from devices.conversation.events import Say

    talk.feed([Say(b"PU1,1;OA;OS;", 0.1, (), Checkpoint("1,1,0", ()))] * 2)
    assert talk.due(0.0)
    talk.receive(b"\x13", 0.1)
    assert talk.state is State.HELD
    assert talk.due(0.2) is None
    assert talk.tick(60.0) == []
    # Before giving up it drops what the machine holds, raises the pen and asks what is wrong.
    last = talk.due(60.0)
    assert last is not None
    assert last.data == b"\x1b.KPU;OS;"
    events = []
    for second in range(61, 120):
        talk.due(float(second))
        events += talk.tick(float(second))
    (failed,) = (event for event in events if isinstance(event, Failed))
    assert "asked to wait" in failed.reason
    assert talk.due(121.0) is None


def test_the_greeting_reads_real_buffer_space_and_errors_in_words() -> None:
    # ESC.B answers 0 to 255 (HP 7470A manual, page 10-26); ESC.E 16: buffer overflow.
    talk = Conversation(HpglDialect("barrier"), AheadLimits(1024))
    talk.open(0.0)
    due = talk.due(0.0)
    assert due is not None
    assert due.data.endswith(b"\x1b.B")
    events = talk.receive(b"255\r", 0.1)
    for reply in ("0", "0", "24", "0", "0"):
        talk.due(0.2)
        events += talk.receive(reply.encode() + b"\r", 0.2)
    talk.due(0.3)
    events += talk.receive(b"16\r", 0.3)
    assert events == [Greeted(255 - len(b"OA;OS;"))]
    ill = Conversation(HpglDialect("barrier"), AheadLimits(1024))
    ill.open(0.0)
    for reply in ("255", "0", "0", "24", "16", "3"):
        ill.due(0.0)
        ill.receive(reply.encode() + b"\r", 0.0)
    ill.due(0.0)
    (failed,) = ill.receive(b"48\r", 0.0)
    assert isinstance(failed, Failed)
    assert "overflowed" in failed.reason
    assert "out of range" in failed.reason


def test_garbage_names_the_baud_rate_and_silence_the_switch() -> None:
    for heard, said in ((b"\xf0\x8e\x00\xff", "baud"), (b"", "switched on")):
        talk = Conversation(HpglDialect("barrier"), AheadLimits(255))
        talk.open(0.0)
        events = []
        for second in range(40):
            talk.due(float(second))
            events += talk.receive(heard, float(second))
            events += talk.tick(float(second))
        reasons = [event.reason for event in events if isinstance(event, Failed)]
        assert len(reasons) == 1
        assert said in reasons[0]


def test_a_clock_that_jumps_back_neither_fails_nor_hangs() -> None:
    talk = Conversation(HpglDialect("barrier"), AheadLimits(255))
    talk.open(1000.0)
    talk.due(1000.0)
    assert talk.tick(5.0) == []
    assert talk.receive(b"255\r", 6.0) == []
    assert talk.state is State.GREETING


TALKING = (State.GREETING, State.STREAMING, State.HELD, State.ASKING, State.DIAGNOSING)


def test_a_fault_or_a_stop_ends_the_talk_from_anywhere_and_nothing_leads_back() -> None:
    for state in (State.SHUT, *TALKING):
        assert TRANSITIONS[state, Signal.FAULT] is State.FAILED
        assert TRANSITIONS[state, Signal.STOP] is State.STOPPED
    for signal in Signal:
        assert TRANSITIONS.get((State.FAILED, signal), State.FAILED) is State.FAILED
        assert TRANSITIONS.get((State.STOPPED, signal), State.STOPPED) is State.STOPPED


def test_only_a_greeting_answered_in_full_leads_to_streaming_and_a_fault_never_back_to_it() -> None:
    lively = {state: moves(state) for state in State}
    assert lively[State.SHUT] == {Signal.OPEN: State.GREETING}
    assert lively[State.GREETING] == {Signal.ANSWERED_ALL: State.STREAMING}
    assert lively[State.DIAGNOSING] == {}
    assert lively[State.HELD][Signal.GO_ON] is State.STREAMING
    assert Signal.OVERDUE not in lively[State.HELD], "a machine that said wait is not pressed"


def moves(state: State) -> dict[Signal, State]:
    """Where a state leads, apart from faults and stops."""
    ends = (Signal.FAULT, Signal.STOP)
    return {
        signal: to
        for (start, signal), to in TRANSITIONS.items()
        if start is state and signal not in ends
    }


def test_checkpoints_are_told_apart_in_spite_of_two_byte_errors() -> None:
    rng = random.Random(4)
    distinct, taken = Distinct(), []
    refused = 0
    for _ in range(600):
        # A small corner of a bed, where many places read alike.
        text = f"{1000 + rng.randrange(300)},{2000 + rng.randrange(300)},0"
        if not distinct.admits(text):
            refused += 1
            assert any(edits_between(text, other) <= 2 for other in taken[-64:])
            continue
        assert all(edits_between(text, other) > 2 for other in taken[-64:])
        distinct.take(text)
        taken.append(text)
    assert refused > 100
    assert len(taken) > 64


def edits_between(one: str, two: str) -> int:
    """Levenshtein's distance by the table of Wagner and Fischer (1974), from memory."""
    row = list(range(len(two) + 1))
    for number, a in enumerate(one, 1):
        before, row = row, [number]
        for column, b in enumerate(two, 1):
            row.append(min(before[column] + 1, row[-1] + 1, before[column - 1] + (a != b)))
    return row[-1]


def test_edits_are_counted_as_in_the_textbook_example() -> None:
    assert within_edits("kitten", "sitten", 1)
    # The textbook example: kitten and sitting are three edits apart (Levenshtein).
    assert not within_edits("kitten", "sitting", 2)
    assert within_edits("kitten", "sitting", 3)


def test_edits_are_counted_as_by_the_table_of_all_prefixes() -> None:
    rng = random.Random(1965)
    texts = ["".join(rng.choices("01,", k=rng.randrange(7))) for _ in range(60)]
    for one, two in itertools.combinations(texts, 2):
        for edits in range(4):
            assert within_edits(one, two, edits) == (edits_between(one, two) <= edits), (one, two)
