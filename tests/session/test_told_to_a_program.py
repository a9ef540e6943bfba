"""What `drive` tells a program that presses keys in a person's place: figures beside the words."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import threading
from typing import TYPE_CHECKING, Any

import pytest

from devices.commands import main
from devices.job import Job
from devices.session import person
from devices.session.person import Person
from devices.session.piped_keys import ASKED_BY
from devices.setting_down.read_verniers import step_typed
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.lengths import parse_length
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.inking.kills import make_job
from tests.session.terminal import COMMAND

if TYPE_CHECKING:
    from pathlib import Path

    from marking.sections.plan import Section

SECTION = "r1c2"
AT_MARKS = ("3", "right", "1", "up", "left", "r", "backspace", "enter")
"""Nudged, read and to be read once more, gone back from that; then each is read as it stands."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("job") / "a"
    make_job(folder, "flatbed-a3", '[allowed]\ntotal = "10 mm"\nstep = "10 mm"\n')
    return folder


@pytest.fixture(scope="module")
def told(job: Path) -> list[dict[str, Any]]:
    """What a rehearsal says of its second section, its keys pressed by what it said before."""
    words = [*COMMAND, "drive", "--job", str(job), "--simulate", "--most", "2"]
    process = subprocess.Popen(
        [*words, "--pace", "3000"],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        text=True, env={**os.environ, ASKED_BY: "lines"},
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stderr is not None
    said, at_marks = [], iter(AT_MARKS)
    for line in process.stderr:
        said.append(json.loads(line))
        (kind,) = said[-1]
        if kind in ("ask", "mark"):
            key = next(at_marks, "enter") if kind == "mark" else "enter"
            process.stdin.write(f"{key}\n")
            process.stdin.flush()
    process.stdin.close()
    process.stderr.close()
    assert process.wait(60) == 0, "\n".join(map(str, said[-9:]))
    first = [kind for one in said for kind in one].index("ended")
    assert said[first]["ended"]["next"] == SECTION
    return said[first + 1 :]


def of(told: list[dict[str, Any]], kind: str) -> list[Any]:
    return [one[kind] for one in told if kind in one]


def section(folder: Path) -> Section:
    job = load_job(folder, Job)
    sections = divide_into_sections(lay_out(job), job, job.plotter.zone).sections
    return next(one for one in sections if one.id == SECTION)


def test_where_the_machine_goes_is_told_as_figures_beside_the_words(
    told: list[dict[str, Any]], job: Path
) -> None:
    here = section(job)
    (down,) = of(told, "set_down")
    assert (down["section"], down["number"], down["of"]) == (SECTION, here.order, 4)
    assert down["window"] == list(here.window)
    assert {one["id"]: one["at"] for one in down["marks"]} == {
        mark.id: list(mark.at_table) for mark in here.locating_marks
    }
    assert parse_length(down["along"]) == pytest.approx(here.window[0], abs=0.5)
    assert parse_length(down["across"]) == pytest.approx(here.window[1], abs=0.5)
    assert down["axes"] == ["+x", "+y"]
    # Each word that a person is told is among them, and the other way round.
    before_it_asks = told[: next(n for n, one in enumerate(told) if "ask" in one)]
    assert of(before_it_asks, "say") == down["words"]
    assert down["under"] == [one for one in down["words"] if "foot" in one]
    assert down["under"]
    # Marks are read after it: no ink follows a yes.
    assert of(told, "ask")[0] == f"Is the device set down for {SECTION}?"
    assert [one["done"] for one in down["sections"]] == [True, False, False, False]


def test_each_mark_is_told_with_the_pen_beside_it_and_each_reading(
    told: list[dict[str, Any]], job: Path
) -> None:
    names = [mark.id for mark in section(job).locating_marks]
    marks = of(told, "mark")
    assert {(one["mark"], one["number"]) for one in marks[:5]} == {(names[0], 1)}
    steps = [(one["step_mm"], *(round(off, 2) for off in one["off_mm"])) for one in marks[:6]]
    nudged = [(1, 0, 0), (10, 0, 0), (10, 10, 0), (0.1, 10, 0), (0.1, 10, 0.1), (0.1, 9.9, 0.1)]
    assert steps == [pytest.approx(one) for one in nudged]
    assert marks[0]["keys"] == {"left": [-1, 0], "right": [1, 0], "down": [0, -1], "up": [0, 1]}
    # Read and brought back once more; gone back from, the first reading is no longer one.
    assert (marks[6]["mark"], marks[6]["number"], marks[6]["of"]) == (names[0], 2, 3)
    assert [one["read"] for one in marks[6]["marks"]] == [True, False, False]
    assert (marks[7]["number"], marks[7]["off_mm"]) == (1, [0, 0])
    # Ink follows the last one alone, and that is said at it.
    assert [one["ink_follows"] for one in marks] == [one["number"] == one["of"] for one in marks]
    last = [one for one in of(told, "say") if "the last one: once it is read and all fit" in one]
    assert [one.split(":")[0] for one in last] == [f"mark {names[-1]}"]
    readings = of(told, "reading")
    assert [one["mark"] for one in readings] == [names[0], *[names[0]] * 2, *names[1:]]
    assert readings[0]["off_mm"] == pytest.approx([9.9, 0.1], abs=0.03)


def test_the_verdict_is_told_with_its_figures_and_their_limits(
    told: list[dict[str, Any]], job: Path
) -> None:
    (verdict,) = of(told, "verdict")
    assert verdict["holds"]
    assert verdict["fits"]
    assert 0 < verdict["error_mm"] <= verdict["error_limit_mm"] == 10.0
    assert f"within {verdict['error_mm']:.2f} mm of true" in verdict["words"][0]
    assert of(told, "say").count(f"{SECTION}: {verdict['words'][0]}") == 1


def test_progress_tells_each_stroke_where_it_lies_until_all_are_drawn(
    told: list[dict[str, Any]], job: Path
) -> None:
    progress = of(told, "progress")
    here = section(job)
    assert (progress[0]["drawn"], progress[0]["left_s"]) == (0, None)
    assert progress[-1]["drawn"] == progress[-1]["of"] == len(here.pieces)
    lines = [line for one in progress for line in one["lines"]]
    assert len(lines) == len(here.pieces)
    longest = max(lines, key=len)
    assert any(
        len(stroke.points) == len(longest) and abs(stroke.points - longest).max() < 0.5
        for stroke in here.strokes
    )
    (ended,) = of(told, "ended")
    assert (ended["section"], ended["ended"], ended["next"]) == (SECTION, "done", "r2c1")


def test_a_refusal_is_told_to_a_program_as_one_and_to_a_person_in_plain_words(
    job: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["drive", "--job", str(job), "--section", "r9c9"]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert said.startswith("canvasrule: --section r9c9: no such section")
    monkeypatch.setenv(ASKED_BY, "lines")
    assert main(words) == 2
    assert json.loads(capsys.readouterr().err) == {"fault": said.removeprefix("canvasrule: ")[:-1]}


def test_a_person_at_a_terminal_is_shown_no_figures(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["drive", "--job", str(job), "--simulate", "--unattended", "--most", "1",
                 "--pace", "3000"]) == 0  # fmt: skip
    said = capsys.readouterr().err
    assert "r1c1: " in said
    assert "{" not in said
    with open_record(job / "out" / "rehearsal") as record:
        assert record.strokes("r1c1")


def asked(
    keys: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[str | None, list[dict[str, Any]]]:
    """What a program's keys answer to a question for something typed, and what it was told."""
    monkeypatch.setenv(ASKED_BY, "lines")
    ready, pressed = threading.Event(), iter(keys.split())
    # What was pressed before the question answers none.
    monkeypatch.setattr(person, "forget_keys", ready.set)
    monkeypatch.setattr(person, "key_pressed", lambda: next(pressed) if ready.is_set() else None)
    with contextlib.suppress(KeyboardInterrupt):
        found = Person(attended=True).tells("What step?")
        return found, [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    return None, []


def test_what_is_typed_comes_in_as_a_line_of_its_own_and_a_stop_ends_the_run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answer, told = asked("left enter =-1/64in", monkeypatch, capsys)
    assert answer == "-1/64in"
    assert told == [{"type": "What step?"}, {"say": "  -1/64in"}]
    assert asked("=", monkeypatch, capsys)[0] == ""
    # A stop is no empty answer, which would go on to ink.
    assert asked("s n q", monkeypatch, capsys)[0] is None


@pytest.mark.parametrize(
    ("typed", "step"),
    [("0.2", 0.2), ("-0,2", -0.2), ("0.3 mm", 0.3), ("1/64 in", 25.4 / 64),
     ("-1/64 in", -25.4 / 64), ("−1/64 in", -25.4 / 64), ("−0,2", -0.2), ("+0.1 mm", 0.1),
     ("a bit", None), ("-", None)],
)  # fmt: skip
def test_a_step_is_typed_in_millimetres_or_as_any_length_with_its_side(
    typed: str, step: float | None
) -> None:
    assert step_typed(typed) == (None if step is None else pytest.approx(step))
