"""A section begun by tape marks: gone on with where it stood, or placed anew once it was moved.

Where the device stands and what it then reads is worked out by the pose's own two equations (see
`test_what_may_be_inked`); the joint adjustment is held against scipy's least squares.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.optimize import least_squares

from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.session import Workplace
from devices.setting_down.where_it_stands import by_tape_marks, from_readings
from marking.begun.on_the_cover import standing
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.network.error_model import ErrorModel
from marking.placement.laid_ink import section_of
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.inking.askew import BESIDE, SAMPLING, Silent, Stood, Table, forgiving
from tests.inking.kills import (
    SECTION,
    cloth_faults,
    kill_in_mid_ink,
    made,
    plotter_at,
    start_driver,
)
from tests.job.command_cases import INTERRUPTED, REFUSED
from tests.session.terminal import CONTROL_C, ENTER, started
from tests.setting_down.marked_table import begin, marks, read, readings_file, table_with_marks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.record.readings import MarkReading
    from tests.conftest import RunCli


@pytest.fixture
def table(tmp_path: Path) -> Iterator[Table]:
    with table_with_marks(tmp_path / "job") as found:
        yield found


def test_a_run_that_ended_goes_on_with_the_very_readings_it_was_begun_with(table: Table) -> None:
    stood = Stood(table.section(SECTION), (1.5, 1.0), 0.1)
    readings = read(table, stood)
    begin(table, stood, readings)
    outcome, said = table.inked(stood, readings)
    assert outcome.ended == "done"
    assert "these readings are those that it was placed by, so they show no move" in "\n".join(said)
    assert max(table.faults(SECTION)) <= SAMPLING


def test_marks_read_anew_say_that_nothing_has_moved_and_how_large_a_move_would_show(
    table: Table,
) -> None:
    stood = Stood(table.section(SECTION), (1.5, 1.0), 0.1)
    begin(table, stood, read(table, stood, 1))
    before = table.place.record.placements(SECTION)
    outcome, said = table.inked(stood, read(table, stood, 2))
    assert outcome.ended == "done"
    told = next(text for text in said if "nothing has moved" in text)
    noticed = float(told.split("A move of ")[1].split(" mm")[0])
    assert 0.5 < noticed < 4
    # It goes on by the place it was begun from, whatever the new readings scatter to.
    assert table.place.record.placements(SECTION) == before
    poses = {str(run.pose) for run in table.place.record.runs(SECTION)}
    assert len(poses) == 1


def test_a_device_that_nobody_touched_is_seldom_taken_for_moved_and_one_that_was_is_seen(
    table: Table,
) -> None:
    """Its own figure for a move that is noticed 99 times in 100, held over 60 sets of readings."""
    section = table.section(SECTION)
    stood = Stood(section)
    begin(table, stood, read(table, stood, 1))
    from devices.setting_down.standstill import still_there

    def said(readings: Sequence[MarkReading]) -> str:
        at = table.place
        stance = from_readings(
            section, readings, at.plan, at.layout, at.job, at.record, at.correction
        )
        try:
            return still_there(section, readings, stance, at.record)
        except RefusedError as fault:
            return str(fault)

    unmoved = [said(read(table, stood, seed)) for seed in range(100, 160)]
    # Readings in doubt are counted too: together at most 1 in 100; 4 of 60 has odds of 1 in 400.
    assert sum("nothing has moved" not in text for text in unmoved) <= 3
    noticed = float(unmoved[0].split("A move of ")[1].split(" mm")[0])
    bumped = Stood(section, (noticed, 0.0))
    moved = [said(read(table, bumped, seed)) for seed in range(200, 260)]
    assert sum("nothing has moved" in text for text in moved) <= 3


def test_a_bumped_device_is_refused_by_how_far_it_stands_off_and_goes_on_from_there_once_said(
    table: Table,
) -> None:
    section = table.section(SECTION)
    first = Stood(section, (1.5, 1.0), 0.1)
    then = Stood(section, (-1.0, 0.5), -0.1)
    begin(table, first, read(table, first))
    laid = len(table.ink[SECTION])
    readings = read(table, then)
    with pytest.raises(RefusedError, match=r"begun [23]\.\d mm from where .* say so with --moved"):
        table.inked(then, readings)
    with pytest.raises(RefusedError, match="kept from before, to the last figure"):
        table.inked(then, read(table, first), moved=True)
    assert len(table.ink[SECTION]) == laid
    outcome, said = table.inked(then, readings, moved=True)
    assert outcome.ended == "done", said
    assert max(table.faults(SECTION)) <= SAMPLING
    sent = [kept.stroke for kept in table.place.record.strokes(SECTION) if kept.event == "drawn"]
    assert len(sent) == len(set(sent)), "what was surely drawn is not drawn again"


def test_a_placement_kept_before_its_run_could_begin_is_where_the_device_stands(
    table: Table,
) -> None:
    section = table.section(SECTION)
    first, then = Stood(section, (1.5, 1.0)), Stood(section, (-1.0, 0.5))
    begin(table, first, read(table, first))
    at = table.place
    from devices.setting_down.set_down import keep

    # The power goes after the placement was kept, and before a stroke was sent.
    readings = read(table, then)
    stance = from_readings(section, readings, at.plan, at.layout, at.job, at.record, None)
    keep(stance, at)
    outcome, said = table.inked(then)
    assert outcome.ended == "done", said
    assert max(table.faults(SECTION)) <= SAMPLING


def test_readings_whose_placement_could_not_be_kept_are_not_taken_for_those_it_was_placed_by(
    table: Table,
) -> None:
    """A run that ends between the two would else ink on from where the device no longer stands."""
    section = table.section(SECTION)
    first, then = Stood(section, (1.5, 1.0), 0.1), Stood(section, (-1.0, 0.5), -0.1)
    begin(table, first, read(table, first))
    readings, laid = read(table, then), len(table.ink[SECTION])
    with closing(sqlite3.connect(table.place.record.path)) as disk:
        disk.execute(
            "CREATE TRIGGER full BEFORE INSERT ON placement "
            "BEGIN SELECT RAISE(ABORT, 'no room for it'); END"
        )
        with pytest.raises(CanvasruleError, match="no room for it"):
            table.inked(then, readings, moved=True)
        disk.execute("DROP TRIGGER full")
    with pytest.raises(RefusedError, match=r"begun [23]\.\d mm from where these readings put"):
        table.inked(then, readings)
    assert len(table.ink[SECTION]) == laid
    # The same command once more: they are no old readings either.
    outcome, said = table.inked(then, readings, moved=True)
    assert outcome.ended == "done", said
    assert max(table.faults(SECTION)) <= SAMPLING


def moved_midway(table: Table, share: float = 0.5) -> tuple[Stood, Stood]:
    """The first section inked in part, moved, and inked to its end, by readings with scatter."""
    section = table.section(SECTION)
    first, then = Stood(section, (1.5, 1.0), 0.1), Stood(section, (-1.0, 0.5), -0.1)
    readings = read(table, first, 5)
    outcome, _ = table.inked(first, readings, stops_after=int(len(section.pieces) * share))
    assert outcome.ended == "stopped"
    outcome, said = table.inked(then, read(table, then, 6), moved=True)
    assert outcome.ended == "done", said
    return first, then


@pytest.mark.parametrize("share", [0.6, 0.8])
def test_each_mark_of_a_section_inked_from_two_places_is_believed_where_its_own_ink_lies(
    table: Table, share: float
) -> None:
    moved_midway(table, share)
    at = table.place
    stands = standing(at.record, at.layout, at.plan, at.job.units)
    assert [setup.section for setup in stands.laid] == ["r1c1 stance 1", SECTION]
    assert [setup.section for setup in stands.setups] == [SECTION]
    runs = {run.id: count for count, run in enumerate(at.record.runs(SECTION))}
    sent: dict[str, set[int]] = {}
    for kept in at.record.strokes(SECTION):
        sent.setdefault(kept.stroke, set()).add(runs[kept.run])
    names = ("r1c1 stance 1", SECTION)
    believed = set()
    for name, target in stands.sights.targets.items():
        if section_of(str(target.inked_by)) != SECTION:
            continue
        x, y = target.mark.at_table
        of_x, of_y = set(), set()
        for piece in table.section(SECTION).pieces:
            (x0, y0), (x1, y1) = piece.stroke.points.min(axis=0), piece.stroke.points.max(axis=0)
            if x1 - x0 < 0.01 and abs(x - x0) < 0.01 and y0 - 0.01 < y < y1 + 0.01:
                of_x |= sent[piece.stroke.id]
            if y1 - y0 < 0.01 and abs(y - y0) < 0.01 and x0 - 0.01 < x < x1 + 0.01:
                of_y |= sent[piece.stroke.id]
        if len(of_x) > 1 or len(of_y) > 1:
            assert name in stands.mixed
            continue
        assert target.inked_by == names[next(iter(of_x))]
        assert (target.crossed_by or target.inked_by) == names[next(iter(of_y))]
        believed.add((target.inked_by, target.crossed_by))
    assert len(believed) > 1, "of both places, or of two lines from one each"


def test_a_mark_whose_line_may_lie_there_twice_is_refused_and_not_asked_for(table: Table) -> None:
    section = table.section(SECTION)
    first, then = Stood(section, (1.5, 1.0), 0.1), Stood(section, (-1.0, 0.5), -0.1)
    begin(table, first, read(table, first, 5))
    at = table.place
    beside = table.section(BESIDE)
    witness = next(mark for mark in beside.locating_marks if mark.kind == "grid")
    # As after a cable that broke: its cross line was sent, and never heard of again.
    line = next(
        piece.stroke.id
        for piece in section.pieces
        if abs(piece.stroke.points - witness.at_table).sum(axis=1).min() < 300
        and np.ptp(piece.stroke.points[:, 0]) < 0.01
        and abs(piece.stroke.points[0, 0] - witness.at_table[0]) < 0.01
    )
    assert line not in table.drawn(SECTION)
    at.record.add_strokes(at.record.runs(SECTION)[-1].id, SECTION, [line], "sent")
    outcome, said = table.inked(then, read(table, then, 6), moved=True)
    assert outcome.ended == "done", said
    assert witness.id not in {mark.id for mark in marks(table, BESIDE)}
    readings = Stood(beside).reads(table.job, [witness, *marks(table, BESIDE)])
    with pytest.raises(BadInputError, match=f"mark {witness.id}: a line of it may lie there twice"):
        from_readings(beside, readings, at.plan, at.layout, at.job, at.record, None)


def test_the_section_beside_one_that_was_moved_is_placed_as_scipy_places_it(table: Table) -> None:
    """All readings, tape marks and shared errors as one problem for scipy's least_squares."""
    moved_midway(table)
    at, section = table.place, table.section(BESIDE)
    readings = read(table, Stood(section, (0.8, -0.6), 0.05), 9)
    stance = from_readings(section, readings, at.plan, at.layout, at.job, at.record, None)
    assert stance.placed is not None
    assert not stance.placed.doubts
    assert by_tape_marks(section, at.record, at.layout, at.plan, at.job).own is None

    stands = standing(at.record, at.layout, at.plan, at.job.units)
    setups, bed = {one.section: one for one in stands.laid}, bed_of(section, table.job.plotter)
    own = [(one.mark, bed.table_of([one.at_bed])[0], one.sd) for one in readings]
    taken = {
        name: [(r.mark, np.array(r.at), r.sd) for r in s.readings] for name, s in setups.items()
    }
    taken[BESIDE] = own
    about = {name: setup.pose.about for name, setup in setups.items()}
    about[BESIDE] = stance.pose.about
    used = {mark for rows in taken.values() for mark, _, _ in rows}
    taped = sorted(mark for mark in used if stands.sights.targets[mark].inked_by is None)
    blocks = list(taken)
    model = ErrorModel()
    nominal = {mark: stands.sights.targets[mark].mark.at_table for mark in taped}
    xs = [one.mark.at_table[0] for one in stands.tape_marks.marks]
    heights = sorted({y for _, y in nominal.values()})
    grades = [*{("x", x) for x, _ in nominal.values()}, *(("y", y) for y in heights)]
    sizes = {"poses": 3 * len(blocks), "marks": 2 * len(taped), "rows": 3 * len(heights)}
    sizes |= {"grades": len(grades), "plotter": 3, "pointer": 2}
    ends = np.cumsum([0, *sizes.values()])
    part = {name: slice(a, b) for name, a, b in zip(sizes, ends[:-1], ends[1:], strict=True)}

    def moved(name: str, values: np.ndarray, point: np.ndarray) -> np.ndarray:
        x, y, turn = values[3 * blocks.index(name) : 3 * blocks.index(name) + 3]
        c, s = np.cos(turn), np.sin(turn)
        along, across, skew = values[part["plotter"]]
        drawn = np.array([[1 + along, skew], [0, 1 + across]]) @ (point - about[name])
        turned: np.ndarray = np.array([[c, -s], [s, c]]) @ drawn + about[name]
        return turned + (x, y)

    def misfits(values: np.ndarray) -> np.ndarray:
        rows = [values[part["plotter"]] / model.scale, values[part["pointer"]] / model.pointer]
        struck = values[part["rows"]].reshape(-1, 3)
        rows.append((struck / (model.row_zero, model.row_ends, model.row_ends)).ravel())
        graduated = dict(zip(grades, values[part["grades"]], strict=True))
        rows.append(values[part["grades"]] * np.sqrt(3) / model.graduation)
        place = {}
        for count, mark in enumerate(taped):
            off = values[part["marks"]][2 * count : 2 * count + 2]
            x, y = nominal[mark]
            share, (zero, first, last) = (x - min(xs)) / np.ptp(xs), struck[heights.index(y)]
            sag = model.row_sag * 4 * share * (1 - share)
            across = first * (1 - share) + last * share + graduated["y", y]
            lies = np.array([zero + graduated["x", x], across])
            rows.append((off - lies) / (model.mark, np.hypot(model.mark, sag)))
            place[mark] = np.array((x, y)) + off
        for name, readings_of in taken.items():
            for mark, point, sd in readings_of:
                target = stands.sights.targets[mark]
                if (lies := place.get(mark)) is None:
                    lines = (target.inked_by, target.crossed_by or target.inked_by)
                    at_table = np.array(target.mark.at_table)
                    inked = [
                        moved(str(by), values, setups[str(by)].pose.inverse(at_table))[axis]
                        for axis, by in enumerate(lines)
                    ]
                    lies = np.array(inked)
                # The cloth gives under the device that reads, and gave under the one that inked.
                given = np.hypot(sd, model.cloth * (1 if mark in place else np.sqrt(2)))
                off = lies - values[part["pointer"]] - moved(name, values, point)
                rows.append(off / given)
        return np.concatenate(rows)

    found = least_squares(misfits, np.zeros(ends[-1]), xtol=1e-14, x_scale="jac")
    x, y, turn = found.x[3 * blocks.index(BESIDE) :][:3]
    assert stance.placed.pose.shift == pytest.approx((x, y), abs=0.003)
    assert stance.placed.pose.turn == pytest.approx(turn, abs=2e-5)


