"""Whatever ends a drive, the cloth gets every stroke, none elsewhere, and little of it twice."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest
from kills import cloth_faults, drive_with_kills, made, make_job

if TYPE_CHECKING:
    from pathlib import Path

KILLS = 17
SAMPLING = 0.06
"""mm: cloth and strokes are compared at points this far apart."""


@pytest.mark.parametrize(
    ("plotter", "shortest"), [("flatbed-a4", 14), ("flatbed-a3", 14), ("gantry-gcode", 30)]
)
def test_kills_of_driver_plotter_and_cable_leave_every_stroke_on_the_cloth_and_none_displaced(
    tmp_path: Path, plotter: str, shortest: int
) -> None:
    rng = random.Random(f"{plotter} 1")
    kills, section = 0, None
    for round_number in range(KILLS):
        if kills >= KILLS:
            break
        folder = tmp_path / f"job{round_number}"
        make_job(folder, plotter)
        section = section or made(folder)
        tally = drive_with_kills(folder, rng, KILLS - kills)
        kills += tally.kills
        missing, displaced = cloth_faults(folder, section)
        assert missing <= SAMPLING
        assert displaced <= SAMPLING
        assert tally.worst_retraced <= section.limits.buffer_bytes // shortest
    assert kills >= KILLS
