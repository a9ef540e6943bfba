"""The first ink waits until it was tried that it stays, and is asked about again with another pen.

Grades are those of the grey scale for staining, ISO 105-A03 (nine, 5 down to 1: from memory); what
counts as clean is our judgement.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest

from devices.commands import main
from devices.job import Job
from marking.fastness.tried import GRADES, last_tried, read_tried, waits_for
from marking.job.folder import JOB_FILE, load_job
from marking.record.record import open_record
from tests.job.command_cases import BAD_INPUT, REFUSED

if TYPE_CHECKING:
    from pathlib import Path

JOB = (
    'schema = 1\n[table]\nlength = "13 in"\nwidth = "8 in"\n[hems]\ndepth = "2 in"\n'
    'folds = ["single 1 in"]\n[plotter]\nprofile = "flatbed-a4"\n[inking]\ntried = "first"\n'
    "[pens]\n"
)
ASKS = JOB.replace('"first"', '"ask"')
CLEAN = '[ink]\ndried = "24 h"\ndry_rub = "5"\ndamp_rub = "4-5"\ndry_press = "clean"\n'
NO_PORT = ["--port", "socket://127.0.0.1:1", "--unattended", "--ink-anyway", "by tape"]
DEVICE_FAILED = 3


@pytest.fixture
def job(tmp_path: Path) -> Path:
    (tmp_path / JOB_FILE).write_text(JOB, "utf-8")
    return tmp_path


def tried(job: Path, damp_press: str) -> int:
    path = job / "ink.toml"
    path.write_text(f'{CLEAN}damp_press = "{damp_press}"\n', "utf-8")
    return main(["trial", "--job", str(job), "--ink-tried", str(path)])


def drive(job: Path, *words: str) -> int:
    """To a port where no plotter is: what comes to ask for one was let ink."""
    return main(["drive", "--job", str(job), *NO_PORT, *words])


def test_the_first_ink_waits_until_it_was_tried_and_goes_on_once_it_stays(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert drive(job) == REFUSED
    told = capsys.readouterr().err
    assert "nothing was inked" in told
    assert "canvasrule trial --job" in told
    assert "--ink-untried REASON" in told
    assert tried(job, "5") == 0
    assert drive(job) == DEVICE_FAILED


def test_ink_that_comes_off_waits_on_and_says_where_it_came_off(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tried(job, "3-4") == REFUSED
    assert "It comes off: 3-4 pressed under a damp white cloth" in capsys.readouterr().out
    assert drive(job) == REFUSED
    assert "3-4 pressed under a damp white cloth" in capsys.readouterr().err
    # Tried again after it has dried for longer, the last answer holds.
    assert tried(job, "4-5") == 0
    assert drive(job) == DEVICE_FAILED


def test_a_reason_is_kept_and_asked_for_once(job: Path) -> None:
    assert drive(job, "--ink-untried", "a practice cover") == DEVICE_FAILED
    with open_record(job) as record:
        kept = last_tried(record)
    assert kept is not None
    assert kept.went_on == "a practice cover"
    assert drive(job) == DEVICE_FAILED


def test_another_pen_is_asked_about_again_and_another_holder_is_not(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert tried(job, "5") == 0
    (job / JOB_FILE).write_text(f"{JOB}lines = {{ slot = 2, passes = 2 }}\n", "utf-8")
    assert drive(job) == DEVICE_FAILED
    (job / JOB_FILE).write_text(f'{JOB}numerals = {{ profile = "fabric-fine" }}\n', "utf-8")
    capsys.readouterr()
    assert drive(job) == REFUSED
    assert "the pen for numerals is another one" in capsys.readouterr().err


def test_who_says_in_the_job_that_it_need_not_be_tried_is_not_asked(job: Path) -> None:
    (job / JOB_FILE).write_text(JOB.replace('"first"', '"not asked"'), "utf-8")
    assert drive(job) == DEVICE_FAILED


def test_without_a_word_on_it_a_person_is_asked_and_the_answer_is_kept(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (job / JOB_FILE).write_text(ASKS, "utf-8")
    # Nobody is there to be asked: it is said, and nothing is kept.
    assert drive(job) == DEVICE_FAILED
    assert "says how to try it" in capsys.readouterr().err
    with open_record(job) as record:
        assert last_tried(record) is None
    attended = ["drive", "--job", str(job), *NO_PORT[:2], "--ink-anyway", "by tape"]
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert main(attended) == REFUSED
    assert "nothing was inked" in capsys.readouterr().err
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    assert main(attended) == DEVICE_FAILED
    with open_record(job) as record:
        assert last_tried(record) is not None
    # What came off is no question.
    tried(job, "3")
    assert drive(job) == REFUSED


def test_a_cover_begun_before_anyone_asked_goes_on(job: Path) -> None:
    pens = load_job(job, Job).pens
    with open_record(job) as record:
        assert waits_for(record, pens) is not None
        record.add_run("a layout", "r1c1", {}, {}, "", "a division")
        assert waits_for(record, pens) is None


def test_a_rehearsal_needs_no_trial_of_ink(job: Path) -> None:
    words = ["--simulate", "--unattended", "--pace", "2000", "--most", "1"]
    assert main(["drive", "--job", str(job), *words]) == 0


def test_nine_grades_of_which_two_count_as_clean(job: Path) -> None:
    found = {}
    for grade in (*GRADES, "clean", "trace", "stained"):
        (job / "ink.toml").write_text(f'{CLEAN}damp_press = "{grade}"\n', "utf-8")
        found[grade] = read_tried(job / "ink.toml", load_job(job, Job).pens).comes_off
    assert len(GRADES) == 9
    assert [grade for grade, off in found.items() if not off] == ["5", "4-5", "clean"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[ink]\ndried = "24 h"\n', "ink.dry_rub is missing"),
        (f'{CLEAN}damp_press = "6"\n', "ink.damp_press = 6: no grade; by the grey scale 5, 4-5"),
        (f'{CLEAN}damp_press = "5"\nsteam = "5"\n', "ink.steam: unknown key"),
        (CLEAN.replace("24 h", "a day") + 'damp_press = "5"\n', "ink.dried: 'a day' is no time"),
        ("dried = 3\n", "write one table [ink]"),
    ],
)
def test_an_answer_that_is_none_is_named_and_nothing_kept(
    job: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    (job / "ink.toml").write_text(text, "utf-8")
    assert main(["trial", "--job", str(job), "--ink-tried", str(job / "ink.toml")]) == BAD_INPUT
    assert said in capsys.readouterr().err
    assert not (job / "job.db").exists()


def test_how_to_try_names_both_cloths_the_iron_and_whose_word_holds_for_the_pad(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["trial", "--job", str(job), "--ink"]) == 0
    told = capsys.readouterr().out
    for said in ("ISO 105-X12", "ISO 105-X11", "ISO 105-A03", "only their makers can say", "Irons"):
        assert said in told
    # The file that it shows is one that is read, once it is filled in.
    shown = told[told.index("[ink]") :]
    text = "\n".join(line.strip() for line in shown.splitlines()).replace('= ""', '= "clean"')
    (job / "ink.toml").write_text(text, "utf-8")
    assert main(["trial", "--job", str(job), "--ink-tried", str(job / "ink.toml")]) == 0
