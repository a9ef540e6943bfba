"""A bed set down turned a quarter draws its section where the layout has it, its own errors undone.

What stands for the machine on the table is arithmetic of its own: a simulated plotter or gantry
lays ink in its own frame, with a scale of its own along each axis and a lean, and stands on the
table turned a quarter and a little beside where it was to be set down. It is told only what the
commands write, and read only as `place` asks.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.spatial import cKDTree

from devices.commands import main
from devices.history import device_name, kept_correction
from devices.job import Job
from devices.machine_zones import divided
from devices.plotter.bed import bed_of
from devices.plotter.correction import RUNS, check_record, solve_square
from devices.projector.light.throw import beam_zone
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import simulated
from devices.trial.sheet import scrap_sheet
from marking.begun.on_the_cover import plan_hash
from marking.drawing.svg import svg
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.output.layout_json import plan_record
from marking.output.report import record as report_record
from marking.output.report import section_table
from marking.output.table_picture import table_picture
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from tests.conftest import toml
from tests.driving.machines import command_json
from tests.inking.kills import samples

if TYPE_CHECKING:
    from pathlib import Path

    from devices.plotter.bed import Bed
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob

TABLE = {
    "table": {"length": "20 in", "width": "14 in"},
    "grid": {"pitch": "2 in", "margin": "1 1/2 in", "heavy_every": 0},
    "hems": {"depth": "3 in", "folds": []},
    "pens": {"removable": {"slot": 1, "width": "0.5 mm"}},
}
PLOTTERS: dict[str, dict[str, Any]] = {
    "HP-GL": {"profile": "flatbed-a3"},
    "HP-GL, its profile turned already and counted from the centre": {
        "profile": "flatbed-a3",
        "x_size": "272 mm",
        "y_size": "400 mm",
        "axes": ["+y", "-x"],
        "origin": "centre",
    },
    "G-code": {"profile": "gantry-gcode", "x_size": "400 mm", "y_size": "272 mm"},
}
TRUE = np.array([[0.988, 0.008], [0.0, 1.011]])
"""What this machine lays on the cloth of what it is told: short along X, long along Y, leaning."""
SHIFT = np.array([0.8, -0.5])
TURN = np.array([[math.cos(0.002), math.sin(0.002)], [-math.sin(0.002), math.cos(0.002)]])
"""How it stands beside its place: as points, turned about the zero corner and then shifted."""
OFF_BY = 0.35
"""mm: a plotter unit, half a pitch of the samples, and what four readings leave to rounding."""


@pytest.mark.parametrize("named", PLOTTERS)
def test_a_turned_and_corrected_machine_inks_what_the_layout_has(
    tmp_path: Path, named: str
) -> None:
    keys = PLOTTERS[named]
    (tmp_path / "job.toml").write_text(toml({**TABLE, "plotter": keys}), "utf-8")
    job = load_job(tmp_path, Job)
    measure_on_scrap(tmp_path, job)
    main(["control", "--job", str(tmp_path), "--spacing", "2 in"])
    axes = turned_axes(keys.get("axes", ["+x", "+y"]))
    sections = command_json("section", "--job", str(tmp_path))["sections"]
    for section, bed in zip(sections, beds(tmp_path, job), strict=True):
        assert section["turned"]
        origin = np.array(bed.origin_table)
        places = marks(tmp_path, section)
        stood = (places - SHIFT) @ TURN.T
        told = np.linalg.solve(TRUE, ((stood - origin) @ axes.T).T).T
        readings = tmp_path / "readings.csv"
        rows = [
            f"{section['id']},{name},{x:.3f},{y:.3f}"
            for name, (x, y) in zip(section["control"], told.tolist(), strict=True)
        ]
        readings.write_text("\n".join(["section,mark,x_mm,y_mm", *rows]), "utf-8")
        placed = ["place", "--job", str(tmp_path), "--readings", str(readings), "--accept"]
        assert main(placed) == 0
        (program,) = (tmp_path / "out" / "placed").glob(f"{section['id']}.[hg]*")
        laid = samples(inked(job, bed, program.read_bytes()))
        there = (laid @ TRUE.T @ axes + origin) @ TURN + SHIFT
        wanted = samples(
            [np.array(s["points"]) for s in section["strokes"] if s["layer"] != "witness"]
        )
        assert cKDTree(there).query(wanted)[0].max() <= OFF_BY
        assert cKDTree(wanted).query(there)[0].max() <= OFF_BY
        assert main(["place", "--job", str(tmp_path), "--inked", section["id"], "--accept"]) == 0


def turned_axes(declared: list[str]) -> FloatArray:
    """(2, 2): the table directions of a device's X and Y, turned anticlockwise, one a row."""
    ways = {"x": (1.0, 0.0), "y": (0.0, 1.0)}
    rows = np.array([(1 if axis[0] == "+" else -1) * np.array(ways[axis[1]]) for axis in declared])
    return np.asarray(rows @ np.array([[0.0, 1.0], [-1.0, 0.0]]))


