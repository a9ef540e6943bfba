"""What is certainly drawn on the cover, by the record of the job or of a rehearsal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import plan_of
from devices.history import has_record, kept_correction
from marking.record.record import open_record

if TYPE_CHECKING:
    from pathlib import Path

    from devices.bench.machine import Machine
    from devices.job import Job
    from marking.layout.layout import Layout

Line = list[list[float]]


def drawn_lines(folder: Path, job: Job, layout: Layout, machine: Machine) -> list[Line]:
    """Each drawn stroke's points, table frame, mm, where its section was planned to lie."""
    from devices.inking.rehearsal import FOLDER

    # Once a rehearsal is over, what is shown is the cover's own ink again.
    kept = folder / FOLDER if machine.rehearsal and machine.is_running else folder
    if not has_record(kept):
        return []
    plan = plan_of(folder, "plotter", job, layout, kept_correction(folder, job))
    with open_record(kept) as record:
        drawn = {
            (one.section, one.stroke)
            for one in record.strokes()
            if one.event in ("drawn", "presumed")
        }
    return [
        piece.stroke.points.tolist()
        for section in plan.sections
        for piece in section.pieces
        if (section.id, piece.stroke.id) in drawn
    ]
