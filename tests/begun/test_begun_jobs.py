"""A begun job keeps what it was begun with, whatever is installed and whoever wrote its folder.

The folders of version 0.1 were written by that version itself (`folders_of_0_1/README.md`).
SQLite's own connection is the outside reader of what they hold.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from msgspec.structs import replace

import marking.layout.numerals
from devices.commands import main
from devices.job import Job
from devices.machine_zones import divided
from devices.plotter.profile import Plotter
from marking.begun.on_the_cover import plan_hash
from marking.errors import RefusedError
from marking.job.folder import JOB_FILE, RECORD_FILE, load_job
from marking.layout.layout import lay_out
from marking.record.record import layout_hash, open_record
from marking.record.schema import MIGRATIONS
from tests.inking.kills import SECTION, make_job, plotter_at
from tests.job.command_cases import limited, without_privilege

if TYPE_CHECKING:
    from collections.abc import Callable


OF_0_1 = Path(__file__).parents[1] / "folders_of_0_1"
FOLDERS = sorted(folder.name for folder in OF_0_1.iterdir() if folder.is_dir())
FINISH = "installed in an environment of its own"
Ran = tuple[int, str, str]


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """Runs a verb in this process: exit code, results, messages."""

    def run(verb: str, folder: Path, *words: str | Path) -> Ran:
        code = main([verb, "--job", str(folder), *map(str, words)])
        done = capsys.readouterr()
        return code, done.out, done.err

    return run


def folder_of_0_1(name: str, beside: Path) -> Path:
    return Path(shutil.copytree(OF_0_1 / name, beside / name))


def changed(folder: Path, old: str, new: str) -> None:
    text = (folder / JOB_FILE).read_text("utf-8")
    assert old in text
    (folder / JOB_FILE).write_text(text.replace(old, new), "utf-8")


def in_db(folder: Path, *statements: str) -> list[tuple[Any, ...]]:
    with contextlib.closing(sqlite3.connect(folder / RECORD_FILE, isolation_level=None)) as db:
        return [row for statement in statements for row in db.execute(statement).fetchall()]


def comes_out(folder: Path, zone: Any = "plotter") -> bool:
    """Whether this version makes the very lines and sections that version 0.1 kept there."""
    job = load_job(folder, Job)
    layout = lay_out(job)
    cut = plan_hash(divided(zone, layout, job, None))
    named = {
        row for (row,) in in_db(folder, "SELECT layout FROM ink UNION SELECT layout FROM beam")
    }
    kept = in_db(folder, "SELECT plan FROM ink UNION SELECT plan FROM run")
    return named <= {layout_hash(layout)} and {row for (row,) in kept} <= {"", cut}


def says_how_to_finish(ran: Ran) -> bool:
    return (ran[0], ran[1]) == (1, "") and FINISH in ran[2]


def read_as_planned(folder: Path, section: str, said: Callable[..., Ran]) -> Path:
    """Readings of a section's tape marks by a device that stands as planned."""
    marks = json.loads(said("control", folder, "--spacing", "3 in", "--json")[1])["marks"]
    places = {mark["id"]: mark["at"] for mark in marks}
    sections = json.loads(said("section", folder, "--json")[1])["sections"]
    found = next(one for one in sections if one["id"] == section)
    x, y = found["window"][:2]
    rows = [(name, *np.subtract(places[name], (x, y))) for name in found["control"]]
    lines = [f"{section},{name},{at_x:.2f} mm,{at_y:.2f} mm" for name, at_x, at_y in rows]
    path = folder / f"{section}.csv"
    path.write_text("\n".join(["section,mark,x,y", *lines, ""]), "utf-8")
    return path


@pytest.fixture
def inked(tmp_path: Path, said: Callable[..., Ran]) -> Path:
    """An A3 job, r1c1 placed by tape marks and inked by hand under this version."""
    return inked_job(tmp_path / "a3", said)


def inked_job(folder: Path, said: Callable[..., Ran]) -> Path:
    """A job in `folder` as `inked` has it."""
    make_job(folder, "flatbed-a3")
    readings = read_as_planned(folder, SECTION, said)
    assert said("place", folder, "--readings", readings)[0] == 0
    assert said("place", folder, "--inked", SECTION)[0] == 0
    return folder