# -- the record, when the clock is set back -----------------------------------------------------


def test_a_clock_set_back_by_a_month_changes_no_placement(tmp_path: Path) -> None:
    """Without tape marks: by locating marks alone, driven section after section."""
    shifts = []
    for name, back in (("even", timedelta(0)), ("back", timedelta(days=30))):
        now = [datetime(2026, 5, 1, tzinfo=UTC)]

        def clock(now: list[datetime] = now) -> datetime:
            now[0] += timedelta(seconds=1)
            return now[0]

        folder = tmp_path / name
        forgiving(folder)
        job = load_job(folder, Job)
        layout = lay_out(job)
        plan = divide_into_sections(layout, job, job.plotter.zone)
        with open_record(folder, clock) as record:
            table = Table(job, Workplace(job, layout, plan, record, Silent()), plan, {})
            first, beside = Stood(table.section(SECTION)), table.section(BESIDE)
            table.inked(first, anyway="by tape")
            stood = Stood(beside, (1.0, 0.5))
            table.inked(stood, stood.reads(job, beside.locating_marks), stops_after=6)
            now[0] -= back
            # No placement is kept now: the run is older, by the clock, than what it goes on from.
            outcome, said = table.inked(stood)
            assert outcome.ended == "done", said
            then = table.section("r1c3")
            readings = Stood(then, (0.4, 0.3)).reads(job, marks(table, then.id))
            stance = from_readings(then, readings, plan, layout, job, record, None)
            shifts.append((stance.pose.shift.tolist(), stance.pose.turn))
    assert shifts[0] == shifts[1]


