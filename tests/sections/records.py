"""Jobs laid out and cut, as the records that other programs get, for the rules to be held against.

A job that the program refuses fails the test that drew it: `random_jobs` draws none that may be.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from marking.layout.layout import lay_out
from marking.output.layout_json import layout_record, plan_record
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from tests.sections.random_jobs import in_mm

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from devices.job import Job
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob

Record = dict[str, Any]
ZONES = ["plotter", "reach"]


def laid_out(make_job: MakeJob, tables: Record) -> tuple[Job, Record]:
    """The job and its layout record."""
    job = make_job(tables)
    return job, layout_record(lay_out(job))


def planned(make_job: MakeJob, tables: Record, zone: str) -> tuple[Job, Record, Record, Plan]:
    """The job, its layout record and its plan, as a record and as the writers get it."""
    job = make_job(tables)
    layout = lay_out(job)
    reach = reach_zone(job.reach) if zone == "reach" else job.plotter.zone
    plan = divide_into_sections(layout, job, reach)
    return job, layout_record(layout), plan_record(plan), plan


def points_of(stroke: Record) -> NDArray[np.float64]:
    return np.array(stroke["points"])


def ink_length(strokes: Iterable[Record]) -> float:
    return math.fsum(
        math.dist(a, b) for stroke in strokes for a, b in itertools.pairwise(stroke["points"])
    )


def all_pieces(plan: Record) -> list[Record]:
    held = [*plan["sections"], *plan["unreached"]]
    return [piece for holder in held for piece in holder["strokes"]]


def ink_width(job: Job, pen: str) -> float:
    """Across a line, whose passes lie half a tip apart, or across a numeral's stroke."""
    drawn = job.pens.named(pen)
    return drawn.width * (1 if pen == "numerals" else 1 + (drawn.passes - 1) / 2)


def axes_of(tables: Record, *, turned: bool) -> list[tuple[int, int]]:
    """For the device's X and Y: which axis of the table, and 1 or -1, turned a quarter or not."""
    declared = [("xy".index(a[1]), 1 if a[0] == "+" else -1) for a in tables["plotter"]["axes"]]
    if not turned:
        return declared
    # Anticlockwise: what ran along x runs along y, what ran along y runs back along x.
    return [(1, sign) if axis == 0 else (0, -sign) for axis, sign in declared]


def usable(tables: Record, zone: str, *, turned: bool = False) -> tuple[float, float]:
    """How much of the table's x and y one setup may take, from the job's own words."""
    if turned:
        return usable(tables, zone)[::-1]
    if zone == "reach":
        return in_mm(tables["reach"]["span"]), in_mm(tables["reach"]["depth"])
    plotter = tables["plotter"]
    x = math.inf if plotter["x_size"] == "unlimited" else in_mm(plotter["x_size"])
    y = in_mm(plotter["y_size"])
    return (x, y) if plotter["axes"][0][1] == "x" else (y, x)
