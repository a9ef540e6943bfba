"""The work at the projector as a machine of its own, and what job.db remembers of it."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from msgspec.structs import replace

from devices.job import Job
from devices.projector.desk.beam_work import line_name, work_for
from devices.projector.desk.desk import acted, begun, is_lit
from devices.projector.desk.known_points import tape_mark_points
from devices.projector.desk.memory import keep, remembered
from devices.projector.desk.what_pages_show import look
from devices.projector.light.throw import beam_zone
from devices.projector.trueup.result import Trued
from devices.projector.trueup.targets import ASIDE_PX
from marking.errors import BadInputError, RefusedError
from marking.job.folder import load_job
from marking.record.record import open_record
from tests.projector.browsers import hung_crooked, told_by_beam


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
    with pytest.raises(RefusedError, match="True up this section itself"):
        acted(there, work, {"do": "use-true-up", "section": "r1c1"})


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
    from devices.job import Job
    from devices.projector.desk.beam_work import work_for
    from marking.job.folder import load_job

    other = work_for(load_job(tmp_path, Job))
    with open_record(tmp_path) as record, pytest.raises(RefusedError, match="already inked"):
        record.guard_layout(other.layout)


def test_a_numeral_of_several_digits_is_traced_at_one_go(desk, work):
    ten = next(
        line
        for line in work.line_ids("r1c1", "numeral")
        if work.line_name("r1c1", line) == "numeral 10, near side"
    )
    assert len(work.stroke_ids("r1c1", ten)) >= 2
    lit = replace(desk, line=ten)
    shown = look(lit, work)
    assert shown["now"] == work.stroke_ids("r1c1", ten)
    after = acted(lit, work, {"do": "done", "line": ten})
    assert set(look(after, work)["traced"]) == set(work.stroke_ids("r1c1", ten))
    strokes = [stroke for line in work.line_ids("r1c1", "all")
               for stroke in work.stroke_ids("r1c1", line)]  # fmt: skip
    assert sorted(strokes) == sorted(piece.stroke.id for piece in work.section("r1c1").pieces)


def test_a_target_that_was_neither_nudged_nor_typed_is_not_landed(desk, work):
    begun_true_up = acted(desk, work, {"do": "true-up"})
    with pytest.raises(BadInputError, match="nothing was landed"):
        acted(begun_true_up, work, {"do": "landed"})
    away = acted(begun_true_up, work, {"do": "nudge", "across": 1, "down": 0})
    back = acted(away, work, {"do": "nudge", "across": -1, "down": 0})
    assert "1" in acted(back, work, {"do": "landed"}).true_up.landed


def test_a_contradicted_landing_is_named_and_lights_nothing_until_it_is_put_right(desk, work):
    real = hung_crooked(work, "r1c1")
    desk = acted(desk, work, {"do": "true-up"})
    for number in range(1, 14):
        target = next(t for t in desk.true_up.targets if t.name == str(number))
        x, y = real.to_table(np.array([target.at_px]))[0] + (8.0 if number == 7 else 0, 0)
        said = {"along": f"{x:.2f} mm", "across": f"{y:.2f} mm"}
        desk = acted(acted(desk, work, {"do": "target", "target": str(number)}), work,
                     {"do": "landed", **said})  # fmt: skip
    with pytest.raises(RefusedError, match="Target 7 contradicts the others"):
        acted(desk, work, {"do": "finish"})
    assert not is_lit(desk)
    without = acted(desk, work, {"do": "lifted", "target": "7"})
    assert is_lit(acted(without, work, {"do": "finish"}))


def test_no_landings_whatever_break_the_desk(work):
    rng = np.random.default_rng(1)
    readings = ["0 in", "1 in", "2 in", "28 in", "54 in", "30 in", "700 mm", "1300 mm", "0.01 mm"]
    refused = 0
    for _ in range(120):
        desk = acted(begun(work), work, {"do": "true-up"})
        for _ in range(rng.integers(4, 14)):
            said = {"along": str(rng.choice(readings)), "across": str(rng.choice(readings))}
            if rng.random() < 0.6:
                target = next(t for t in desk.true_up.targets if t.name == desk.true_up.at)
                x, y = target.at_table + rng.normal(0, 3, 2)
                said = {"along": f"{max(x, 0):.2f} mm", "across": f"{max(y, 0):.2f} mm"}
            desk = acted(desk, work, {"do": "landed", **said})
        try:
            acted(desk, work, {"do": "finish"})
        except (BadInputError, RefusedError):
            refused += 1
    assert refused > 60


def test_lines_are_called_by_their_trade_names(work):
    names = {line_name(piece) for piece in work.section("r1c1").pieces}
    assert "cross line 11" in names
    assert "cross line 12, heavy" in names
    assert "numeral 12, near side" in names
    assert any(name.startswith("hem line") for name in names)


def test_an_overlay_without_a_true_up_is_refused_and_said(work, tmp_path, run_cli):
    done = run_cli("write", "--job", str(tmp_path), "--for", "beam", "--overlay")
    assert done.returncode == 1
    assert "no section is trued up yet" in done.stderr


def test_an_overlay_is_written_for_what_is_trued_up(desk, work, tmp_path, run_cli):
    with open_record(tmp_path) as record:
        keep(record, work, begun(work), desk)
    done = run_cli("write", "--json", "--job", str(tmp_path), "--for", "beam", "--overlay")
    assert done.returncode == 0
    written = [file["path"] for file in json.loads(done.stdout)["files"]]
    assert written == ["overlay/r1c1.svg", "overlay/r1c1.png"]
    assert (tmp_path / "out" / "overlay" / "r1c1.png").read_bytes().startswith(b"\x89PNG")


def test_the_plan_says_picture_set_downs_and_which_height_will_do(work, tmp_path, run_cli):
    done = run_cli("beam", "--plan", "--job", str(tmp_path))
    assert done.returncode == 0
    assert "Picture 57 3/4 in by 32 15/32 in" in done.stdout
    assert "will do" in done.stdout
    assert "Never look into the beam" in done.stdout


def targets_there(desk, work, section):
    there = acted(desk, work, {"do": "section", "section": section})
    return acted(there, work, {"do": "true-up"}).true_up.targets


def test_control_marks_that_are_set_out_are_what_targets_are_brought_onto(desk, work, tmp_path):
    from marking.begun.on_the_cover import keep_tape_marks
    from marking.layout.layout import lay_out
    from marking.measures.tape import Tape
    from marking.sections.plan import divide_into_sections
    from marking.tape_marks.marks import set_out

    layout = lay_out(work.job)
    control = set_out(layout, 152.4, Tape(), "in")
    plan = divide_into_sections(layout, work.job, beam_zone(work.job.reach, work.job.projector))
    with open_record(tmp_path) as record:
        assert tape_mark_points(record, work) == ()
        keep_tape_marks(record, layout, plan, control)
        known = replace(work, tape_marks=tape_mark_points(record, work))
    places = {mark.mark.id: mark.mark.at_table for mark in control.marks}
    targets = targets_there(desk, known, "r1c1")
    on_marks = [target for target in targets if target.what.startswith("tape mark ")]
    assert len(on_marks) >= 3
    for target in on_marks:
        assert target.at_table == places[target.what.removeprefix("tape mark ")]


def test_crossings_that_a_neighbour_has_traced_are_what_targets_are_brought_onto(desk, work):
    assert not any(target.what for target in targets_there(desk, work, "r1c2"))
    all_lines = frozenset(work.line_ids("r1c1", "all"))
    traced = replace(desk, traced={"r1c1": all_lines})
    witnesses = {mark.id: mark.at_table for mark in work.section("r1c2").locating_marks}
    on_ink = [t for t in targets_there(traced, work, "r1c2") if t.what]
    assert on_ink
    for target in on_ink:
        assert target.at_table == witnesses[target.what.removeprefix("traced crossing ")]
        assert target.sd > 0.25, "ink is no truer than the light that it was traced by"
    half = frozenset(line for line in all_lines if "cross" not in line)
    assert not any(
        target.what for target in targets_there(replace(desk, traced={"r1c1": half}), work, "r1c2")
    ), "one line alone makes no crossing"


def test_from_four_landings_on_the_other_targets_are_lit_by_their_points(desk, work):
    real = hung_crooked(work, "r1c1")
    desk = acted(desk, work, {"do": "true-up"})
    for _ in range(4):
        target = next(t for t in desk.true_up.targets if t.name == desk.true_up.at)
        off = real.to_px(np.array([target.at_table]))[0] - target.at_px
        desk = acted(desk, work, {"do": "nudge", "across": round(off[0]), "down": round(off[1])})
        desk = acted(desk, work, {"do": "landed"})
    rest = [t for t in desk.true_up.targets if t.name not in desk.true_up.landed]
    assert len(rest) == 9
    off = real.to_px(np.array([t.at_table for t in rest])) - [t.at_px for t in rest]
    # Lit aside on purpose, so that each is set afresh; the lens is not known from four.
    assert np.abs(off).max() < ASIDE_PX + 8
    assert np.linalg.norm(off, axis=1).min() > 4


def test_targets_lie_on_a_top_that_is_smaller_than_the_light(tmp_path):
    """Else nobody could land them, and a reading beside the cloth is refused."""
    text = """schema = 1
