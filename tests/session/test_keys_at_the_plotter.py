"""A person drives the plotter by real key presses, through a real pseudo-terminal.

Keys are what terminals send by ECMA-48 and xterm's ctlseqs (see `terminal`); the cloth of the
simulated plotter and the record of the job say what came of them.
"""

from __future__ import annotations

import shutil
import signal
import socket
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import pytest

from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.claim import LOCK_FILE
from devices.session.keypresses import key_of
from devices.simulated.cloth import read_cloth
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.inking.kills import (
    SECTION,
    cloth_faults,
    free_port,
    made,
    make_job,
    plotter_at,
    start_plotter,
)
from tests.job.command_cases import INTERRUPTED, REFUSED
from tests.session.terminal import (
    BACKSPACE,
    CONTROL_C,
    CONTROL_RIGHT,
    DOWN,
    ENTER,
    LEFT,
    RIGHT,
    RIGHT_IN_APPLICATION_MODE,
    UP,
    Terminal,
    started,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from devices.plotter.bed import Bed
    from marking.sections.plan import Section
    from tests.conftest import RunCli

BESIDE = "r1c2"
"""The section beside the first: it sees the first one's locating marks."""
HOME, DELETE, F5 = "\x1b[H", "\x1b[3~", "\x1b[15~"
CONTROL_Z = "\x1a"
FAST = 400
SLOW = 60
"""How many times faster than a real one the plotter draws; slow enough to press a key meanwhile."""
UNIT = 0.025
"""mm: the A4 flat bed's, from its profile."""
ANYWAY = ["--ink-anyway", "a trial on scrap"]
"""Two marks beside a section set down by tape alone promise too little for a cover."""
SAMPLING = 0.06
"""mm: cloth and strokes are compared at points this far apart."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    make_job(tmp_path / "job", "flatbed-a4")
    return tmp_path / "job"


@pytest.fixture(scope="module")
def first_drawn(run_cli: RunCli, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose first section is drawn, for copies to be made of."""
    folder = tmp_path_factory.mktemp("first") / "job"
    make_job(folder, "flatbed-a4")
    with plotter_at(folder, FAST) as port:
        words = ["drive", "--job", folder, *port, "--unattended", "--section", SECTION]
        done = run_cli(*words, *ANYWAY)
        assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def beside(first_drawn: Path, job: Path) -> Iterator[Terminal]:
    """The first section is drawn; the device is set down for the next, its pen over a mark."""
    shutil.copytree(first_drawn, job, dirs_exist_ok=True)
    with plotter_at(job, FAST, f"{BESIDE}.ink") as port:
        running = started("drive", "--job", job, *port, "--section", BESIDE, "--json", *ANYWAY)
        try:
            running.until("Is the device set down")
            running.until("n: no]")
            running.type(ENTER)
            running.until("gives up")
            yield running
        finally:
            running.close()


def section_of(folder: Path, name: str) -> tuple[Section, Bed]:
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = next(section for section in plan.sections if section.id == name)
    return section, bed_of(section, job.plotter)


def nudge(running: Terminal, keys: str, shown: str) -> None:
    """Presses keys and waits until the pen is said to stand `shown`."""
    running.type(keys)
    running.until(f"{shown} mm from where it was planned")


def laid(folder: Path, name: str) -> NDArray[np.float64]:
    """Lowest and highest inked point on a section's cloth; bed frame, mm."""
    ink = read_cloth(folder / f"{name}.ink")
    points = np.concatenate([np.array(line.path) for line in ink])
    return np.array([points.min(axis=0), points.max(axis=0)])


def test_marks_under_the_pen_are_read_by_arrow_keys_and_the_ink_follows_them(
    job: Path, beside: Terminal
) -> None:
    section, bed = section_of(job, BESIDE)
    assert len(section.locating_marks) >= 2
    for count, _ in enumerate(section.locating_marks):
        if count:
            beside.until("gives up")
        nudge(beside, RIGHT, "x +1.0, y +0.0")
        # Ten millimetres up and back, then a tenth at a time; a key without a use does nothing.
        beside.type("3")
        beside.until("by 10 mm")
        nudge(beside, UP, "x +1.0, y +10.0")
        nudge(beside, HOME + DELETE + F5 + DOWN, "x +1.0, y +0.0")
        beside.type("1")
        beside.until("by 0.1 mm")
        nudge(beside, RIGHT_IN_APPLICATION_MODE, "x +1.1, y +0.0")
        nudge(beside, CONTROL_RIGHT, "x +1.2, y +0.0")
        nudge(beside, LEFT, "x +1.1, y +0.0")
        nudge(beside, DOWN, "x +1.1, y -0.1")
        beside.type(ENTER)
    assert beside.ended() == 0
    assert '"ended": "done"' in beside.shown, beside.shown

    planned = {
        mark.id: bed.units_of([np.array([mark.at_table])], "mark")[0][0]
        for mark in section.locating_marks
    }
    with open_record(job) as record:
        read = {reading.mark: reading.at_bed for reading in record.readings(BESIDE)}
        (placed,) = record.placements(BESIDE)
    assert read.keys() == planned.keys()
    for mark, (x, y) in planned.items():
        assert read[mark] == pytest.approx((x * UNIT + 1.1, y * UNIT - 0.1), abs=1e-6)
    # The marks lie further along in the bed: the device stands that much back, and as its axes
    # lie on the table.
    back = -np.array([1.1, -0.1]) @ bed.to_bed
    assert placed.pose["shift"] == pytest.approx(tuple(back), abs=0.02)
    # Drawn for where it stands, the ink lies beside the marks as planned: as far off in the bed.
    strokes = [np.array(s) for s in bed.units_of([p.stroke.points for p in section.pieces], BESIDE)]
    ends = np.concatenate(strokes) * UNIT
    wanted = np.array([ends.min(axis=0), ends.max(axis=0)]) + (1.1, -0.1)
    assert np.abs(laid(job, BESIDE) - wanted).max() <= 2 * UNIT


def test_backspace_takes_the_last_mark_back_and_q_inks_nothing(job: Path, beside: Terminal) -> None:
    nudge(beside, RIGHT, "x +1.0, y +0.0")
    beside.type(ENTER)
    first = beside.until("gives up")
    beside.type(BACKSPACE)
    again = beside.until("gives up")
    section, _ = section_of(job, BESIDE)
    one, two = (mark.id for mark in section.locating_marks[:2])
    assert f"mark {two}: bring" in first
    assert f"mark {one}: bring" in again
    beside.type("q")
    assert beside.ended() == 1
    assert "no marks were read, so nothing was inked" in beside.shown
    with open_record(job) as record:
        assert record.readings(BESIDE) == ()
        assert record.strokes(BESIDE) == ()


def test_an_enter_pressed_twice_does_not_read_the_next_mark_unseen(
    job: Path, beside: Terminal
) -> None:
    _, second = (mark.id for mark in section_of(job, BESIDE)[0].locating_marks[:2])
    beside.type(ENTER + ENTER)
    beside.until(f"mark {second}: bring")
    beside.until("gives up")
    # Nor does one read it that was pressed with an arrow, before the pen had moved.
    beside.type(RIGHT + RIGHT + ENTER)
    beside.until("that Enter came before the pen stood")
    nudge(beside, LEFT, "x +1.0, y +0.0")
    beside.type("q")
    assert beside.ended() == 1


def test_an_arrow_key_whose_bytes_come_one_by_one_is_one_key(beside: Terminal) -> None:
    for byte in UP:
        beside.type(byte)
    beside.until("x +0.0, y +1.0")
    beside.type("q")
    assert beside.ended() == 1


@pytest.mark.parametrize(
    ("sent", "key", "rest"),
    [
        ("\x1b", "escape", ""),
        ("\x1b[A", "up", ""),
        ("\x1bOD", "left", ""),
        ("\x1b[1;2B", "down", ""),
        ("\x1b[3~", "unknown", ""),
        ("\x1b[15~s", "unknown", "s"),
        ("\x1bOPp", "unknown", "p"),
        ("\r", "enter", ""),
        ("\x08", "backspace", ""),
        ("S", "s", ""),
    ],
)
def test_a_key_is_taken_whole_and_nothing_of_the_next(sent: str, key: str, rest: str) -> None:
    """ECMA-48, 5.4: a control sequence ends with the first byte from 04/00 to 07/14."""
    bytes_left = list(sent[1:])
    assert key_of(sent[0], lambda: bytes_left.pop(0) if bytes_left else "") == key
    assert "".join(bytes_left) == rest


# -- while it inks -----------------------------------------------------------------------------


def inking(job: Path, *words: str) -> Terminal:
    """The first section, set down and inking, some of it on the cloth already."""
    running = started("drive", "--job", job, "--section", SECTION, "--json", *words)
    running.until("n: no]")
    running.type(ENTER)
    running.until("strokes, about")
    return running


def ended_by(job: Path, keys: str) -> str:
    """Ends the inking of the first section by `keys`; returns all that was shown."""
    with plotter_at(job, SLOW) as port:
        running = inking(job, *port)
        try:
            running.type(keys)
            assert running.ended() == INTERRUPTED
        finally:
            running.close()
    return running.shown


def finished(run_cli: RunCli, job: Path) -> tuple[float, float]:
    """Drives the rest; how far the cloth is from right, as `cloth_faults` says."""
    with plotter_at(job, FAST) as port:
        rest = [*port, "--unattended", "--section", SECTION]
        done = run_cli("drive", "--job", job, *rest)
    assert done.returncode == 0, done.stderr
    assert "done" in done.stdout
    return cloth_faults(job, made(job))


def test_p_pauses_with_every_stroke_that_was_begun_drawn_and_the_rest_follows_later(
    run_cli: RunCli, job: Path
) -> None:
    # A function key is no reason to stop.
    shown = ended_by(job, F5 + CONTROL_RIGHT + "p")
    assert '"ended": "paused"' in shown
    assert "The pen is up and parked. Do not move the device" in shown
    assert f"To go on: canvasrule drive --job {job}" in shown
    with open_record(job) as record:
        events = Counter(kept.event for kept in record.strokes(SECTION))
    assert events["sent"] == events["drawn"]
    assert 0 < events["drawn"] < len(made(job).strokes)
    _, displaced = cloth_faults(job, made(job))
    assert displaced <= SAMPLING
    assert max(finished(run_cli, job)) <= SAMPLING
    with open_record(job) as record:
        times = Counter(kept.stroke for kept in record.strokes(SECTION) if kept.event == "sent")
    assert set(times.values()) == {1}, "a pause needs no line drawn twice"


def test_s_stops_at_once_and_what_was_not_confirmed_is_drawn_over_itself(
    run_cli: RunCli, job: Path
) -> None:
    shown = ended_by(job, "s")
    assert '"ended": "stopped"' in shown
    assert "The pen was raised where it stood" in shown
    with open_record(job) as record:
        drawn = {kept.stroke for kept in record.strokes(SECTION) if kept.event == "drawn"}
    assert len(drawn) < len(made(job).strokes)
    assert max(finished(run_cli, job)) <= SAMPLING


def test_a_paused_section_is_gone_on_with_at_the_terminal_once_the_pen_hangs_over_its_line(
    job: Path,
) -> None:
    ended_by(job, "p")
    with plotter_at(job, FAST) as port:
        second = started("drive", "--job", job, *port, "--section", SECTION)
        try:
            # Typed before the question, so it answers nothing.
            second.type("n")
            assert "do not move the device" in second.until("Does the device stand where it stood?")
            second.until("n: no]")
            second.type(ENTER)
            assert "certainly drawn, 0 perhaps" in second.until("Is it over it")
            second.until("n: no]")
            second.type("y")
            assert second.ended() == 0
        finally:
            second.close()
    assert "set the device down" not in second.shown
    assert max(cloth_faults(job, made(job))) <= SAMPLING


@pytest.mark.parametrize("end", ["s", CONTROL_C, CONTROL_Z + "s", "SIGTERM", "SIGQUIT", "hang up"])
def test_whatever_ends_a_run_at_the_keyboard_the_pen_is_raised_and_the_job_is_free(
    job: Path, end: str
) -> None:
    """The plotter is another process, and is asked (OA) where its pen stands afterwards."""
    port = free_port()
    plotter = start_plotter(job, port)
    running = None
    try:
        running = inking(job, "--port", f"socket://127.0.0.1:{port}")
        if end == "hang up":
            code = running.hang_up()
        elif end.startswith("SIG"):
            running.send_signal(getattr(signal, end))
            code = running.ended()
        else:
            running.type(end)
            code = running.ended()
        assert code == INTERRUPTED
        assert pen_of(port) == "0"
    finally:
        if running is not None:
            running.close()
        plotter.kill()
    assert not (job / LOCK_FILE).exists()
    with open_record(job) as record:
        assert any(kept.event == "drawn" for kept in record.strokes(SECTION))


def pen_of(port: int) -> str:
    """The last figure of OA's answer: 1 when the pen is down (HP 7470A manual, page 7-3)."""
    with socket.create_connection(("127.0.0.1", port), 60) as line:
        line.sendall(b"OA;")
        answer = b""
        while not answer.endswith(b"\r"):
            answer += line.recv(64)
    return answer.decode().strip().split(",")[-1]


def test_a_pen_that_is_not_in_is_not_inked_with(run_cli: RunCli, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4", '[hems]\ndepth = "3 in"\nfolds = ["single 2 in"]\n')
    section = made(folder)
    removable = {stroke.id for stroke in section.strokes if stroke.pen == "removable"}
    with plotter_at(folder, FAST) as port:
        running = started("drive", "--job", folder, *port, "--section", SECTION)
        try:
            running.until("n: no]")
            running.type(ENTER)
            running.until("Is it in?")
            running.until("n: no]")
            running.type(ENTER)
            running.until("needs the pen for removable. Is it in?")
            running.until("n: no]")
            running.type("n")
            assert running.ended() == INTERRUPTED
        finally:
            running.close()
    assert "paused" in running.shown
    with open_record(folder) as record:
        sent = {kept.stroke for kept in record.strokes(SECTION)}
    assert removable
    assert sent
    assert not sent & removable
    with plotter_at(folder, FAST) as port:
        words = ["drive", "--job", folder, *port, "--section", SECTION]
        nobody = run_cli(*words, "--unattended")
        assert nobody.returncode == REFUSED
        assert "nobody is here to change pens" in nobody.stderr
        running = started(*words)
        try:
            for question in ("where it stood?", "half a pen's width?", "for removable. Is it in?"):
                running.until(question)
                running.until("n: no]")
                running.type(ENTER)
            assert running.ended() == 0
        finally:
            running.close()
    assert max(cloth_faults(folder, section)) <= SAMPLING
