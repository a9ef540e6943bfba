"""What a plotter is expected to hold, in whichever way: the one place where forecasts are asked.

It knows plans and forecasts; it must not know hours. Table frame, mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from marking.errors import RefusedError
from marking.record.readings import READING_SD
from marking.tape_marks.choice import least_work
from marking.tape_marks.clampings import stretches
from marking.ways.row_errors import Doubts, Row, rows_hold
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import Expected

if TYPE_CHECKING:
    from marking.job.work_keys import FenceTable
    from marking.network.error_model import ErrorModel
    from marking.tape_marks.choice import Task
    from marking.ways.cover import Cover


@dataclass(frozen=True)
class Marked:
    """What is expected, and how many of its marks lie off the edges and struck lines."""

    expected: Expected
    marks_out: int
    fence_moves: int = 0
    """How often a fence is clamped, over all rows."""


def by_tape_marks(task: Task, fence: FenceTable | None, errors: ErrorModel) -> Marked:
    """The whole cover placed by tape marks, at a fence or without: the least work that holds, else
    the best there is.

    Raises RefusedError when no marks place every section.
    """
    chosen, _ = least_work(replace(task, fence=fence, errors=errors), 1, lambda _: None)
    found, plan = chosen.forecast, task.plan
    figures, asks = found.figures, chosen.setting_out
    expected = Expected(
        found.worst_line,
        max(found.worst_line, figures.total),
        figures.square,
        figures.neighbours,
        figures.step,
        asks.marks,
        found.readings,
        len(plan.sections),
    )
    moves = len(stretches(plan, fence.length)) if fence is not None else 0
    return Marked(expected, asks.marks - asks.on_edges, moves)


def clampings(length: float, fence: FenceTable, window: float) -> int:
    """How often a rail is clamped along a row `length` mm long; it overlaps by one set-down."""
    if fence.length >= length:
        return 1
    gained = fence.length - window
    if gained <= 0:
        raise RefusedError("the fence is no longer than one set-down; it cannot be moved along")
    return math.ceil((length - window) / gained)


def in_rows(
    task: Task,
    cover: Cover,
    rows: tuple[Row, ...],
    fence: FenceTable | None,
    *,
    model: ErrorModel,
    ruled: bool,
) -> Marked:
    """Rows of sections at the fence, or the bands placed by marks at the windows' corners.

    Every mark is read once where that holds, else twice. Raises RefusedError for a fence that is
    too short to be moved along.
    """
    columns = len(rows[0].columns)
    levels = {round(y, 1) for row in rows for y in (row.low, row.high)}
    row_count = len(rows)
    meets = sum(round(a.high, 1) == round(b.low, 1) for a, b in pairwise(rows))
    count = 0
    if fence is None:
        marks = len(levels) * (columns + 1)
        # At the outer struck line of each row and along the end lines the tape lies along an edge.
        out = (len(levels) - 2) * (columns - 1)
        readings = 4 * columns * row_count
    else:
        span = rows[0].columns[-1][1] - rows[0].columns[0][0]
        window = task.plan.zone.size[0]
        count = clampings(span, fence, window)
        marks = len(levels) * 2 + (count - 1) * row_count
        out = (count - 1) * row_count
        readings = 4 * (row_count + meets) + 3 * (count - 1) * row_count
        if fence.stops is None:
            marks, out = marks + columns * row_count, out + columns * row_count
            readings += columns * row_count
            model = replace(model, stops=READING_SD)
    doubts = Doubts(model, tape_scale_most(task.tape), READING_SD)
    once, twice = (
        rows_hold(
            *(rows, cover.line_x, doubts, count), ruled=ruled, repeats=repeats, bands=cover.bands
        )
        for repeats in (1, 2)
    )
    held = once
    if once.past(task.limits) and not twice.past(task.limits):
        held, readings = twice, 2 * readings
    set_downs = columns * row_count
    told = held.with_counts(marks=marks, readings=readings, set_downs=set_downs)
    return Marked(told, out, count * row_count)
