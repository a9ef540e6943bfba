"""What a plotter is expected to hold, in whichever way: the one place where forecasts are asked.

It knows plans and forecasts; it must not know hours. Table frame, mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from marking.errors import RefusedError
from marking.network.allowed import SQUARE_OVER
from marking.network.pose import effect
from marking.record.readings import READING_SD
from marking.sections.neighbours import butts
from marking.tape_marks.choice import MarksChoice, widest, work
from marking.tape_marks.forecast import ink_errors
from marking.tape_marks.marks import tape_datum
from marking.tape_marks.visible import sights
from marking.ways.row_errors import Doubts, Row, rows_hold
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import Expected

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.job.work_keys import FenceTable
    from marking.network.error_model import ErrorModel
    from marking.sections.plan import Section
    from marking.tape_marks.choice import ChosenMarks, Task
    from marking.tape_marks.forecast import Errors
    from marking.ways.cover import Cover

_COVERS, _SEED = 2000, 20
_CLOSER = ((3.0, 0, 2), (6.0, 2, 2), (3.0, 2, 1))
"""Tried in turn where no spacing of marks along the edges holds: pitches, rows, readings."""


@dataclass(frozen=True)
class Marked:
    """What is expected, and how many of its marks lie off the edges and struck lines."""

    expected: Expected
    marks_out: int
    fence_moves: int = 0
    """How often a fence is clamped, over all rows."""


def by_tape_marks(task: Task) -> Marked:
    """The whole cover placed by tape marks, the least work that holds; else the best of them.

    Raises RefusedError when no marks place every section.
    """
    tried = []
    refused: RefusedError | None = None
    try:
        tried.append(widest(task, 0, 1, lambda _: None))
    except RefusedError as fault:
        refused = fault
    inch = 25.4 if task.units == "in" else 25.0
    for pitches, join_rows, repeats in _CLOSER:
        if tried and tried[-1].forecast.holds:
            break
        try:
            tried.append(work(task, MarksChoice(pitches * inch, join_rows, repeats)))
        except RefusedError as fault:
            refused = fault
    if not tried:
        raise refused or RefusedError("no marks were tried")
    held = [one for one in tried if one.forecast.holds]
    best = held[-1] if held else min(tried, key=lambda one: one.visible)
    return Marked(_figures(task, best), sum(m.line == "row" for m in best.control.marks))


def _figures(task: Task, chosen: ChosenMarks) -> Expected:
    control, plan = chosen.control, task.plan
    sd = float(np.sqrt(np.mean([mark.sd**2 for mark in control.marks])))
    seen = sights(plan, task.layout.grid, [mark.mark for mark in control.marks], None, sd)
    errors = ink_errors(plan, seen, READING_SD / chosen.way.repeats**0.5, tape_datum(control))
    drawn = _covers(errors)
    found = chosen.forecast
    return Expected(
        found.worst_line,
        found.worst_line,
        _lean(errors, plan.sections, drawn),
        _apart(errors, plan.sections, drawn),
        found.worst_step,
        found.marks,
        found.readings,
        len(plan.sections),
    )


def _covers(errors: Errors) -> FloatArray:
    """(covers, 3 sections): imagined errors of all sections."""
    values, vectors = np.linalg.eigh(errors.covariance)
    normal = np.random.default_rng(_SEED).standard_normal((_COVERS, len(values)))
    drawn: FloatArray = normal @ ((vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
    return drawn


def _moved(errors: Errors, drawn: FloatArray, section: str, points: FloatArray) -> FloatArray:
    """(covers, points, 2): how far ink of a section is off at points (n, 2)."""
    by_point = effect("rigid", points, errors.centres[section])
    moved: FloatArray = np.einsum("rk,nik->rni", drawn[:, errors.places[section]], by_point)
    return moved


def _apart(errors: Errors, sections: Sequence[Section], drawn: FloatArray) -> float:
    """Of the gap between two lines on either side of a join: what the two sections differ by
    across it. Within a section lines keep their gaps."""
    rows = {section.id: section.row for section in sections}
    worst = np.zeros(len(drawn))
    for butt in butts(sections):
        one, two = butt.sections
        differ = _moved(errors, drawn, one, butt.points_table) - _moved(
            errors, drawn, two, butt.points_table
        )
        across = 0 if rows[one] == rows[two] else 1
        worst = np.maximum(worst, np.abs(differ[:, :, across]).max(axis=1))
    return float(np.quantile(worst, 0.95))


def _lean(errors: Errors, sections: Sequence[Section], drawn: FloatArray) -> float:
    """Of cross lines, over 54 in: from the foot of the first row to the head of the last."""
    worst = np.zeros(len(drawn))
    for column in {section.column for section in sections}:
        own = sorted((s for s in sections if s.column == column), key=lambda s: s.row)
        x0, y0, x1, _ = own[0].core
        y1 = own[-1].core[3]
        foot = _moved(errors, drawn, own[0].id, np.array([[x0, y0], [x1, y0]]))
        head = _moved(errors, drawn, own[-1].id, np.array([[x0, y1], [x1, y1]]))
        lean = np.abs(head - foot)[:, :, 0].max(axis=1) * min(SQUARE_OVER / (y1 - y0), 1.0)
        worst = np.maximum(worst, lean)
    return float(np.quantile(worst, 0.95))


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
