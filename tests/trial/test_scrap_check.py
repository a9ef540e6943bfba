"""A device's own errors: found on a scrap of cloth, and put right in what it is told afterwards.

The sheet's HP-GL is drawn by ezdxf's HPGL/2 interpreter and by hp2xx, its G-code by pygcode, none
of which anyone here wrote, and measured there. Least squares is held against scipy's, the vernier
against its textbook rule.
"""

from __future__ import annotations

import re
import subprocess
from typing import TYPE_CHECKING

import ezdxf
import numpy as np
import pytest
from ezdxf.addons.hpgl2 import api as hpgl2
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from devices.plotter.bed import bed_at
from devices.plotter.correction import (
    RUNS,
    Correction,
    check_from,
    check_record,
    correction_lines,
    solve_square,
    within_reach,
)
from devices.programs.files import program
from devices.simulated.cloth import Cloth
from devices.simulated.gcode import Gantry, SimulatedGantry
from devices.trial.sheet import VERNIER_DIVISIONS, scrap_program, scrap_sheet
from marking.errors import BadInputError, RefusedError
from marking.measures.tape import Tape, reading_covariance
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.dialects.interpreters import differences, pygcode_draws
from tests.driving.side_by_side import way

if TYPE_CHECKING:
    from numpy.typing import NDArray

RULE = Tape(tape_class="I", division=0.5)
"""A steel rule of class I read to half a millimetre."""
TRUE_UNIT, ASSUMED_UNIT = 0.02488, 0.025
CORNERS = {"A": (0, 0), "B": (1, 0), "C": (1, 1), "D": (0, 1)}


@pytest.fixture
def plotter(millrace):
    assert millrace.plotter.unit == ASSUMED_UNIT
    return millrace.plotter


def polylines(written: bytes) -> list[NDArray[np.float64]]:
    """What ezdxf's HPGL/2 add-on draws, in plotter units; it wants the escape first."""
    player = hpgl2.record_plotter_output(b"\x1b%1B" + written, hpgl2.MergeControl.NONE)
    return [
        np.array([(vertex.x, vertex.y) for vertex in data.vertices()])
        for _, _, data in player.recordings()
    ]


def measured_square(written: bytes, true_of_units, rounding: float) -> dict[str, float]:
    """The square's six runs as a person reads them off the cloth, to `rounding` mm."""
    sides = np.array([line[[0, -1]] for line in polylines(written)[:6]]) @ true_of_units.T
    lengths = np.hypot(*(sides[:, 1] - sides[:, 0]).T)
    return {
        run: float(np.round(length / rounding) * rounding)
        for run, length in zip(RUNS, lengths, strict=True)
    }


def runs_of(matrix, side) -> dict[str, float]:
    """Exact lengths of the square's runs when the device draws with `matrix`."""
    at = {name: matrix @ (np.array(corner) * side) for name, corner in CORNERS.items()}
    return {run: float(np.hypot(*(at[run[1]] - at[run[0]]))) for run in RUNS}


def test_a_unit_wrong_by_half_a_per_cent_is_found_and_put_right(plotter, millrace):
    # The machine's unit is 0.02488 mm and it is driven as one of 0.025 mm: all it draws is small.
    truth = np.eye(2) * TRUE_UNIT
    before, sheet = scrap_program(plotter, millrace.pens)
    check = solve_square(measured_square(before, truth, 0.5), sheet.side, RULE)
    found, sd = check.correction, check.correction.sd
    assert found.scale_x == pytest.approx(TRUE_UNIT / ASSUMED_UNIT, abs=2 * sd[0])
    assert found.scale_y == pytest.approx(TRUE_UNIT / ASSUMED_UNIT, abs=2 * sd[1])
    assert check.certain == (True, True, False)
    after, again = scrap_program(plotter, millrace.pens, check.applied)
    remaining = measured_square(after, truth, 1e-9)
    ideal = runs_of(np.eye(2), again.side)
    for run in RUNS:
        assert abs(remaining[run] - ideal[run]) < 2 * sd[0] * ideal[run] + TRUE_UNIT
        assert (
            abs(remaining[run] - ideal[run])
            < abs(measured_square(before, truth, 1e-9)[run] - ideal[run]) / 3
        )


