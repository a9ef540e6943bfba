"""What is certainly drawn on the cover, by the record of the job or of a rehearsal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import plan_of, work_of
from devices.history import has_record, kept_correction
from marking.begun.inked import drawn_pieces, ink_name
from marking.mending.mend import mends
from marking.record.record import open_record
from marking.sections.mended import mended_name

if TYPE_CHECKING:
    from pathlib import Path

    from devices.bench.machine import Machine
    from devices.job import Job
    from marking.layout.layout import Layout

Line = list[list[float]]


def drawn_lines(folder: Path, job: Job, layout: Layout, machine: Machine) -> list[Line]:
    """What lies on the cover, table frame, mm, where its section was planned to lie: what a plotter
    inked, what was inked anew, and lines that were traced by light.
    """
    from devices.inking.rehearsal import FOLDER

    # Once a rehearsal is over, what is shown is the cover's own ink again.
    rehearsed = machine.rehearsal and machine.is_running
    kept = folder / FOLDER if rehearsed else folder
    if not has_record(kept):
        return []
    with open_record(kept) as record:
        ink, runs = record.ink(), record.runs()
    light = [one for one in ink if one.section.startswith(ink_name("", "beam"))]
    lines = _traced(folder, job) if light and not rehearsed else []
    if runs or len(ink) > len(light):
        lines += _plotted(folder, kept, job, layout)
    return lines


def _plotted(folder: Path, kept: Path, job: Job, layout: Layout) -> list[Line]:
    plan = plan_of(folder, "plotter", job, layout, kept_correction(folder, job))
    with open_record(kept) as record:
        drawn = drawn_pieces(record, layout, plan)
        confirmed = {(one.section, one.stroke) for one in record.strokes() if one.event != "sent"}
        anew = mends(record, layout, plan)
    lies = [p for one in plan.sections for p in one.pieces if p.stroke.id in drawn[one.id]]
    lies += [
        piece
        for mend in anew
        for section, pieces in mend.pieces.items()
        for piece in pieces
        if (mended_name(section, mend.id), piece.stroke.id) in confirmed
    ]
    return [piece.stroke.points.tolist() for piece in lies]


def _traced(folder: Path, job: Job) -> list[Line]:
    from devices.projector.desk.memory import remembered

    work = work_of(folder, job)
    with open_record(folder) as record:
        traced = remembered(record, work).traced
    return [
        piece.stroke.points.tolist()
        for section, lines in traced.items()
        for line in lines
        for piece in work.pieces(section, line)
    ]
