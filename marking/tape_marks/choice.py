"""What setting out tape marks one way or another will hold, each way tried by computing it.

A way is what a person can ask of `control`, no more: every figure here is that of marks set out
just so. It knows forecasts and setting out, no device. Table frame, millimetres.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from marking.errors import BadInputError, RefusedError
from marking.measures.lengths import format_length, parse_length
from marking.record.readings import READING_SD
from marking.tape_marks.forecast import forecast
from marking.tape_marks.marks import set_out, tape_datum
from marking.tape_marks.setting_out import SettingOut, row_joins
from marking.tape_marks.visible import sights

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.network.allowed import Allowed
    from marking.sections.plan import Plan
    from marking.tape_marks.forecast import Forecast
    from marking.tape_marks.marks import Control, TapeRow

SPACINGS: dict[Units, tuple[float, ...]] = {
    "in": (609.6, 304.8, 152.4, 76.2),
    "mm": (600.0, 300.0, 150.0, 75.0),
}
"""What is tried, wide to close: 24, 12, 6 and 3 in, or about as much in whole millimetres."""
_SAME = 1e-3
"""mm: a written spacing that parses to within this is the spacing."""


@dataclass(frozen=True)
class MarksChoice:
    """How tape marks are set out and read: what `control` can be asked for."""

    spacing: float
    """mm from one mark to the next, at most."""
    join_rows: int = 0
    """Rows of marks along every n-th join between rows of sections; 0 for none."""
    repeats: int = 1
    """How often each mark is read."""

    def flags(self, units: Units) -> str:
        """The options that ask for it, to be typed as they stand."""
        rows = f" --join-rows {self.join_rows}" if self.join_rows else ""
        return f'--spacing "{written(self.spacing, units)}"{rows}' + (
            " --read-twice" if self.repeats > 1 else ""
        )


@dataclass(frozen=True)
class Task:
    """What is to be marked, with which tape and to which limits."""

    layout: Layout
    plan: Plan
    tape: Tape
    units: Units
    limits: Allowed
    rows: tuple[TapeRow, ...] = ()
    """Rows of marks that are set out already: they keep their names."""


@dataclass(frozen=True)
class ChosenMarks:
    """One way of setting out, what it is made of and what it gives."""

    way: MarksChoice
    control: Control
    forecast: Forecast

    @property
    def minutes(self) -> float:
        """Setting out and reading, by our estimates."""
        return self.setting_out.minutes

    @property
    def setting_out(self) -> SettingOut:
        """What it asks of a person."""
        return SettingOut(len(self.control.marks), self.forecast.readings)

    @property
    def visible(self) -> float:
        """The larger of worst line and worst step, each over its limit."""
        limits = self.forecast.limits
        return max(
            self.forecast.worst_line / limits.tolerance, self.forecast.worst_step / limits.step
        )


def written(spacing: float, units: Units) -> str:
    """A spacing as a person types it: what is read back is the same to a thousandth of a mm."""
    shown = format_length(spacing, units)
    exact = abs(parse_length(shown) - spacing) < _SAME
    return shown if exact else f"{spacing:.3f}".rstrip("0").rstrip(".") + " mm"


def work(task: Task, way: MarksChoice) -> ChosenMarks:
    """The marks of `way` and their forecast.

    Raises RefusedError naming the first section that cannot be placed, or when the marking is too
    small to be squared; BadInputError for rows that the plan does not have.
    """
    if not 0 <= way.join_rows <= task.plan.rows:
        raise BadInputError(
            f"--join-rows {way.join_rows}: give 1 for each join, 2 for one in two, or 0"
        )
    heights = row_joins(task.plan)[:: way.join_rows] if way.join_rows else []
    control = set_out(
        task.layout, way.spacing, task.tape, task.units, heights=heights, named=task.rows
    )
    sd = float(np.sqrt(np.mean([mark.sd**2 for mark in control.marks])))
    marks = [mark.mark for mark in control.marks]
    seen = sights(task.plan, task.layout.grid, marks, None, sd)
    datum = tape_datum(control)
    found = forecast(task.plan, seen, READING_SD, task.limits, way.repeats, datum)
    return ChosenMarks(way, control, found)


def widest(
    task: Task, join_rows: int, repeats: int, told: Callable[[MarksChoice], None]
) -> ChosenMarks:
    """The work with the widest spacing whose forecast holds; the best of all when none does.

    `told` hears of each way before it is tried. Raises RefusedError when no spacing places every
    section.
    """
    tried: list[ChosenMarks] = []
    refused: RefusedError | None = None
    for spacing in SPACINGS[task.units]:
        way = MarksChoice(spacing, join_rows, repeats)
        told(way)
        try:
            tried.append(work(task, way))
        except RefusedError as fault:
            # Too far apart for the first section to see two; closer marks may do.
            refused = fault
            continue
        if tried[-1].forecast.holds:
            return tried[-1]
    if not tried:
        raise refused or RefusedError("no spacing was tried")
    return min(tried, key=lambda each: each.visible)


def remedies(task: Task, now: MarksChoice) -> tuple[ChosenMarks, ...]:
    """Other ways to set out and read than `now`, those that hold first, the least work first."""
    found = []
    holding: set[MarksChoice] = set()
    for way in _others(task, now):
        if replace(way, repeats=1) in holding:
            continue
        try:
            found.append(work(task, way))
        except RefusedError:
            continue
        if found[-1].forecast.holds:
            holding.add(way)
    return tuple(sorted(found, key=lambda w: (not w.forecast.holds, w.minutes, w.visible)))


def _others(task: Task, now: MarksChoice) -> Iterator[MarksChoice]:
    spacings = sorted({now.spacing, *SPACINGS[task.units][1:]}, reverse=True)
    rows = [n for n in (0, 2, 1) if n < max(task.plan.rows, 1)]
    for repeats, spacing, join_rows in itertools.product((1, 2), spacings, rows):
        way = MarksChoice(spacing, join_rows, repeats)
        # What asks for less of everything than now cannot help.
        more = spacing < now.spacing or repeats > now.repeats or join_rows != now.join_rows
        if more and way != now:
            yield way
