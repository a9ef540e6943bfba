"""Machines that the Millrace bench is written for, and what each plot of it must draw.

What is written comes from the command, as does what it must draw; a machine's facts come from
its profile. The arithmetic from table to device is done here anew, and only here.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import tomllib
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from devices.commands import main
from marking.job.folder import JOB_FILE
from marking.shipped_files import stock
from tests.conftest import MILLRACE
from tests.driving.side_by_side import way

if TYPE_CHECKING:
    from pathlib import Path

    from marking.arrays import FloatArray

    Drawn = dict[int, FloatArray]
    """Segments (n, 2 ends, 2) in plotter units by pen holder."""

PENS = """
[pens]
lines = { slot = 1, width = "1 mm", speed = "80 mm/s", force = 3 }
heavy = { slot = 3, width = "2 mm", speed = "60 mm/s", passes = 3, force = 4 }
numerals = { slot = 2, width = "0.8 mm", speed = "60 mm/s", force = 2 }
removable = { slot = 4, width = "0.5 mm", force = 1 }
"""
SAME_PENS = {
    "lines": (1, 1, 1.0),
    "heavy": (1, 2, 1.0),
    "numerals": (1, 1, 0.8),
    "removable": (2, 1, 0.5),
}
"""Holder, passes and tip in mm of each pen that Millrace does not name: the design's job.toml."""
FOUR_PENS = {
    "lines": (1, 1, 1.0),
    "heavy": (3, 3, 2.0),
    "numerals": (2, 1, 0.8),
    "removable": (4, 1, 0.5),
}


FLIP = {"+": {}, "-": str.maketrans("+-", "-+")}
"""By an axis's sign: what its turned direction's sign becomes."""


class Machine(Struct, frozen=True):
    """A stock plotter, or one with keys of its own, the pens it holds and what else it draws."""

    profile: str
    keys: str = ""
    pens: str = ""
    held: tuple[tuple[str, tuple[int, int, float]], ...] = tuple(SAME_PENS.items())
    grid: str = ""
    table: str = ""
    """The `[table]` to mark instead of the Millrace bench's."""


NARROW = '[table]\nlength = "150 in"\nwidth = "33 in"\n'
"""What a 36 in carriage takes."""
MACHINES = {
    "a3 desk plotter": Machine("flatbed-a3"),
    "60-byte a4 desk plotter": Machine("flatbed-a4"),
    "units of 0.02488 mm and four pens": Machine(
        "flatbed-24x36", pens=PENS, held=tuple(FOUR_PENS.items())
    ),
    "roll counted from its centre": Machine("roll-36", table=NARROW),
    "turned a quarter, with every kind of line": Machine(
        "flatbed-24x36",
        'axes = ["+y", "-x"]\norigin = "centre"',
        grid='half_ticks = true\nbias = [0, 60]\nlong_lines = "full"',
    ),
    "x running towards the zero end": Machine("flatbed-a3", 'axes = ["-x", "+y"]'),
}