[table]
length = "20 in"
width = "12 in"
[hems]
depth = "2 in"
folds = []
[projector]
profile = "ceiling-1080p"
"""
    (tmp_path / "job.toml").write_text(text, "utf-8")
    work = work_for(load_job(tmp_path, Job))
    x0, y0, x1, y1 = work.section("r1c1").window
    assert (x1 - x0, y1 - y0) > (508, 304.8), "the light reaches beyond it on every side"
    targets = acted(begun(work), work, {"do": "true-up"}).true_up.targets
    at = np.array([target.at_table for target in targets])
    assert (at >= 0).all()
    assert (at <= (508, 304.8)).all()
    # As far apart as it allows.
    assert (np.ptp(at, axis=0) > (0.8 * 508, 0.7 * 304.8)).all()


def test_arrows_are_turned_to_suit_a_projector_that_hangs_turned(desk, work):
    for quarters, (across, down) in enumerate([(5, 0), (0, -5), (-5, 0), (0, 5)]):
        turned = acted(desk, work, {"do": "look", "arrows": quarters})
        nudged = acted(turned, work, {"do": "nudge", "across": 5, "down": 0})
        assert nudged.trued["r1c1"].mapping.shift_px == (across, down)


def test_a_typed_reading_is_what_the_tape_shows_and_not_the_length(desk, work):
    warm = replace(
        work,
        job=work.job.model_copy(
            update={"tape": work.job.tape.model_copy(update={"temperature_c": 35.0})}
        ),
    )
    begun_true_up = acted(desk, warm, {"do": "true-up"})
    after = acted(begun_true_up, warm, {"do": "landed", "along": "40 in", "across": "20 in"})
    # Steel grows 11.6e-6 of its length a degree above 20: handbooks of surveying.
    assert after.true_up.landed["1"].at_table[0] == pytest.approx(1016 * (1 + 11.6e-6 * 15))


def test_a_true_up_under_way_of_an_earlier_version_is_read(desk, work, tmp_path):
    with open_record(tmp_path) as record:
        under_way = {
            "targets": [["1", [100.0, 900.0], [25.4, 25.4]]],
            "landed": [["1", [100.0, 900.0], [25.4, 25.4]]],
            "at": "1",
            "quick": False,
        }
        row = (work.layout_hash, "", "true-up", json.dumps(under_way))
        record.add_rows("beam", "layout, division, subject, value", [row])
        under_way = remembered(record, work).true_up
    assert under_way.landed["1"].at_table == (25.4, 25.4)
    assert under_way.targets[0].at_px == (100.0, 900.0)


@pytest.mark.parametrize("words", [("section",), ("write", "--report")])
def test_a_height_that_does_not_hold_the_tolerance_is_told_wherever_it_matters(
    work, tmp_path, run_cli, words
):
    text = (tmp_path / "job.toml").read_text("utf-8")
    fine = re.sub(r"(?m)^tolerance = .*$", 'tolerance = "1/64 in"', text)
    assert fine != text
    (tmp_path / "job.toml").write_text(fine, "utf-8")
    planned = run_cli("beam", "--plan", "--job", str(tmp_path)).stdout
    told = next(line for line in planned.splitlines() if "is allowed" in line)
    done = run_cli(*words, "--for", "beam", "--job", str(tmp_path))
    assert done.returncode == 0
    assert f"note: {told}" in done.stderr
    if "write" in words:
        assert told in (tmp_path / "out" / "report.md").read_text("utf-8")


def test_no_phone_is_offered_an_address_that_it_cannot_open(work, tmp_path):
    with told_by_beam(tmp_path) as said:
        assert "on a phone or tablet:" not in said
        assert "start it again with --lan" in said
