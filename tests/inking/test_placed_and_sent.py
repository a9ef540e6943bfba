"""What a device that stands askew is really told, read by interpreters that no one here wrote.

`place` writes a file, `drive` sends bytes, recorded on the cable. hp2xx, ezdxf's HPGL/2 add-on and
pygcode read them; they must draw the layout of `section --json`, carried by the placement that is
kept, within half a device unit. Where the device stands is made up here, and the arithmetic from
table to device is done here anew.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from msgspec import Struct

from devices.commands import main
from devices.driving.port import DeviceError
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.record.record import open_record
from tests.dialects.interpreters import (
    ARITHMETIC,
    HALF_UNIT,
    differences,
    ezdxf_draws,
    hp2xx_draws,
    plain_gcode,
    plain_hpgl,
    pygcode_draws,
)
from tests.driving.side_by_side import way
from tests.driving.tee import teed_plotter
from tests.inking.kills import made as setting_of
from tests.inking.kills import make_job
from tests.job.command_cases import REFUSED

if TYPE_CHECKING:
    from pathlib import Path

    from devices.plotter.profile import Plotter
    from tests.conftest import RunCli
    from tests.dialects.interpreters import Drawn, FloatArray

SHIFT, TURN = np.array([1.6, -1.1]), 0.002
"""Where the device stands beside its place, in mm and radians: more than any line may be off."""
SHORTEST_LEG = 2.0
"""mm: a numeral's strokes are shorter, and stay as they are."""
DEVICE_FAILED = 3
PASSES = {"lines": 1, "heavy": 2, "numerals": 1, "removable": 1}
"""The design's [pens]; `removable` has holder 2 and the rest holder 1."""


class Machine(Struct, frozen=True):
    """A stock plotter as its profile and the job have it."""

    profile: str
    unit: float
    keys: str = ""
    axes: tuple[tuple[float, float], tuple[float, float]] = ((1.0, 0.0), (0.0, 1.0))
    """Table directions of the device's X and Y."""
    ending: str = "hpgl"


MACHINES = {
    "a3": Machine("flatbed-a3", 0.025),
    "turned a quarter": Machine(
        "flatbed-24x36",
        0.02488,
        'axes = ["+y", "-x"]\norigin = "centre"\n',
        ((0.0, 1.0), (-1.0, 0.0)),
    ),
    "gantry": Machine("gantry-gcode", 0.01, ending="gcode"),
}