class Plot(Struct, frozen=True):
    """One section's HP-GL, and everything needed to say what it must draw."""

    id: str
    program: bytes
    strokes: list[dict[str, Any]]
    """As `section --json` gives them, table frame."""
    window: tuple[float, float, float, float]
    origin: tuple[float, float]
    facts: dict[str, Any]
    """The plotter's keys: its stock profile's, and the job's own over them."""
    pens: dict[str, tuple[int, int, float]]
    turned: bool = False
    """Whether `section --json` has the device turned a quarter anticlockwise from its profile."""

    @property
    def axes(self) -> list[str]:
        """Table directions of the device's X and Y as it stands."""
        declared = self.facts.get("axes", ["+x", "+y"])
        if not self.turned:
            return list(declared)
        # Anticlockwise, what pointed along the table points across it, and what pointed across
        # points back along it.
        return [{"x": "+y", "y": "-x"}[a[1]].translate(FLIP[a[0]]) for a in declared]

    @property
    def unit(self) -> float:
        return float(self.facts["unit"].removesuffix(" mm"))

    def device_mm(self, points_table: Any) -> FloatArray:
        """Table points as distances along the device's own axes from its zero."""
        away = np.asarray(points_table, dtype=float) - self.origin
        return np.stack(
            [(1 if axis[0] == "+" else -1) * away[..., "xy".index(axis[1])] for axis in self.axes],
            axis=-1,
        )

    def on_table(self, units: FloatArray) -> FloatArray:
        """Device units as table points: the inverse of `device_mm`."""
        table = np.empty_like(units)
        for device, axis in enumerate(self.axes):
            sign, along = (1 if axis[0] == "+" else -1), "xy".index(axis[1])
            table[..., along] = self.origin[along] + sign * units[..., device] * self.unit
        return table

    @property
    def usable(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """Least and greatest whole units inside the usable area: the window the section has."""
        corners = self.device_mm(np.reshape(self.window, (2, 2))) / self.unit
        low, high = corners.min(axis=0), corners.max(axis=0)
        return (
            (math.ceil(low[0] - 1e-6), math.ceil(low[1] - 1e-6)),
            (math.floor(high[0] + 1e-6), math.floor(high[1] + 1e-6)),
        )

    def wanted(self) -> Drawn:
        """Every segment the section's strokes ask for, exact, as often as its pen passes."""
        by_slot: dict[int, list[FloatArray]] = {}
        for stroke in self.strokes:
            slot, passes, width = self.pens[stroke["pen"]]
            exact = self.device_mm(way(stroke["points"], passes, width)) / self.unit
            by_slot.setdefault(slot, []).append(segments(exact))
        return {slot: np.concatenate(parts) for slot, parts in by_slot.items()}


def segments(points: FloatArray) -> FloatArray:
    """A polyline's parts (n, 2 ends, 2)."""
    return np.stack([points[:-1], points[1:]], axis=1)


def command_json(*words: str) -> Any:
    """What the command prints with `--json`."""
    printed, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = main([*words, "--json"])
    assert code == 0, said.getvalue()
    return json.loads(printed.getvalue())


def _job_text(machine: Machine) -> str:
    plotter_line, grid_line = 'profile = "flatbed-a3"', "heavy_every = 12"
    assert MILLRACE.count(plotter_line) == MILLRACE.count(grid_line) == 1
    table = MILLRACE
    if machine.table:
        table = f"{MILLRACE[: MILLRACE.index('[table]')]}{machine.table}\n"
        table += MILLRACE[MILLRACE.index("[grid]") :]
    plotter = f'profile = "{machine.profile}"\n{machine.keys}\n{machine.pens}'
    grid = f"{grid_line}\n{machine.grid}"
    return table.replace(plotter_line, plotter).replace(grid_line, grid)


def write_plots(name: str, folder: Path) -> list[Plot]:
    """Writes the Millrace job and its HP-GL for the machine of this name into `folder`."""
    machine = MACHINES[name]
    (folder / JOB_FILE).write_text(_job_text(machine), "utf-8")
    sections = command_json("section", "--job", str(folder))["sections"]
    listed = command_json("write", "--job", str(folder), "--hpgl")["files"]
    files = {file["section"]: file for file in listed if file["path"].endswith(".hpgl")}
    assert set(files) == {section["id"] for section in sections}
    profile = stock().joinpath("plotters", f"{machine.profile}.toml").read_text("utf-8")
    facts = {**tomllib.loads(profile), **tomllib.loads(machine.keys)}
    return [
        Plot(
            section["id"],
            (folder / "out" / files[section["id"]]["path"]).read_bytes(),
            section["strokes"],
            tuple(section["window"]),
            tuple(files[section["id"]]["origin"]),
            facts,
            dict(machine.held),
            section["turned"],
        )
        for section in sections
    ]
