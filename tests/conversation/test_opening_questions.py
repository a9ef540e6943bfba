"""What a machine is asked before anything moves: lost and garbled answers, and its own limits.

Settings and reports as in Grbl 1.1, doc/markdown/interface.md and settings.md; HP-GL answers as in
the HP 7470A manual, pages 7-5 to 7-8 and 10-26.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from devices.conversation.ahead import AheadLimits
from devices.conversation.conversation import Conversation
from devices.conversation.events import AskedAgain, Failed, Greeted, PlaceLost
from devices.dialects.gcode.answers import GcodeDialect
from devices.dialects.hpgl.answers import HpglDialect
from devices.job import Job
from devices.simulated.gantry import Gantry, settings_lines
from marking.job.folder import load_job
from tests.driving.own_time import BANNER, LOOK, GantryPort, driven_at
from tests.inking.kills import make_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

ASKED_AGAIN = 2.2
GIVEN_UP = 15.0
"""Seconds."""
STANDS = b"<Idle|MPos:12.000,20.000,4.000|FS:0,0|WCO:0.000,0.000,0.000>\r\n"
GANTRY_ANSWERS = {
    b"!?": b"<Hold:0|MPos:12.000,20.000,4.000|FS:0,0>\r\n",
    b"\x18": BANNER,
    b"?": STANDS,
    b"$$\n": "".join(f"{line}\r\n" for line in settings_lines(Gantry())).encode() + b"ok\r\n",
    b"$X\n": b"ok\r\n",
}
LEVEL = b"\x1b.B"


def gantry(folder: Path) -> GcodeDialect:
    make_job(folder / "job", "gantry-gcode")
    return GcodeDialect(load_job(folder / "job", Job).plotter)


def gantry_answer(data: bytes) -> bytes:
    return GANTRY_ANSWERS[data]


def plotter_answer(data: bytes) -> bytes:
    if data.endswith(LEVEL):
        return b"1024\r"
    return b"16\r" if data.endswith(b"OS;") else b"0\r"


def greeted(
    dialect: Any, answer: Callable[[bytes], bytes], lost: int | None
) -> tuple[float, list[Any], list[tuple[float, bytes]]]:
    """Greets a machine whose reply of this number is lost, all of them for None."""
    talk = Conversation(dialect, AheadLimits(1024))
    now, events, asked = 0.0, list[Any](talk.open(0.0)), list[tuple[float, bytes]]()
    while talk.greeting and not talk.over and now < 300:
        due = talk.due(now)
        if due is not None:
            asked.append((now, due.data))
            if lost is not None and len(asked) - 1 != lost:
                events += talk.receive(answer(due.data), now + 0.01)
        now = round(now + 0.05, 3)
        events += talk.tick(now)
    return now, events, asked


@pytest.mark.parametrize("lost", range(5))
@pytest.mark.parametrize("language", ["gcode", "hpgl"])
def test_a_reply_lost_in_the_opening_is_asked_again_within_seconds(
    tmp_path: Path, language: str, lost: int
) -> None:
    dialect: Any = gantry(tmp_path) if language == "gcode" else HpglDialect("xonxoff")
    answer = gantry_answer if language == "gcode" else plotter_answer
    ended, events, asked = greeted(dialect, answer, lost)
    assert [type(event) for event in events if not isinstance(event, AskedAgain)] == [Greeted]
    assert [event for event in events if isinstance(event, AskedAgain)]
    assert asked[lost + 1][0] - asked[lost][0] <= ASKED_AGAIN
    assert ended < ASKED_AGAIN + 2


@pytest.mark.parametrize("language", ["gcode", "hpgl"])
def test_a_machine_that_never_answers_is_given_up_soon_and_said_so_meanwhile(
    tmp_path: Path, language: str
) -> None:
    dialect: Any = gantry(tmp_path) if language == "gcode" else HpglDialect("xonxoff")
    ended, events, _ = greeted(dialect, gantry_answer, None)
    assert isinstance(events[-1], Failed)
    assert "does not answer" in events[-1].reason
    assert ended <= GIVEN_UP
    assert sum(isinstance(event, AskedAgain) for event in events) >= 4


def test_a_plotter_that_still_draws_a_long_line_is_not_taken_for_a_silent_one() -> None:
    talk = Conversation(HpglDialect("xonxoff"), AheadLimits(1024))
    talk.open(0.0)
    now, held = 0.0, 0
    while talk.greeting and not talk.over:
        due = talk.due(now)
        if due is not None and due.data.endswith(LEVEL):
            talk.receive(b"1024\r", now)
        elif due is not None and due.data == b"PU;OE;":
            held += 1
        elif due is not None:
            talk.receive(plotter_answer(due.data), now)
        if now > 40 and held:
            # The line is drawn: now it answers all that it was asked in turn.
            talk.receive(b"0\r" * held, now)
            held = 0
        now = round(now + 0.1, 3)
        talk.tick(now)
    assert not talk.over
    assert 40 < now < 45


def test_the_person_is_told_while_the_machine_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    make_job(tmp_path / "job", "gantry-gcode")
    port = GantryPort(answered=lambda data: b"")
    with driven_at(port, monkeypatch) as drive:
        assert drive("--job", tmp_path / "job", "--unattended", "--ink-anyway", "a test") == 3
    assert "has not answered; asked again" in capsys.readouterr().err
    assert port.now < GIVEN_UP + 2


# -- garbled answers -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    [
        b"<Idln|MPos:5.529,0.560,7.000|FS:0,0>",
        b"<Hold|MPos:5.529,0.560,7.000|FS:0,0>",
        b"<Hold:7|MPos:5.529,0.560,7.000|FS:0,0>",
        b"<Idle:1|MPos:5.529,0.560,7.000|FS:0,0>",
        b"<Door:4|MPos:5.529,0.560,7.000|FS:0,0>",
        b"<Idle|MPos:5.5290.560,7.000|FS:0,0>",
        b"<Idle|NPos:5.529,0.560,7.000|FS:0,0>",
        b"<Idle|MPos:5.529,0.560,7.0",
        b"<Idle|FS:0,0>",
    ],
)
def test_what_is_no_report_is_taken_for_no_state(tmp_path: Path, line: bytes) -> None:
    assert gantry(tmp_path).heard(line).kind == "noise"


@pytest.mark.parametrize(
    "state",
    [
        *("Idle", "Run", "Hold:0", "Hold:1", "Jog", "Alarm", "Check", "Home", "Sleep"),
        *("Door:0", "Door:1", "Door:2", "Door:3"),
    ],
)
def test_every_state_that_is_documented_is_read(tmp_path: Path, state: str) -> None:
    reply = gantry(tmp_path).heard(f"<{state}|WPos:5.529,0.560,7.000|FS:0,0>".encode())
    assert reply.kind == "place"
    assert reply.sound is (state in ("Idle", "Run", "Jog", "Home"))
    # interface.md: Hold:1, Door:2 and Door:3 are in motion; a reset would throw an alarm.
    moves = state in ("Run", "Jog", "Home", "Hold:1", "Door:2", "Door:3")
    assert reply.still is not moves


@pytest.mark.parametrize("number", range(3))
def test_a_garbled_report_in_the_opening_is_asked_again_and_ends_nothing(
    tmp_path: Path, number: int
) -> None:
    asked = 0

    def answer(data: bytes) -> bytes:
        nonlocal asked
        said = gantry_answer(data)
        if b"?" in data:
            asked += 1
            if asked == number + 1:
                return said.replace(b"Idle", b"Idln").replace(b"Hold:0", b"Hild:0")
        return said

    _, events, _ = greeted(gantry(tmp_path), answer, -1)
    assert not [event for event in events if isinstance(event, Failed | PlaceLost)]
    assert isinstance(events[-1], Greeted)


def test_reports_garbled_while_it_inks_end_no_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_job(tmp_path / "job", "gantry-gcode")
    reports = 0

    def garbled(said: bytes) -> bytes:
        nonlocal reports
        reports += said.count(b"<")
        return said.replace(b"<Idle", b"<Idln") if reports % 7 == 3 else said

    port = GantryPort(answered=garbled)
    with driven_at(port, monkeypatch) as drive:
        assert drive("--job", tmp_path / "job", "--unattended", "--ink-anyway", "a test") == 0
    assert reports > 100


# -- its own limits ------------------------------------------------------------------------------


def inked_by(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    answered: Callable[[bytes], bytes],
    gantry: Gantry | None = None,
    look: float = LOOK,
) -> tuple[int, GantryPort]:
    make_job(folder / "job", "gantry-gcode")
    port = GantryPort(gantry or Gantry(), answered=answered, look=look)
    with driven_at(port, monkeypatch) as drive:
        words = ["--job", folder / "job", "--unattended", "--ink-anyway", "a test"]
        return drive(*words), port


@pytest.mark.parametrize(
    ("told", "instead", "words"),
    [
        (b"$130=800.000", b"$130=200.000", "200 mm along X"),
        (b"$131=800.000", b"$131=399.500", "399.5 mm along Y"),
    ],
)
def test_less_travel_than_supposed_is_refused_before_anything_moves(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    told: bytes,
    instead: bytes,
    words: str,
) -> None:
    code, port = inked_by(tmp_path, monkeypatch, lambda said: said.replace(told, instead))
    assert code == 1
    assert words in capsys.readouterr().err
    assert not any(b"G0" in data or b"G1" in data for _, data in port.written)


def test_a_zero_from_which_the_bed_leaves_the_watched_travel_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    machine = Gantry(work_offset=(-312.5, 0.0, 0.0))
    code, port = inked_by(tmp_path, monkeypatch, lambda said: said, machine)
    assert code == 1
    assert "watches over 800 mm" in capsys.readouterr().err
    assert not port.cloth.ink


def test_a_slower_machine_sets_the_pace_and_is_never_taken_for_a_silent_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """2 mm/s: a long line takes minutes, for which nobody would wait at the profile's 80 mm/s."""
    slow = Gantry(travel_speed=2.0)
    # It takes hours: looked at ten times a second.
    code, port = inked_by(tmp_path, monkeypatch, lambda said: said, slow, look=0.1)
    assert code == 0
    said = capsys.readouterr().err
    assert "draws at 2 mm/s at most by its own settings" in said
    feeds = [line for _, data in port.written for line in data.split(b"\n") if b"F" in line]
    assert feeds
    assert {line.split(b"F")[1] for line in feeds} == {b"120"}


