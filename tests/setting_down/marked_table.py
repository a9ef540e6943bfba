"""A table with its tape marks set out, and what a device that stands askew on it reads.

It knows the job, its record and true places; nothing of how a section is gone on with.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from devices.job import Job
from devices.session.session import Workplace
from devices.setting_down.where_it_stands import marks_in_sight
from marking.begun.on_the_cover import keep_tape_marks
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from tests.inking.askew import Silent, Stood, Table, forgiving
from tests.inking.kills import SECTION

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime
    from pathlib import Path

    from marking.record.readings import MarkReading
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Section

SPACING = 101.6
"""mm: 4 in from one tape mark to the next."""
NOISE = 0.25


@contextmanager
def table_with_marks(folder: Path, clock: Callable[[], datetime] | None = None) -> Iterator[Table]:
    forgiving(folder)
    job = load_job(folder, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    with open_record(folder, *([clock] if clock else [])) as record:
        keep_tape_marks(record, layout, plan, set_out(layout, SPACING, Tape(), "in"))
        yield Table(job, Workplace(job, layout, plan, record, Silent()), plan, {})


def marks(table: Table, name: str) -> tuple[Mark, ...]:
    at = table.place
    return marks_in_sight(table.section(name), at.plan, at.layout, at.job.units, at.record)


def read(table: Table, stood: Stood, seed: int | None = None) -> tuple[MarkReading, ...]:
    """All marks in sight as the device reads them, with a person's scatter unless exact."""
    exact = stood.reads(table.job, marks(table, stood.section.id))
    if seed is None:
        return exact
    rng = np.random.default_rng(seed)
    return tuple(
        replace(one, at_bed=tuple((np.array(one.at_bed) + rng.normal(0, NOISE, 2)).tolist()))
        for one in exact
    )


def begin(table: Table, stood: Stood, readings: Sequence[MarkReading]) -> None:
    outcome, said = table.inked(stood, readings, stops_after=6)
    assert outcome.ended == "stopped", said
    assert 0 < len(table.drawn(stood.section.id)) < len(stood.section.pieces)


def readings_file(folder: Path, name: str, shift: tuple[float, float]) -> Path:
    """A file of what the device reads over all marks in sight of the first section."""
    section = first_section(folder)
    job = load_job(folder, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    with open_record(folder) as record:
        seen = marks_in_sight(section, plan, layout, job.units, record)
    rows = [
        f"{one.section},{one.mark},{one.at_bed[0]:.3f},{one.at_bed[1]:.3f}"
        for one in Stood(section, shift).reads(job, seen)
    ]
    path = folder / name
    path.write_text("\n".join(["section,mark,x_mm,y_mm", *rows, ""]), "utf-8")
    return path


def first_section(folder: Path) -> Section:
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    return next(section for section in plan.sections if section.id == SECTION)
