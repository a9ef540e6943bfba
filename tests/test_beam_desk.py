"""The work at the projector as a machine of its own, and what job.db remembers of it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from browsers import hung_crooked, millrace

from devices.beam.desk import acted, begun, is_lit
from devices.beam.memory import keep, remembered
from devices.beam.trueup import Trued
from devices.beam.work import line_name
from marking.errors import BadInputError, RefusedError
from marking.record import open_record


@pytest.fixture
def work(tmp_path):
    return millrace(tmp_path)


@pytest.fixture
def desk(work):
    trued = {"r1c1": Trued(hung_crooked(work, "r1c1"), 1.0, (), True)}
    return replace(begun(work), trued=trued)


def done(desk, work):
    return acted(desk, work, {"do": "done", "line": desk.line})


def test_each_line_of_a_section_is_lit_once_until_all_are_traced(desk, work):
    lines = work.line_ids("r1c1", "all")
    seen = []
    for _ in lines:
        seen.append(desk.line)
        desk = done(desk, work)
    assert sorted(seen) == sorted(lines)
    assert desk.traced["r1c1"] == set(lines)


def test_one_kind_of_line_is_stepped_through_alone(desk, work):
    desk = acted(desk, work, {"do": "look", "kind": "hem"})
    hems = work.line_ids("r1c1", "hem")
    for _ in hems:
        assert desk.line in hems
        desk = done(desk, work)
    assert desk.traced["r1c1"] == set(hems)


def test_a_section_that_is_not_trued_up_lights_nothing(desk, work):
    there = acted(desk, work, {"do": "next-section"})
    assert not is_lit(there)
    with pytest.raises(BadInputError, match="true up"):
        done(there, work)
    carried = acted(there, work, {"do": "use-true-up", "section": "r1c1"})
    assert is_lit(carried)


def test_a_line_marked_by_mistake_is_taken_back(desk, work):
    first = desk.line
    desk = acted(done(desk, work), work, {"do": "previous-line"})
    assert desk.line == first
    assert acted(desk, work, {"do": "undone"}).traced["r1c1"] == frozenset()


@pytest.mark.parametrize(
    "command",
    [
        {},
        {"do": None},
        {"do": "explode"},
        {"do": "section", "section": "r9c9"},
        {"do": "nudge", "across": "far", "down": 0},
        {"do": "nudge", "across": 1e9, "down": 0},
        {"do": "landed"},
        {"do": "target", "target": "1"},
        {"do": "finish"},
        {"do": "notes", "text": "x" * 5000},
        {"do": "use-true-up", "section": ["r1c1"]},
    ],
)
def test_a_command_that_makes_no_sense_changes_nothing(desk, work, command):
    with pytest.raises(BadInputError):
        acted(desk, work, command)


def test_a_look_out_of_range_is_left_alone(desk, work):
    odd = {"do": "look", "width_px": 900, "colour": "url(x)", "kind": "all of them"}
    assert acted(desk, work, odd) == desk


def test_a_target_is_not_nudged_out_of_the_picture(desk, work):
    begun_true_up = acted(desk, work, {"do": "true-up"})
    with pytest.raises(BadInputError, match="out of the picture"):
        acted(begun_true_up, work, {"do": "nudge", "across": -2000, "down": 0})


def test_a_true_up_under_way_is_remembered_target_by_target(desk, work, tmp_path):
    after = acted(desk, work, {"do": "true-up"})
    after = acted(after, work, {"do": "nudge", "across": 3, "down": -2})
    after = acted(after, work, {"do": "landed", "along": "2 1/4 in", "across": "28 in"})
    with open_record(tmp_path) as record:
        keep(record, work, begun(work), after)
        again = remembered(record, work)
    assert again.true_up == after.true_up
    assert again.section == after.section


def test_a_layout_that_moves_lines_is_refused_once_one_is_traced(desk, work, tmp_path):
    with open_record(tmp_path) as record:
        keep(record, work, desk, done(desk, work))
    text = (tmp_path / "job.toml").read_text("utf-8")
    moved = text.replace('margin = "1 in"\n', 'margin = "1 1/4 in"\n', 1)
    assert moved != text
    (tmp_path / "job.toml").write_text(moved, "utf-8")
    from devices.beam.work import work_for
    from devices.job import Job
    from marking.jobfile import load_job

    other = work_for(load_job(tmp_path, Job))
    with open_record(tmp_path) as record, pytest.raises(RefusedError, match="already inked"):
        record.guard_layout(other.layout)


def test_lines_are_called_by_their_trade_names(work):
    names = {line_name(piece) for piece in work.section("r1c1").pieces}
    assert "cross line 12" in names
    assert "numeral 12, near side" in names
    assert any(name.startswith("hem line") for name in names)


def test_an_overlay_without_a_true_up_is_refused_and_said(work, tmp_path, run_cli):
    done = run_cli("write", "--job", str(tmp_path), "--for", "beam", "--overlay")
    assert done.returncode == 1
    assert "no section is trued up yet" in done.stderr


def test_an_overlay_is_written_for_what_is_trued_up(desk, work, tmp_path, run_cli):
    with open_record(tmp_path) as record:
        keep(record, work, begun(work), desk)
    done = run_cli("write", "--job", str(tmp_path), "--for", "beam", "--overlay")
    assert done.returncode == 0
    assert done.stdout.split() == ["overlay/r1c1.svg", "overlay/r1c1.png"]
    assert (tmp_path / "out" / "overlay" / "r1c1.png").read_bytes().startswith(b"\x89PNG")


def test_the_plan_says_picture_set_downs_and_which_height_will_do(work, tmp_path, run_cli):
    done = run_cli("beam", "--plan", "--job", str(tmp_path))
    assert done.returncode == 0
    assert "Picture 57 3/4 in by 32 15/32 in" in done.stdout
    assert "will do" in done.stdout
    assert "Never look into the beam" in done.stdout
