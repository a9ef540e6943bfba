"""What `drive` inks and what it refuses, by where the device really stands on the table.

The device is put down where the plan does not have it; what its pen would read there, and where
its ink then lies on the table, is worked out here by the pose's own two equations and shares
nothing with the placement.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import pytest
from msgspec.structs import replace

from devices.plotter.correction import Correction
from devices.setting_down.where_it_stands import from_readings
from devices.what_moves_ink import device_settings, what_moves_ink
from marking.begun.inked import done_sections, guard_division, runs_of
from marking.begun.on_the_cover import plan_hash
from marking.errors import RefusedError
from marking.job.folder import JOB_FILE
from marking.record.record import RECORD_FILE, open_record
from marking.record.schema import MIGRATIONS, migrate
from marking.sections.plan import divide_into_sections
from tests.inking.askew import BESIDE, SAMPLING, Stood, Table, bare_table, forgiving
from tests.inking.kills import SECTION, kill_in_mid_ink, make_job, plotter_at, start_driver

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.conftest import RunCli


@pytest.fixture
def table(tmp_path: Path) -> Iterator[Table]:
    folder = tmp_path / "job"
    forgiving(folder)
    with bare_table(folder) as bare:
        yield bare


@pytest.fixture
def begun(table: Table) -> Table:
    """The first section is inked where it was planned, by tape alone."""
    outcome, _ = table.inked(Stood(table.section(SECTION)), anyway="the first, by tape")
    assert outcome.ended == "done"
    return table


def test_a_device_that_was_moved_in_mid_section_goes_on_where_its_marks_say_it_stands(
    begun: Table,
) -> None:
    section = begun.section(BESIDE)
    first = Stood(section, (1.5, 1.0), 0.1)
    outcome, _ = begun.inked(first, first.reads(begun.job, section.locating_marks), stops_after=6)
    assert outcome.ended == "stopped"
    assert 0 < len(begun.drawn(BESIDE)) < len(section.pieces)

    then = Stood(section, (-1.0, 0.5), -0.1)
    readings = then.reads(begun.job, section.locating_marks)
    with pytest.raises(RefusedError, match="say so with --moved"):
        begun.inked(then, readings)
    outcome, said = begun.inked(then, readings, moved=True)
    assert outcome.ended == "done", said
    # A unit is 0.025 mm; the readings are exact.
    assert max(begun.faults(BESIDE)) <= SAMPLING


def with_plotter(table: Table, **settings: object) -> Table:
    """The same table, some keys of [plotter] changed."""
    job = table.job.model_copy(update={"plotter": table.job.plotter.model_copy(update=settings)})
    return replace(table, job=job, place=replace(table.place, job=job))


def test_how_a_device_is_told_may_change_in_mid_section_as_the_messages_advise(
    begun: Table,
) -> None:
    section = begun.section(BESIDE)
    stood = Stood(section)
    begun.inked(stood, stood.reads(begun.job, section.locating_marks), stops_after=6)
    half = len(begun.drawn(BESIDE))
    assert 0 < half < len(section.pieces)
    other = with_plotter(
        begun,
        baud=19200,
        buffer_bytes=600,
        handshake="xonxoff",
        draw_speed=40.0,
        travel_speed=90.0,
        name="the same, by another cable",
    )
    outcome, said = other.inked(stood)
    assert outcome.ended == "done", said
    assert max(other.faults(BESIDE)) <= SAMPLING


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"unit": 0.02488}, "plotter.unit was "),
        ({"axes": ("-x", "+y")}, 'plotter.axes was ["+x", "+y"], is ["-x", "+y"]'),
        ({"origin": "centre"}, 'plotter.origin was "corner", is "centre"'),
        ({"y_size": 180.0}, "plotter.y_size was "),
    ],
)
def test_what_moves_ink_stays_in_mid_section_and_is_named(
    begun: Table, changed: dict[str, object], said: str
) -> None:
    section = begun.section(BESIDE)
    stood = Stood(section)
    begun.inked(stood, stood.reads(begun.job, section.locating_marks), stops_after=6)
    laid = len(begun.ink[BESIDE])
    with pytest.raises(RefusedError) as refused:
        with_plotter(begun, **changed).inked(stood)
    assert said in str(refused.value)
    assert len(begun.ink[BESIDE]) == laid


def test_a_correction_and_a_pen_stay_in_mid_section_and_are_named(begun: Table) -> None:
    kept = json.dumps(dict(device_settings(begun.job, None)))
    drawn_large = Correction(1.002, 1.0, 0.0, ((0.0,) * 3,) * 3)
    assert what_moves_ink(kept, begun.job, None) is None
    found = what_moves_ink(kept, begun.job, drawn_large)
    assert found == "correction.scale_x was 1, is 1.002"
    wide = begun.job.pens.lines.model_copy(update={"width": 2.0, "speed": 30.0})
    pens = begun.job.pens.model_copy(update={"lines": wide})
    found = what_moves_ink(kept, begun.job.model_copy(update={"pens": pens}), None)
    assert found is not None
    assert found.startswith("pens.lines.width was ")
    assert "speed" not in found


def test_a_section_of_the_same_name_in_another_division_is_not_done(begun: Table) -> None:
    record, layout = begun.place.record, begun.place.layout
    assert done_sections(record, layout, begun.plan) == {SECTION}
    zone = replace(begun.job.plotter.zone, size=(200.0, 150.0))
    other = divide_into_sections(layout, begun.job, zone)
    assert SECTION in {section.id for section in other.sections}
    assert done_sections(record, layout, other) == frozenset()
    assert runs_of(record, SECTION, other) == ()
    assert runs_of(record, SECTION, begun.plan) != ()


def test_ink_is_not_kept_without_its_division(begun: Table) -> None:
    with pytest.raises(ValueError, match="without its division"):
        begun.place.record.add_ink(begun.place.layout, BESIDE, "begun", "")


def test_a_device_that_was_moved_and_not_read_anew_inks_nothing_whatever_the_reason(
    begun: Table,
) -> None:
    section = begun.section(BESIDE)
    stood = Stood(section, (1.5, 1.0))
    begun.inked(stood, stood.reads(begun.job, section.locating_marks), stops_after=6)
    laid = len(begun.ink[BESIDE])
    for anyway in (None, "in a hurry"):
        with pytest.raises(RefusedError, match="nobody knows where it stands"):
            begun.inked(stood, moved=True, anyway=anyway)
    assert len(begun.ink[BESIDE]) == laid
    assert begun.place.record.placements(BESIDE)[-1].pose["shift"] == pytest.approx((1.5, 1.0))


def test_a_section_that_does_not_fit_its_bed_there_is_inked_for_no_reason(begun: Table) -> None:
    section = begun.section(BESIDE)
    stood = Stood(section, (9.0, 12.0))
    outcome, said = begun.inked(
        stood, stood.reads(begun.job, section.locating_marks), anyway="in a hurry"
    )
    assert outcome.ended == "not allowed"
    assert "no reason helps here" in said[-1]
    assert "shift it" in said[-2]
    assert begun.ink[BESIDE] == []
    assert begun.place.record.placements(BESIDE) == ()
    assert not [kept for kept in begun.place.record.ink() if kept.section == BESIDE]


def test_ink_against_the_verdict_is_recorded_with_its_reason(begun: Table) -> None:
    section = begun.section(BESIDE)
    stood = Stood(section, (1.0, 0.5))
    bad = stood.reads(begun.job, section.locating_marks, slip=7.0)
    outcome, said = begun.inked(stood, bad)
    assert outcome.ended == "not allowed"
    assert begun.ink[BESIDE] == []
    assert "--ink-anyway" in said[-1]
    outcome, _ = begun.inked(stood, bad, anyway="the cloth is a trial")
    assert outcome.ended == "done"
    record = begun.place.record
    assert record.runs(BESIDE)[-1].remark == "the cloth is a trial"
    kept = record.placements(BESIDE)[-1].detail
    assert (kept["override"], kept["allowed"]) == ("the cloth is a trial", False)


def test_a_reading_that_was_rejected_places_no_later_section(begun: Table) -> None:
    for name in ("r1c2", "r1c3", "r2c1"):
        before = begun.section(name)
        outcome, said = begun.inked(
            Stood(before), Stood(before).reads(begun.job, before.locating_marks)
        )
        assert outcome.ended == "done", said
    section = begun.section("r2c2")
    stood = Stood(section, (1.0, 0.5))
    outcome, _ = begun.inked(stood, stood.reads(begun.job, section.locating_marks, slip=7.0))
    assert outcome.ended == "not allowed"
    # The mark that was read wrongly is left out, so no figure takes the place of the wrong one.
    outcome, said = begun.inked(stood, stood.reads(begun.job, section.locating_marks)[1:])
    assert outcome.ended == "done", said
    assert max(begun.faults(section.id)) <= SAMPLING

    following = begun.section("r2c3")
    assert set(following.locating_marks) - set(section.locating_marks)
    placed = from_readings(
        following,
        Stood(following).reads(begun.job, following.locating_marks),
        begun.plan,
        begun.place.layout,
        begun.job,
        begun.place.record,
        None,
    )
    assert placed.pose.shift == pytest.approx((0.0, 0.0), abs=0.05)


# -- by the command itself ---------------------------------------------------------------------


def kept_of(folder: Path) -> tuple[int, int]:
    """How many rows of ink and of runs the job's record has."""
    with open_record(folder) as record:
        return len(record.ink()), len(record.runs())