def test_a_machine_that_does_not_know_the_question_is_driven_by_its_profile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def knows_not(said: bytes) -> bytes:
        return b"error:3\r\n" if b"$110=" in said else said

    code, port = inked_by(tmp_path, monkeypatch, knows_not)
    assert code == 0
    assert sum(b"$$" in data for _, data in port.written) == 1


def test_a_garbled_list_of_settings_is_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoilt = 0

    def once(said: bytes) -> bytes:
        nonlocal spoilt
        if b"$130=" in said and not spoilt:
            spoilt += 1
            return said.replace(b"$130=800.000", b"$1x0=800.000")
        return said

    code, port = inked_by(tmp_path, monkeypatch, once)
    assert code == 0
    assert spoilt == 1
    assert sum(b"$$" in data for _, data in port.written) == 2


def test_reports_in_inches_are_read_as_such(tmp_path: Path) -> None:
    """settings.md, $13: reports in inches; the settings themselves stay in millimetres."""
    dialect = gantry(tmp_path)
    assert dialect.heard(b"$13=1").kind == "setting"
    report = dialect.heard(b"<Idle|WPos:1.0000,2.5000,0.1575|FS:0,0>")
    assert report.text == "25.400,63.500,4.000"
    assert dialect.heard(b"$110=500.000").text == "500.000"