class AnotherVersion:
    """A version that rounds the height of numerals and cuts sections otherwise than this one."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        own: Any = Plotter.__dict__["zone"].fget
        patch.setattr(marking.layout.numerals, "_STEP", 1.7)
        patch.setattr(
            Plotter, "zone", property(lambda self: replace(own(self), set_down=self.set_down + 9))
        )


ASKED = (
    ("layout", "--json"),
    ("section", "--json"),
    ("control", "--spacing", "3 in", "--json", "--only-look"),
    ("write", "--hpgl", "--svg", "--json"),
    ("place", "--all", "--json"),
    ("prove", "--json"),
)


def test_another_version_moves_no_line_section_or_control_mark_of_a_begun_job(
    inked: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: Callable[..., Ran]
) -> None:
    fresh = tmp_path / "fresh"
    make_job(fresh, "flatbed-a3")
    before = [said(verb, inked, *words)[:2] for verb, *words in ASKED]
    unbegun = [said(verb, fresh, *words)[:2] for verb, *words in ASKED[:2]]
    assert [code for code, _ in before] == [0] * len(ASKED)
    AnotherVersion(monkeypatch)
    assert [said(verb, inked, *words)[:2] for verb, *words in ASKED] == before
    for (verb, *words), was in zip(ASKED[:2], unbegun, strict=True):
        assert said(verb, fresh, *words)[:2] != was
    readings = read_as_planned(inked, "r1c2", said)
    assert said("place", inked, "--readings", readings)[0] == 0
    code, _, told = said("drive", inked, "--simulate", "--pace", "2000", "--unattended")
    assert code == 0, told
    assert "r1c1:" not in told
    assert "r2c2" in told


def test_a_setting_that_moves_a_line_is_named_with_what_it_was_and_is(
    inked: Path, said: Callable[..., Ran]
) -> None:
    (inked / JOB_FILE).write_text(
        (inked / JOB_FILE).read_text("utf-8") + '[grid]\npitch = "1 1/2 in"\n', "utf-8"
    )
    kept = (inked / RECORD_FILE).read_bytes()
    for verb in ("layout", "section", "write", "control", "drive"):
        code, out, told = said(verb, inked)
        assert (code, out) == (1, "")
        assert "grid.pitch was 1 in, is 1 1/2 in" in told
        assert "already inked" in told
        assert ("--despite-ink" in told) == (verb != "drive")
    assert (inked / RECORD_FILE).read_bytes() == kept
    assert said("layout", inked, "--despite-ink")[0] == 0
    assert said("layout", inked)[0] == 0


def test_a_setting_that_moves_no_line_may_change_under_any_version(
    inked: Path, monkeypatch: pytest.MonkeyPatch, said: Callable[..., Ran]
) -> None:
    before = json.loads(said("layout", inked, "--json")[1])["strokes"]
    (inked / JOB_FILE).write_text(
        (inked / JOB_FILE).read_text("utf-8") + '[numerals]\nview_from = "60 in"\n', "utf-8"
    )
    assert json.loads(said("layout", inked, "--json")[1])["strokes"] == before
    AnotherVersion(monkeypatch)
    assert json.loads(said("layout", inked, "--json")[1])["strokes"] == before


@pytest.mark.parametrize("by", ["this version", "0.1"])
def test_ink_that_a_person_spoke_for_belongs_to_its_own_division(
    by: str, inked: Path, tmp_path: Path, said: Callable[..., Ran]
) -> None:
    folder = inked if by == "this version" else folder_of_0_1("inked-by-hand", tmp_path)
    assert {plan for (plan,) in in_db(inked, "SELECT plan FROM ink")} != {""}
    changed(folder, "flatbed-a3", "flatbed-24x36")
    for verb, *words in (
        ("control", "--spacing", "3 in"),
        ("drive", "--simulate", "--unattended"),
        ("write", "--hpgl"),
    ):
        code, out, told = said(verb, folder, *words)
        assert (code, out) == (1, "")
        assert FINISH in told or by == "this version"
        if by == "this version" or comes_out(folder):
            assert "r1c1: inked as another layout or division has it" in told
        if by == "this version":
            assert "plotter.x_size was 15 3/4 in" in told
    assert not (folder / "out" / "sections").exists()
    changed(folder, "flatbed-24x36", "flatbed-a3")
    ran = said("write", folder, "--hpgl")
    assert ran[0] == 0 if by == "this version" or comes_out(folder) else says_how_to_finish(ran)


def test_looking_at_a_folder_of_version_0_1_leaves_it_usable_by_that_version(
    tmp_path: Path, said: Callable[..., Ran]
) -> None:
    for name in FOLDERS:
        folder = folder_of_0_1(name, tmp_path)
        kept = (folder / RECORD_FILE).read_bytes()
        for verb in ("layout", "section"):
            ran = said(verb, folder)
            assert ran[0] == 0 if comes_out(folder) else says_how_to_finish(ran)
        assert (folder / RECORD_FILE).read_bytes() == kept
        assert [path.name for path in folder.glob("*.db*")] == [RECORD_FILE]


@pytest.mark.parametrize(("name", "section"), [("half-drawn-a3", "r1c2"), ("begun-gantry", "r1c1")])
def test_a_section_half_drawn_by_version_0_1_is_finished_or_left_to_that_version(
    name: str, section: str, tmp_path: Path, said: Callable[..., Ran]
) -> None:
    folder = folder_of_0_1(name, tmp_path)
    drawn = in_db(folder, f"SELECT stroke FROM stroke WHERE section='{section}' AND event='drawn'")
    words = ["--section", section, "--unattended", "--ink-anyway", "set down by tape alone"]
    with plotter_at(folder, 400) as port:
        code, out, told = said("drive", folder, *words, *port)
    if not comes_out(folder):
        assert says_how_to_finish((code, out, told))
        return
    assert code == 0, told
    assert "0.1" not in told
    with open_record(folder) as record:
        after = [kept.stroke for kept in record.strokes(section) if kept.event == "drawn"]
        assert (len(record.layouts()), len(record.divisions())) == (1, 1)
    assert len(after) == len(set(after)) > len(drawn)
    assert [one for (one,) in drawn] == after[: len(drawn)]


def in_the_form_of_0_1(folder: Path) -> None:
    """Takes away what version 0.1 did not keep."""
    (step,) = [one for one in MIGRATIONS if "CREATE TABLE whereabouts" in one]
    later = ("whereabouts", "layout", "division", "given", "ruled", "mend")
    in_db(
        folder,
        *(f"DROP TABLE {table}" for table in later),
        "ALTER TABLE beam DROP COLUMN division",
        "UPDATE ink SET plan = ''",
        f"UPDATE schema_version SET version = {MIGRATIONS.index(step)}",
        "PRAGMA wal_checkpoint(TRUNCATE)",
    )


def test_control_marks_that_version_0_1_set_out_go_on_placing(
    tmp_path: Path, said: Callable[..., Ran]
) -> None:
    folder = folder_of_0_1("control-marks", tmp_path)
    readings = read_as_planned(folder, "r1c2", said)
    code, out, told = said("place", folder, "--readings", readings)
    assert code == 0, told
    assert "r1c2: INK" in out
    assert "0.1" not in told


def test_what_version_0_1_traced_by_light_is_still_traced_or_left_to_that_version(
    tmp_path: Path,
) -> None:
    from devices.begun import work_of
    from devices.projector.desk.memory import keep, refuse_unknown_lines, remembered

    folder = folder_of_0_1("traced-beam", tmp_path)
    if not comes_out(folder, "beam"):
        with pytest.raises(RefusedError, match=FINISH):
            work_of(folder, load_job(folder, Job))
        return
    work = work_of(folder, load_job(folder, Job))
    with open_record(folder) as record:
        refuse_unknown_lines(record, work)
        desk = remembered(record, work)
        assert len(desk.traced["r1c1"]) == 9
        more = desk.traced["r1c1"] | {work.line_ids("r1c1", "all")[-1]}
        keep(record, work, desk, replace(desk, traced={"r1c1": more}))
        assert len(remembered(record, work).traced["r1c1"]) == 10
        assert [kept.zone for kept in record.divisions()] == ["beam"]


def test_light_goes_on_under_its_own_division_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from devices.begun import work_of
    from devices.projector.desk.memory import keep, remembered

    folder = tmp_path / "beam"
    make_job(folder, "flatbed-a3")
    work = work_of(folder, load_job(folder, Job))
    with open_record(folder) as record:
        desk = remembered(record, work)
        every = frozenset(work.line_ids("r1c1", "all"))
        keep(record, work, desk, replace(desk, traced={"r1c1": every}))
        assert {kept.plan for kept in record.ink()} == {work.division}
    with (folder / JOB_FILE).open("a", encoding="utf-8") as file:
        file.write('[projector]\ndistance = "5 ft"\n')
    assert main(["beam", "--job", str(folder), "--no-open", "--port", "0"]) == 1
    told = capsys.readouterr().err
    assert "beam r1c1: inked as another layout or division has it" in told
    assert "projector.distance was" in told


OTHER = "f" * 64


@pytest.mark.parametrize(
    ("name", "altered", "words"),
    [
        ("half-drawn-a3", "UPDATE {} SET layout = '{}'", ["write"]),
        ("half-drawn-a3", "UPDATE {} SET plan = '{}'", ["write", "--hpgl"]),
        ("half-drawn-a3", "UPDATE {} SET plan = '{}'", ["drive", "--simulate", "--unattended"]),
        ("begun-gantry", "UPDATE {} SET plan = '{}'", ["drive", "--simulate", "--unattended"]),
        ("inked-by-hand", "UPDATE {} SET layout = '{}'", ["place", "--inked", "r1c2"]),
        ("traced-beam", "UPDATE {} SET layout = '{}'", ["beam", "--no-open", "--port", "0"]),
    ],
)
def test_a_folder_that_comes_out_otherwise_says_how_to_finish_it_and_loses_nothing(
    name: str, altered: str, words: list[str], tmp_path: Path, said: Callable[..., Ran]
) -> None:
    folder = folder_of_0_1(name, tmp_path)
    tables = ["ink", "run"] if "plan" in altered else ["ink", "run", "standing_layout", "beam"]
    in_db(folder, *(altered.format(table, OTHER) for table in tables))
    kept = (folder / RECORD_FILE).read_bytes()
    verb, *rest = words
    code, out, told = said(verb, folder, *rest)
    assert (code, out) == (1, "")
    assert FINISH in told
    assert (folder / RECORD_FILE).read_bytes() == kept
    assert in_db(folder, "SELECT version FROM schema_version") == [(4,)]


def test_control_marks_of_another_layout_are_said_to_be_there(
    tmp_path: Path, said: Callable[..., Ran]
) -> None:
    folder = folder_of_0_1("control-marks", tmp_path)
    readings = folder / "r1c1.csv"
    readings.write_text("section,mark,x,y\nr1c1,n0,10 mm,10 mm\n", "utf-8")
    in_db(folder, f"UPDATE verification SET layout = '{OTHER}'")
    code, _, told = said("place", folder, "--readings", readings)
    assert code == 1
    assert "are for another layout" in told
    assert FINISH in told


def test_traced_lines_that_are_no_lines_here_are_not_passed_over(
    tmp_path: Path, said: Callable[..., Ran]
) -> None:
    folder = folder_of_0_1("traced-beam", tmp_path)
    in_db(folder, """UPDATE beam SET value = '["cross-1x"]' WHERE subject = 'traced r1c1'""")
    code, out, told = said("beam", folder, "--no-open", "--port", "0")
    assert (code, out) == (1, "")
    assert FINISH in told


def test_a_rehearsal_in_a_folder_of_an_older_version_leaves_its_record_alone(
    inked: Path, said: Callable[..., Ran]
) -> None:
    in_the_form_of_0_1(inked)
    kept = (inked / RECORD_FILE).read_bytes()
    words = ["--simulate", "--pace", "2000", "--unattended", "--section", "r2c1"]
    code, _, told = said("drive", inked, *words)
    assert code == 0, told
    assert (inked / RECORD_FILE).read_bytes() == kept
    with open_record(inked / "out" / "rehearsal") as record:
        assert "r2c1" in {kept.section for kept in record.ink()}


BEGINNER = """
import sys
from pathlib import Path
from marking.record.readings import MarkReading
from marking.record.record import layout_hash, open_record
from marking.record.schema import MIGRATIONS
from marking.begun.on_the_cover import plan_hash
folder, name = Path(sys.argv[1]), sys.argv[2]
with open_record(folder) as record:
    record.ink()
    print("open", flush=True)
    sys.stdin.readline()
    for n in range(5):
        record.add_readings("abc", [MarkReading(name, f"{n}", (n, n), 0.25, name)])
"""


def test_two_commands_bring_one_older_record_up_at_once(tmp_path: Path) -> None:
    folder = folder_of_0_1("half-drawn-a3", tmp_path)
    words = [sys.executable, "-c", BEGINNER, str(folder)]
    both = [
        subprocess.Popen(
            [*words, name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, encoding="utf-8"
        )
        for name in ("one", "two")
    ]
    for process in both:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
    for process in both:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    assert [process.wait() for process in both] == [0, 0]
    for process in both:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.close()
        process.stdout.close()
    assert in_db(folder, "PRAGMA integrity_check") == [("ok",)]
    with open_record(folder) as record:
        assert [len(record.readings(name)) for name in ("one", "two")] == [5, 5]
        assert len(record.strokes("r1c1")) == 2 * 38


def test_a_folder_of_version_0_1_that_may_not_be_written_can_be_looked_at(tmp_path: Path) -> None:
    folder = folder_of_0_1("nothing-inked", tmp_path)
    folder.chmod(0o555)
    (folder / RECORD_FILE).chmod(0o444)
    try:
        done = limited(without_privilege, "layout", "--job", folder)
    finally:
        folder.chmod(0o755)
    assert done.returncode == 0, done.stderr
