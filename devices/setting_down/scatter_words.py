"""What readings that scatter more than declared mean for the rest of the cover: in words.

It knows what stands, forecasts and limits, no person and no pen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.setting_down.where_it_stands import errors_of
from marking.begun.on_the_cover import readings_asked_for, standing, tape_marks_set_out
from marking.errors import RefusedError
from marking.network.allowed_errors import allowed_of
from marking.placement.compromise import FOLLOW
from marking.record.readings import READING_SD
from marking.tape_marks.forecast import forecast
from marking.tape_marks.marks import tape_datum
from marking.tape_marks.visible import sights

if TYPE_CHECKING:
    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.network.scatter import Scatter
    from marking.record.record import Record
    from marking.sections.plan import Plan
    from marking.tape_marks.forecast import Forecast


def scatter_line(found: Scatter, record: Record, layout: Layout, plan: Plan, job: Job) -> str:
    """How readings scatter, what the rest would hold so, and what reading twice would change."""
    errors = errors_of(job, record, plan)
    worth = found.of(READING_SD, errors.cloth)
    said = f"since {found.since} your readings scatter {worth:.2f} mm, not {READING_SD:.2f}"
    tape_marks = tape_marks_set_out(record, layout, job.units)
    if tape_marks is None:
        return said
    read = readings_asked_for(record, layout, plan, job.units)
    marks = [mark.mark for mark in tape_marks.marks]
    sd = (sum(mark.sd**2 for mark in tape_marks.marks) / len(tape_marks.marks)) ** 0.5
    seen = sights(plan, layout.grid, marks, None, sd, read)
    fences = standing(record, layout, plan, job.units).fences
    try:
        once, twice = (
            forecast(
                plan,
                seen,
                worth,
                allowed_of(job),
                repeats,
                tape_datum(tape_marks),
                errors=errors,
                fences=fences,
                follow=FOLLOW,
            )
            for repeats in (1, 2)
        )
    except RefusedError:
        return said
    return f"{said}: {_holds(once)}; {_advice(once, twice)}"


def _holds(told: Forecast) -> str:
    limits = told.limits
    return (
        f"a cover read so holds {told.worst_line:.2f} mm, steps {told.worst_step:.2f} "
        f"({limits.tolerance:.2f} and {limits.step:.2f} allowed)"
    )


def _advice(once: Forecast, twice: Forecast) -> str:
    better = f"read twice from here, and it is {twice.worst_line:.2f} and {twice.worst_step:.2f}"
    if once.holds:
        return f"that is still enough. To be surer, {better}"
    if twice.holds:
        return better
    return f"{better}, which is not enough: read with a finer point or a loupe, in better light"