def test_a_corrected_section_lies_truly_where_the_table_says(plotter, millrace, millrace_layout):
    truth = np.eye(2) * TRUE_UNIT
    sheet_bytes, sheet = scrap_program(plotter, millrace.pens)
    check = solve_square(measured_square(sheet_bytes, truth, 0.25), sheet.side, RULE)
    reach = within_reach(plotter, check.applied)
    plan = divide_into_sections(millrace_layout, millrace, reach.zone)
    section = plan.sections[len(plan.sections) // 2]
    written, bed = program(section, plotter, millrace.pens, check.applied)
    drawn = np.concatenate(polylines(written)) * TRUE_UNIT + bed.origin_table
    plain, plain_bed = program(section, plotter, millrace.pens)
    uncorrected = np.concatenate(polylines(plain)) * TRUE_UNIT + plain_bed.origin_table
    wanted = np.concatenate([piece.stroke.points for piece in section.pieces])

    def furthest(points):
        return max(np.hypot(*(wanted - p).T).min() for p in points[:: max(len(points) // 400, 1)])

    assert furthest(drawn) < 0.35
    assert furthest(uncorrected) > 1.0


def test_hp2xx_draws_the_sheet_without_complaint(plotter, millrace, tmp_path):
    written, sheet = scrap_program(plotter, millrace.pens)
    (tmp_path / "sheet.hpgl").write_bytes(written)
    done = subprocess.run(
        ["hp2xx", "-q", "-t", "-m", "dxf", "-f", "sheet.dxf", "sheet.hpgl"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    lines = ezdxf.readfile(tmp_path / "sheet.dxf").modelspace()
    longest = max(e.dxf.start.distance(e.dxf.end) for e in lines)
    assert longest == pytest.approx(sheet.side * np.sqrt(2), abs=0.05)


@pytest.mark.parametrize("profile", ["flatbed-a3", "flatbed-a4", "flatbed-24x36", "roll-36"])
def test_every_stock_plotter_has_a_sheet_inside_its_bed(make_job, profile):
    job = make_job(
        {"table": {"length": "150 in", "width": "64 in"}, "plotter": {"profile": profile}}
    )
    written, sheet = scrap_program(job.plotter, job.pens)
    units = np.concatenate(polylines(written)) * job.plotter.unit
    assert (np.ptp(units, axis=0) <= np.array(job.plotter.bed_size)).all()
    # Square, verniers and samples keep clear of the diagonals, which are measured along.
    points = np.concatenate([d.points for d in sheet.drawings[6:]]) - 4.0
    off = np.abs([points[:, 0] - points[:, 1], points.sum(axis=1) - sheet.side]).min()
    assert off / np.sqrt(2) > 1.0


def test_a_gantrys_sheet_is_drawn_measured_and_put_right_in_its_own_dialect(make_job):
    # Its steps a millimetre are set half a per cent wrong along X, and Y leans by 1 mm in 500.
    truth = np.array([[0.995, 0.002], [0.0, 1.0]])
    job = make_job(
        {
            "table": {"length": "150 in", "width": "64 in"},
            "plotter": {"profile": "gantry-gcode"},
            "pens": {"numerals": {"speed": "40 mm/s"}},
        }
    )

    def rehearsed(written):
        """What lies on the cloth, line by line: the machine draws what it is told, wrongly."""
        machine = SimulatedGantry(Gantry(10**7, high=job.plotter.bed_size), Cloth())
        machine.receive(written, 0.0)
        machine.advance(1e6)
        assert machine.carriage.at == pytest.approx((0, 0))
        drawn = [segments(np.array(ink.path)) for ink in machine.carriage.cloth.ink]
        return np.concatenate(drawn) @ truth.T

    def measured(lines, rounding):
        lengths = [np.hypot(*(end - start)) for start, end in lines[:6]]
        return {
            run: float(np.round(length / rounding) * rounding)
            for run, length in zip(RUNS, lengths, strict=True)
        }

    written, sheet = scrap_program(job.plotter, job.pens)
    told = pygcode_draws(written)
    wanted = [part for drawing in sheet.drawings for part in as_drawn(drawing)]
    assert not differences(np.concatenate(wanted), told, job.plotter.unit / 2 + 1e-6)
    # Every sample is drawn at the speed that is lettered on it: F is mm a minute.
    feeds = {float(word) / 60 for word in re.findall(rb"F(\d+)", written)}
    assert feeds == {80.0, 40.0, 20.0}

    found = solve_square(measured(rehearsed(written), 0.25), sheet.side, RULE)
    for had, is_so in zip(
        (found.correction.scale_x, found.correction.scale_y, found.correction.skew),
        (0.995, 1.0, 0.002),
        strict=True,
    ):
        assert had == pytest.approx(is_so, abs=3e-4)
    assert found.certain == (True, False, True)
    after, again = scrap_program(job.plotter, job.pens, found.applied)
    left = measured(rehearsed(after), 1e-9)
    for run, length in runs_of(np.eye(2), again.side).items():
        assert left[run] == pytest.approx(length, abs=0.25)


def as_drawn(drawing):
    """The parts of a drawing: a line's passes side by side, lettering over itself."""
    pen = drawing.pen
    if drawing.as_a_line:
        return [segments(way(drawing.points, pen.passes, pen.width))]
    return [segments(drawing.points)] * pen.passes


def segments(points):
    """A polyline's parts (n, 2 ends, 2) in mm."""
    return np.stack([points[:-1], points[1:]], axis=1)


def test_a_bed_too_small_for_a_square_worth_measuring_is_refused(plotter, millrace):
    with pytest.raises(RefusedError, match="too small to measure"):
        scrap_sheet(plotter.model_copy(update={"y_size": 100.0}), millrace.pens)


def test_every_pen_shows_its_line_at_full_and_at_half_speed(plotter, millrace):
    sheet = scrap_sheet(plotter, millrace.pens)
    speeds = {}
    for drawing in sheet.drawings:
        speeds.setdefault(drawing.name, set()).add(drawing.pen.speed)
    for name in ("lines", "heavy", "numerals", "removable"):
        assert speeds[name] - {None} == {80.0, 40.0}


def test_a_vernier_reads_a_tenth_of_the_pitch(plotter, millrace):
    # The direct vernier of the textbooks: ten divisions of it span nine of the main scale, and
    # the line that coincides tells the tenths. Drawn lines are compared; no formula is.
    (vernier,) = (v for v in scrap_sheet(plotter, millrace.pens).verniers if v.name == "X")
    main = np.arange(-5, 6) * vernier.pitch
    finer = np.arange(-5, 6) * vernier.pitch * 9 / 10
    assert np.ptp(finer) == pytest.approx(vernier.pitch * 9)
    for k in range(-5, 6):
        misfit = k * vernier.pitch / VERNIER_DIVISIONS
        coincides = int(np.abs(finer + misfit - main).argmin()) - 5
        assert coincides == k
        assert vernier.misfit(coincides) == pytest.approx(misfit)
    with pytest.raises(RefusedError, match="-5 to 5"):
        vernier.misfit(6)


def test_the_drawn_verniers_have_the_two_pitches_and_start_with_no_misfit(plotter, millrace):
    sheet = scrap_sheet(plotter, millrace.pens)
    vernier = sheet.verniers[0]
    upright = [
        d.points
        for d in sheet.drawings[6:]
        if len(d.points) == 2 and d.points[0, 0] == d.points[1, 0] and d.points[0, 1] < 50
    ]
    below = sorted({p[0, 0] for p in upright if p[1, 1] < p[0, 1]})[:11]
    above = sorted({p[0, 0] for p in upright if p[1, 1] > p[0, 1]})[:11]
    np.testing.assert_allclose(np.diff(below), vernier.pitch)
    np.testing.assert_allclose(np.diff(above), 0.9 * vernier.pitch)
    assert below[5] == pytest.approx(above[5])


def test_scales_and_skew_come_out_as_scipys_least_squares_has_them():
    rng = np.random.default_rng(11)
    side = 264.0
    truth = np.array([[1.0031, 0.0021], [0.0, 0.9978]])
    covariance = reading_covariance(list(runs_of(np.eye(2), side).values()), RULE)
    shown = {
        run: length + noise
        for (run, length), noise in zip(
            runs_of(truth, side).items(), rng.normal(0, 0.1, 6), strict=True
        )
    }
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))

    def misfit(u):
        runs = runs_of(np.array([[u[0], u[2]], [0, u[1]]]), side)
        return whiten @ (np.array([runs[r] for r in RUNS]) - [shown[r] for r in RUNS])

    best = optimize.least_squares(
        misfit, [1, 1, 0], x_scale=1e-3, xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    found = solve_square(shown, side, RULE).correction
    np.testing.assert_allclose([found.scale_x, found.scale_y, found.skew], best.x, atol=1e-8)
    np.testing.assert_allclose(
        found.covariance, np.linalg.inv(best.jac.T @ best.jac), rtol=1e-4, atol=1e-10
    )


def test_the_stated_uncertainty_is_that_of_many_measured_sheets():
    rng = np.random.default_rng(3)
    side, truth = 264.0, np.array([[0.9952, 0.0], [0.0, 0.9952]])
    exact = np.array(list(runs_of(truth, side).values()))
    covariance = reading_covariance(exact, RULE)
    found = []
    for noise in rng.multivariate_normal(np.zeros(6), covariance, 400):
        shown = dict(zip(RUNS, exact + noise, strict=True))
        try:
            correction = solve_square(shown, side, RULE).correction
        except RefusedError:
            continue
        found.append([correction.scale_x, correction.scale_y, correction.skew])
    assert len(found) > 385
    np.testing.assert_allclose(np.std(found, axis=0), correction.sd, rtol=0.1)


@pytest.mark.parametrize("run", RUNS)
def test_one_misread_run_is_named(run):
    # Only the two diagonals cannot be told apart, since a skew would move them so.
    shown = runs_of(np.eye(2) * 0.9952, 264.0)
    shown[run] += 3.0
    named = "AC and BD" if run in ("AC", "BD") else run
    with pytest.raises(RefusedError, match=f"Measure {named} again: .* would fit"):
        solve_square(shown, 264.0, RULE)


def test_a_good_device_is_left_alone():
    check = solve_square(runs_of(np.eye(2), 264.0), 264.0, RULE)
    assert check.certain == (False, False, False)
    assert check.applied is None
    assert all("left alone" in line for line in correction_lines(check))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"AB": None}, "AB: not measured"),
        ({"XY": 1.0}, "XY: no such run"),
        ({"AC": 10.39}, "AC = 10.4 mm: should be near 373.4 mm"),
        ({"BD": float("nan")}, "BD = nan"),
    ],
)
def test_runs_that_cannot_be_are_refused_by_name(change, said):
    shown = {**runs_of(np.eye(2), 264.0), **change}
    with pytest.raises(BadInputError, match=said):
        solve_square({k: v for k, v in shown.items() if v is not None}, 264.0, RULE)


@given(
    scales=st.tuples(st.floats(0.98, 1.02), st.floats(0.98, 1.02)),
    skew=st.floats(-0.01, 0.01),
    origin=st.sampled_from(["corner", "centre"]),
    axes=st.sampled_from([("+x", "+y"), ("-x", "+y"), ("+y", "-x"), ("-y", "-x")]),
    where=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=5),
)
def test_a_corrected_bed_puts_every_point_truly_in_place(
    millrace, scales, skew, origin, axes, where
):
    plotter = millrace.plotter.model_copy(update={"origin": origin, "axes": axes})
    correction = Correction(*scales, skew, ((0, 0, 0),) * 3)
    width, height = within_reach(plotter, correction).window_size
    window = (100.0, 50.0, 100.0 + width, 50.0 + height)
    bed = bed_at(plotter, window, correction)
    points = np.array(where) * (width - 0.1, height - 0.1) + (100.05, 50.05)
    told = bed.units(points, "here") * plotter.unit
    signs = np.zeros((2, 2))
    for device, axis in enumerate(axes):
        signs[device, "xy".index(axis[1])] = 1 if axis[0] == "+" else -1
    drawn = told @ correction.true_of_nominal.T @ signs + bed.origin_table
    assert np.abs(drawn - points).max() <= plotter.unit / 2 * 1.04
    # No device is ever sent outside its own bed, in its own count.
    span = np.ceil(np.array(plotter.bed_size) / plotter.unit)
    assert (np.subtract(bed.high, bed.low) <= span).all()


def test_a_window_that_the_corrected_bed_no_longer_covers_is_refused(plotter):
    correction = Correction(0.9952, 0.9952, 0.0, ((0, 0, 0),) * 3)
    width, height = plotter.window_size
    with pytest.raises(RefusedError, match="cut the sections anew"):
        bed_at(plotter, (0, 0, width, height), correction)


def test_the_correction_is_kept_in_the_job_and_comes_back_the_same(tmp_path, plotter):
    check = solve_square(runs_of(np.eye(2) * 0.9952, 264.0), 264.0, RULE)
    with open_record(tmp_path) as record:
        record.add_check("abc", "device", plotter.name, check_record(check))
        kept = record.checks("device", plotter.name)[-1].result
    assert check_from(kept) == check
    with pytest.raises(BadInputError, match="check the device again"):
        check_from({"scale_x": "wide"})