# -- by the commands -----------------------------------------------------------------------------


@pytest.fixture
def job(tmp_path: Path) -> Path:
    with table_with_marks(tmp_path / "job"):
        return tmp_path / "job"


def killed(folder: Path, readings: Path) -> None:
    """Drives the first section by its readings and kills the command after some strokes."""
    with plotter_at(folder, 60) as port:
        at = int(port[1].rpartition(":")[2])
        kill_in_mid_ink(start_driver(folder, at, ("--readings", str(readings))), folder)


def test_the_same_command_goes_on_after_a_kill_and_a_bump_is_told(
    run_cli: RunCli, job: Path
) -> None:
    readings = readings_file(job, "r.csv", (0.0, 0.0))
    killed(job, readings)
    again = readings_file(job, "again.csv", (0.15, -0.1))
    bumped = readings_file(job, "bumped.csv", (3.0, 0.0))
    told = run_cli("place", "--job", job, "--readings", again)
    assert told.returncode == 0, told.stderr
    assert "nothing has moved" in told.stdout
    told = run_cli("place", "--job", job, "--readings", bumped)
    assert told.returncode == REFUSED
    assert "begun 3.0 mm from where these readings put the device" in told.stderr
    with plotter_at(job, 400) as port:
        words = ["drive", "--job", job, *port, "--unattended", "--section", SECTION]
        done = run_cli(*words, "--readings", bumped)
        assert done.returncode == REFUSED
        assert "say so with --moved" in done.stderr
        done = run_cli(*words, "--readings", readings)
        assert done.returncode == 0, done.stderr
    assert max(cloth_faults(job, made(job))) <= SAMPLING