def test_nobody_and_no_readings_ink_nothing_on_a_real_port(run_cli: RunCli, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    with plotter_at(folder, 400) as port:
        words = ["drive", "--job", folder, *port, "--unattended", "--section", SECTION]
        done = run_cli(*words)
        assert done.returncode == 1
        assert "no marks were read, so nobody knows where the device stands" in done.stderr
        assert (folder / "cloth.ink").read_bytes() == b""
        assert kept_of(folder) == (0, 0)
        done = run_cli(*words, "--ink-anyway", "set down to the tape")
        assert done.returncode == 0, done.stderr
    with open_record(folder) as record:
        assert record.runs()[0].remark == "set down to the tape"


def test_a_section_whose_marks_are_not_inked_yet_waits_for_the_one_that_inks_them(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    with plotter_at(folder, 400) as port:
        words = ["drive", "--job", folder, *port, "--unattended", "--ink-anyway", "a trial"]
        done = run_cli(*words, "--section", BESIDE)
        assert done.returncode == 1
        assert f"Ink {SECTION} first" in done.stderr
    assert (folder / "cloth.ink").read_bytes() == b""
    assert kept_of(folder) == (0, 0)


def test_a_run_that_was_killed_says_on_resuming_not_to_move_the_device(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    with plotter_at(folder, 60) as port:
        driver = start_driver(folder, int(port[1].rpartition(":")[2]))
        kill_in_mid_ink(driver, folder)
    with plotter_at(folder, 400) as port:
        words = ["drive", "--job", folder, *port, "--unattended", "--section", SECTION]
        moved = run_cli(*words, "--moved", "--ink-anyway", "in a hurry")
        assert moved.returncode == 1
        assert "nobody knows where it stands" in moved.stderr
        done = run_cli(*words)
    assert done.returncode == 0, done.stderr
    assert "do not move the device" in done.stderr
    assert "set the device down" not in done.stderr


def test_another_cut_in_mid_cover_is_refused_until_the_plotter_is_put_back(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    text = (folder / JOB_FILE).read_text("utf-8")
    words = ["drive", "--job", folder, "--unattended", "--ink-anyway", "a trial", "--most", "1"]
    with plotter_at(folder, 400) as port:
        assert run_cli(*words, *port).returncode == 0
        (folder / JOB_FILE).write_text(text.replace("flatbed-a4", "flatbed-a3"), "utf-8")
        for other in (port, ["--simulate"]):
            done = run_cli(*words, *other)
            assert done.returncode == 1
            assert f"{SECTION}: inked as another layout or division has it" in done.stderr
            assert "Put them back as they were" in done.stderr
        done = run_cli("write", "--job", folder)
        assert done.returncode == 1
        assert "--despite-ink writes the new division all the same" in done.stderr
        assert not (folder / "out" / "sections").exists()
        assert run_cli("write", "--job", folder, "--despite-ink").returncode == 0
        done = run_cli("place", "--job", folder, "--despite-ink", "--inked", BESIDE)
        assert done.returncode == 1
        assert "another layout or division" in done.stderr
        assert kept_of(folder) == (2, 1)
    (folder / JOB_FILE).write_text(text, "utf-8")
    assert run_cli("write", "--job", folder).returncode == 0
    assert run_cli(*words, "--simulate").returncode == 0


def in_the_older_form(path: Path) -> None:
    """The record as the version wrote it that did not keep the cut."""
    with closing(sqlite3.connect(path, isolation_level=None)) as new:
        columns = {"ink": "at, layout, section, event"}
        columns["run"] = "at, layout, section, device, pose, remark"
        rows = {
            name: new.execute(f"SELECT {columns[name]} FROM {name}").fetchall() for name in columns
        }
    path.unlink()
    with closing(sqlite3.connect(path, isolation_level=None)) as old:
        migrate(old, MIGRATIONS[:3])
        for name, kept in rows.items():
            blanks = ", ".join("?" * (columns[name].count(",") + 1))
            old.executemany(f"INSERT INTO {name} ({columns[name]}) VALUES ({blanks})", kept)


def test_a_record_of_before_the_cut_was_kept_is_known_by_where_its_windows_lay(
    begun: Table, tmp_path: Path
) -> None:
    folder = tmp_path / "older"
    folder.mkdir()
    plan, layout = begun.plan, begun.place.layout
    assert {kept.plan for kept in begun.place.record.ink()} == {plan_hash(plan)}
    begun.place.record.copy_to(folder)
    in_the_older_form(folder / RECORD_FILE)
    with open_record(folder) as record:
        assert {kept.plan for kept in (*record.ink(), *record.runs())} == {""}
        guard_division(record, layout, plan)
        assert done_sections(record, layout, plan) == {SECTION}
    other = begun.job.plotter.model_copy(update={"x_size": 200.0})
    with (
        open_record(folder) as record,
        pytest.raises(RefusedError, match="another layout or division"),
    ):
        guard_division(record, layout, divide_into_sections(layout, begun.job, other.zone))


def test_an_outline_that_is_declined_leaves_neither_ink_nor_a_word_of_it(
    run_cli: RunCli, tmp_path: Path
) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    words = ["drive", "--job", folder, "--section", SECTION, "--outline"]
    with plotter_at(folder, 400) as port:
        done = run_cli(*words, *port, stdin="\nn\n")
        assert done.returncode == 1, done.stderr
        assert "That was the outline, pen up" in done.stderr
        assert (folder / "cloth.ink").read_bytes() == b""
        assert kept_of(folder) == (0, 0)
        assert run_cli(*words, *port, stdin="\n\n").returncode == 0
        # A plug pulled between the last stroke and the last word of the record.
        with closing(sqlite3.connect(folder / RECORD_FILE)) as record, record:
            record.execute("DELETE FROM ink WHERE event = 'done'")
        laid = (folder / "cloth.ink").read_bytes()
        done = run_cli(*words, *port, "--unattended")
        assert done.returncode == 0, done.stderr
    assert (folder / "cloth.ink").read_bytes() == laid
    with open_record(folder) as kept:
        assert [ink.event for ink in kept.ink()] == ["begun", "done"]