@dataclass
class Bench:
    """A job, set out, with a device standing askew at its first section."""

    machine: Machine
    folder: Path
    section: dict[str, Any]
    origin: FloatArray
    """The table point at device 0, 0 if it stood as planned."""

    @property
    def axes(self) -> FloatArray:
        declared = np.array(self.machine.axes)
        # Set down turned a quarter anticlockwise, what pointed along the table points across it.
        return declared @ np.array([(0, 1), (-1, 0)]) if self.section["turned"] else declared

    @property
    def turn(self) -> FloatArray:
        cos, sin = np.cos(TURN), np.sin(TURN)
        return np.array([[cos, -sin], [sin, cos]])

    def shown(self, at_table: Any) -> FloatArray:
        """What the display says, in the device's mm, with the pen over a table point."""
        shown: FloatArray = self.axes @ self.turn.T @ (np.array(at_table) - self.origin - SHIFT)
        return shown

    def draws(self, at_device: FloatArray) -> FloatArray:
        """Where device mm (..., 2) come to lie on the table."""
        drawn: FloatArray = at_device @ self.axes @ self.turn.T + self.origin + SHIFT
        return drawn

    def wanted(self, pose: dict[str, Any]) -> Drawn:
        """Every segment by holder in units: the layout, carried by a placement that is kept."""
        by_slot: dict[int, list[FloatArray]] = {}
        about, shift = np.array(pose["about"]), np.array(pose["shift"])
        for stroke in self.section["strokes"]:
            points = pen_way(stroke)
            told = np.linalg.solve(np.array(pose["matrix"]), (points - about - shift).T).T + about
            units = (told - self.origin) @ self.axes.T / self.machine.unit
            slot = 2 if stroke["pen"] == "removable" else 1
            lines = np.stack([units[:-1], units[1:]], axis=1)
            by_slot.setdefault(slot, []).extend(
                [lines] * (1 if "beside" in stroke else PASSES[stroke["pen"]])
            )
        return {slot: np.concatenate(parts) for slot, parts in by_slot.items()}

    def window(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """The usable area in whole units: the window that the section has."""
        corners = np.reshape(self.section["window"], (2, 2)) - self.origin
        units = np.rint(corners @ self.axes.T / self.machine.unit).astype(int)
        (x0, y0), (x1, y1) = units.min(axis=0).tolist(), units.max(axis=0).tolist()
        return (x0, y0), (x1, y1)


@pytest.fixture(scope="module", params=MACHINES, ids=lambda name: name.replace(" ", "-"))
def bench(
    request: pytest.FixtureRequest, run_cli: RunCli, tmp_path_factory: pytest.TempPathFactory
) -> Bench:
    machine = MACHINES[request.param]
    folder = tmp_path_factory.mktemp("askew")
    (folder / "job.toml").write_text(
        '[table]\nlength = "26 in"\nwidth = "17 in"\n[inking]\ntried = "not asked"\n'
        f'[plotter]\nprofile = "{machine.profile}"\n{machine.keys}'
    )
    done = run_cli("control", "--spacing", "3 in", "--job", folder, "--json")
    assert done.returncode in (0, REFUSED), done.stderr
    marks = {mark["id"]: mark["at"] for mark in json.loads(done.stdout)["marks"]}
    cut = json.loads(run_cli("section", "--job", folder, "--json").stdout)
    written = json.loads(run_cli("write", "--hpgl", "--job", folder, "--json").stdout)
    section = cut["sections"][0]
    (file,) = (one for one in written["files"] if one["section"] == section["id"])
    made = Bench(machine, folder, section, np.array(file["origin"]))
    rows = ["section,mark,x_mm,y_mm"]
    for mark in section["control"]:
        x, y = made.shown(marks[mark])
        rows.append(f"{section['id']},{mark},{x:.3f},{y:.3f}")
    assert len(rows) > 3
    (folder / "readings.csv").write_text("\n".join(rows) + "\n")
    return made


def pen_way(stroke: dict[str, Any]) -> FloatArray:
    """Where the pen goes for a stroke, passes side by side among it; heavy lines are 1 mm wide."""
    return way(stroke["points"], len(stroke.get("beside", [0])), 1.0)


def in_one(lines: FloatArray, long: float) -> FloatArray:
    """`lines` with legs of a straight line that are `long` and follow each other made one again.

    A pen plotter is driven along a line in legs; where two meet, rounding may put the line off by
    half a unit.
    """
    runs: list[list[FloatArray]] = []
    for start, end in lines:
        if runs and _goes_on(runs[-1], start, end, long):
            runs[-1].append(end)
        else:
            runs.append([start, end])
    return np.array([[run[0], run[-1]] for run in runs])


def _goes_on(run: list[FloatArray], start: FloatArray, end: FloatArray, long: float) -> bool:
    leg, last, whole = end - start, run[-1] - run[-2], end - run[0]
    if not np.array_equal(run[-1], start) or min(map(np.linalg.norm, (leg, last))) <= long:
        return False
    beside = [abs(whole[0] * at[1] - whole[1] * at[0]) for at in np.array(run[1:]) - run[0]]
    most = (2 * HALF_UNIT + ARITHMETIC) * np.linalg.norm(whole)
    return bool(leg @ last > 0 and max(beside) <= most)


def assert_drawn(bench: Bench, program: bytes, pose: dict[str, Any], folder: Path) -> None:
    """The interpreters draw the layout as the pose carries it, line for line, and on its lines."""
    wanted = bench.wanted(pose)
    if bench.machine.ending == "gcode":
        read: list[Drawn] = [{1: pygcode_draws(plain_gcode(program)) / bench.machine.unit}]
        # Decimals lead back to whole units.
        assert np.abs(read[0][1] - np.rint(read[0][1])).max() < 1e-4
        read = [{1: np.rint(read[0][1])}]
    else:
        plain = plain_hpgl(program)
        read = [ezdxf_draws(plain), hp2xx_draws(plain, bench.window(), folder)]
    for drawn in read:
        assert set(drawn) == set(wanted)
        for slot, lines in wanted.items():
            long = SHORTEST_LEG / bench.machine.unit
            whole, in_legs = in_one(lines, long), in_one(drawn[slot], long)
            found = differences(whole, in_legs, HALF_UNIT + ARITHMETIC)
            assert not found, found[:5]
    # And the pose is the one that the device stands at: what it draws lies on the layout.
    ends = in_one(read[0][1], SHORTEST_LEG / bench.machine.unit)
    off = bench.draws(ends * bench.machine.unit).reshape(-1, 2)
    points = np.concatenate([pen_way(stroke) for stroke in bench.section["strokes"]], axis=0)
    away = np.abs(off[:, None] - points).max(axis=2).min(axis=1)
    assert away.max() < 0.1


def test_a_placed_section_draws_the_layout_carried_to_where_the_device_stands(
    bench: Bench, run_cli: RunCli, tmp_path: Path
) -> None:
    done = run_cli(
        "place", "--job", bench.folder, "--readings", bench.folder / "readings.csv", "--json"
    )
    assert done.returncode == 0, done.stderr
    placed = json.loads(done.stdout)
    assert placed["verdict"] == "ink"
    assert len(placed["files"]) == 1
    program = (bench.folder / placed["file"]).read_bytes()
    assert placed["file"].endswith(f"placed/r1c1.{bench.machine.ending}")
    assert_drawn(bench, program, placed["inked_with"], tmp_path)


def test_the_very_bytes_that_are_sent_draw_the_layout_carried_by_the_kept_placement(
    bench: Bench, run_cli: RunCli, tmp_path: Path
) -> None:
    words = ["--unattended", "--section", "r1c1", "--readings", bench.folder / "readings.csv"]
    with teed_plotter(bench.folder, 3000) as tee:
        done = run_cli("drive", "--job", bench.folder, *words, *tee.words)
    assert done.returncode == 0, done.stderr
    with open_record(bench.folder) as record:
        pose = record.placements("r1c1")[-1].detail["inked_with"]
    assert_drawn(bench, bytes(tee.sent), pose, tmp_path)


class Cut(OnboardPort):
    """A port whose cable is cut at the first byte that would lower the pen."""

    sent = b""

    def write(self, data: bytes) -> None:
        """Sends, up to there."""
        self.sent += data
        if b"PD" in data or b"G1X" in data:
            raise DeviceError("the cable is cut")
        super().write(data)


def plug_in(monkeypatch: pytest.MonkeyPatch, job: Path) -> list[Cut]:
    """Gives drive such ports to open; those that it has opened."""
    ports: list[Cut] = []

    def opened(_: str, plotter: Plotter) -> Cut:
        ports.append(Cut(simulated(plotter, setting_of(job).bed, Cloth()), 2000))
        return ports[-1]

    monkeypatch.setattr("devices.driving.port.open_port", opened)
    return ports


@pytest.mark.parametrize("profile", ["flatbed-a3", "gantry-gcode"])
def test_a_stroke_is_known_as_sent_before_its_first_byte_leaves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, profile: str
) -> None:
    """Else a run that ends there would not know that its ink may lie on the cloth."""
    make_job(tmp_path / "job", profile)
    plug_in(monkeypatch, tmp_path / "job")
    words = ["drive", "--job", str(tmp_path / "job"), "--section", "r1c1", "--unattended"]
    assert main([*words, "--ink-anyway", "a trial", "--port", "any"]) == DEVICE_FAILED
    with open_record(tmp_path / "job") as record:
        events = {kept.event for kept in record.strokes("r1c1")}
    assert events == {"sent"}


def test_a_line_that_moved_under_a_begun_section_stops_the_next_drive_before_any_byte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = tmp_path / "job"
    make_job(job, "flatbed-a3")
    words = ["drive", "--job", str(job), "--section", "r1c1", "--unattended"]
    words += ["--ink-anyway", "a trial", "--port", "any"]
    plug_in(monkeypatch, job)
    assert main(words) == DEVICE_FAILED
    text = (job / "job.toml").read_text()
    (job / "job.toml").write_text(text + '[grid]\nmargin = "1 1/8 in"\n')
    ports = plug_in(monkeypatch, job)
    assert main(words) == REFUSED
    assert not any(port.sent for port in ports)
    (job / "job.toml").write_text(text)
    assert main(words) == DEVICE_FAILED
    assert any(port.sent for port in ports)