def test_a_moved_device_is_read_anew_by_keys_where_control_marks_are_set_out(job: Path) -> None:
    given = readings_file(job, "r.csv", (1.5, 1.0))
    killed(job, given)
    with plotter_at(job, 400) as port:
        running = started("drive", "--job", job, *port, "--section", SECTION, "--moved", "--json")
        try:
            running.until("n: no]")
            running.type(ENTER)
            for _ in given.read_text("utf-8").splitlines()[1:]:
                running.until("gives up")
                running.type(ENTER)
            running.until("Find it now? [Enter: yes, n: no]")
            running.type("n")
            assert running.ended() == 0
        finally:
            running.close()
    with open_record(job) as record:
        one, two = record.placements(SECTION)
    assert one.pose["shift"] == pytest.approx((1.5, 1.0), abs=0.05)
    assert two.pose["shift"] == pytest.approx((0.0, 0.0), abs=0.05)


def test_the_command_told_says_moved_no_more_once_the_device_is_placed_anew(
    run_cli: RunCli, job: Path
) -> None:
    """Interrupted over its outline: placed, and nothing inked from there."""
    killed(job, readings_file(job, "r.csv", (1.5, 1.0)))
    anew = readings_file(job, "anew.csv", (0.0, 0.0))
    words = ("--section", SECTION, "--readings", anew)
    with plotter_at(job, 400) as port:
        running = started("drive", "--job", job, *port, *words, "--moved", "--outline")
        try:
            running.until("n: no]")
            running.type(ENTER)
            running.until("That was the outline")
            running.type(CONTROL_C)
            assert running.ended() == INTERRUPTED
        finally:
            running.close()
        _, _, told = running.shown.partition("To go on: ")
        assert f"--readings {anew}" in told, running.shown
        assert "--moved" not in told
        # What it was told goes on; with --moved its readings would pass for old ones.
        done = run_cli("drive", "--job", job, *port, *words, "--unattended")
        assert done.returncode == 0, done.stderr
    with open_record(job) as record:
        one, two = record.placements(SECTION)
        poses = [run.pose for run in record.runs(SECTION)]
    assert poses == [one.detail["inked_with"], two.detail["inked_with"]]
    assert two.pose["shift"] == pytest.approx((0.0, 0.0), abs=0.05)