def measure_on_scrap(folder: Path, job: Job) -> None:
    """Keeps what a tape shows of the square that this machine draws when it is told a true one."""
    side = scrap_sheet(job.plotter, job.pens).side
    corners = {"A": (0.0, 0.0), "B": (side, 0.0), "C": (side, side), "D": (0.0, side)}
    laid = {name: TRUE @ np.array(corner) for name, corner in corners.items()}
    runs = {run: math.dist(laid[run[0]], laid[run[1]]) for run in RUNS}
    with open_record(folder) as record:
        check = check_record(solve_square(runs, side, Tape()))
        record.add_check("", "device", device_name(job.plotter), check)


def beds(folder: Path, job: Job) -> list[Bed]:
    """The beds of the sections in their order; only their origins and limits are used."""
    correction = kept_correction(folder, job)
    assert correction is not None
    assert (correction.scale_x, correction.scale_y, correction.skew) != (1.0, 1.0, 0.0)
    plan = divided("plotter", lay_out(job), job, correction)
    return [bed_of(section, job.plotter, correction) for section in plan.sections]


def marks(folder: Path, section: dict[str, Any]) -> FloatArray:
    """(n, 2): where the tape marks that a section reaches lie on the table."""
    listed = command_json("control", "--job", str(folder), "--only-look", "--spacing", "2 in")
    at = {mark["id"]: mark["at"] for mark in listed["marks"]}
    return np.array([at[name] for name in section["control"]])


def inked(job: Job, bed: Bed, program: bytes) -> list[FloatArray]:
    """What a simulated machine draws of a program, in mm along its own axes, line by line."""
    cloth = Cloth()
    machine = simulated(job.plotter, bed, cloth)
    now = 0.0
    for line in program.splitlines(keepends=True):
        machine.receive(line, now)
        now += 60.0
        machine.advance(now)
        machine.reply()
    assert not machine.carriage.down
    return [np.array(ink.path) for ink in cloth.ink]


def turned_plan(make_job: MakeJob) -> tuple[Job, Layout, Plan]:
    job = make_job({**TABLE, "plotter": {"profile": "flatbed-a3"}})
    layout = lay_out(job)
    return job, layout, divide_into_sections(layout, job, job.plotter.zone)


def test_the_set_down_list_the_picture_and_the_records_say_that_it_is_turned(
    make_job: MakeJob,
) -> None:
    job, layout, plan = turned_plan(make_job)
    said = "\n".join(section_table(plan, job, layout))
    assert "Turn the device a quarter anticlockwise" in said
    assert "| 1 | r1c1 turned |" in said
    record = plan_record(plan)
    assert record["turned"]
    assert all(section["turned"] for section in record["sections"])
    assert report_record(layout, job, plan)["turned"]
    straight = divide_into_sections(layout, job, replace(job.plotter.zone, turned_home=None))
    assert not plan_record(straight)["turned"]
    assert "anticlockwise" not in "\n".join(section_table(straight, job, layout))
    shown, unturned = (svg(table_picture(layout, job, one)) for one in (plan, straight))
    assert shown.count(b'-turned"') == len(plan.sections)
    assert b'-turned"' not in unturned
    assert plan_hash(plan) != plan_hash(straight)


def test_an_arm_and_a_beam_are_not_turned(make_job: MakeJob) -> None:
    job = make_job({**TABLE, "reach": {"depth": "8 in", "span": "12 in"}})
    for zone in (reach_zone(job.reach), beam_zone(job.reach, job.projector)):
        assert zone.ways_round == (zone,)
