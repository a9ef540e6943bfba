"""One Millrace job walked from the first tape mark on by a simulated plotter, tape and cloth."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from marking.arrays import FloatArray
    from tests.conftest import RunCli

UNIT, SOLD_AS = 0.02488, 0.025
TRUE = UNIT / SOLD_AS
TAPE_SD, READING_SD = 0.2, 0.25
INKED = ("r1c1", "r1c2", "r1c3", "r1c4")
TOLERANCE = 25.4 / 16
AS_SET = ("--spacing", "3 in", "--join-rows", "2")


@dataclass
class Device:
    """Where the plotter really stands for one section: shift in mm, turn in radians."""

    low: FloatArray
    shift: FloatArray
    turn: float

    def _rotation(self) -> FloatArray:
        cos, sin = np.cos(self.turn), np.sin(self.turn)
        return np.array([[cos, -sin], [sin, cos]])

    def shown(self, at_table: FloatArray) -> FloatArray:
        """What the machine's display says, in its own mm, with the pen at a table point."""
        own = (at_table - self.low - self.shift) @ self._rotation()
        shown: FloatArray = own / TRUE
        return shown

    def draws(self, units: FloatArray) -> FloatArray:
        """Where HP-GL coordinates end up on the table."""
        drawn: FloatArray = (units * UNIT) @ self._rotation().T + self.low + self.shift
        return drawn


@dataclass
class Walk:
    """The job's folder, what each step answered, and what was really laid on the cloth."""

    folder: Path
    answers: dict[str, Any]
    devices: dict[str, Device]
    readings: dict[str, dict[str, FloatArray]]


def ask(run_cli: RunCli, folder: Path, *words: str | Path, code: int = 0) -> Any:
    done = run_cli(*words, "--json", "--job", folder)
    assert done.returncode == code, (words, done.stderr, done.stdout[:600])
    return json.loads(done.stdout)


def readings_file(folder: Path, name: str, readings: dict[str, FloatArray]) -> Path:
    lines = ["section,mark,x_mm,y_mm"]
    lines += [f"{name},{mark},{at[0]:.3f},{at[1]:.3f}" for mark, at in readings.items()]
    path = folder / f"{name}.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def measured_file(folder: Path, name: str, lengths: dict[str, float]) -> Path:
    path = folder / f"{name}.toml"
    rows = [f'{key} = "{length:.2f} mm"' for key, length in lengths.items()]
    path.write_text("\n".join(["[measured]", *rows]) + "\n", "utf-8")
    return path


def laid(mark: FloatArray, device: Device, answer: Any) -> FloatArray:
    """Where a planned point of an inked section really lies: the machine draws what it is told."""
    pose = answer["inked_with"]
    matrix, about = np.array(pose["matrix"]), np.array(pose["about"])
    told = np.linalg.solve(matrix, mark - about - np.array(pose["shift"])) + about
    return device.draws((told - device.low) / UNIT)
