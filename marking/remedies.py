"""What would make a plan hold its limits, each remedy tried by computing it.

It knows forecasts and setting out, no device. Table frame, millimetres.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from marking.datum import EXACT
from marking.errors import RefusedError
from marking.forecast import Forecast, forecast
from marking.lengths import format_length
from marking.network import TAPE_SD
from marking.orders import ORDERS, inking_order
from marking.settingout import (
    SECONDS_A_MARK,
    SECONDS_A_READING,
    SettingOut,
    control_marks,
    together,
)
from marking.sights import sights
from marking.witness import Mark

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.datum import Datum
    from marking.layout import Grid
    from marking.lengths import Units
    from marking.limits import Limits
    from marking.orders import OrderName
    from marking.sections import Plan

_SPACINGS = (304.8, 152.4, 76.2)
"""12, 6 and 3 in."""
_SURELY = 0.97
"""The 95th percentile of 2,000 imagined covers is good to about 2%; a recommendation holds all
the same."""
_NEARLY = 1.2
"""Another order does not make good an error further over its limit than this."""


@dataclass(frozen=True)
class Work:
    """What one way of setting out is made of and what it gives."""

    what: str
    marks: tuple[Mark, ...]
    repeats: int
    order: OrderName
    forecast: Forecast

    @property
    def minutes(self) -> float:
        """Setting out and reading, by our estimates."""
        seconds = len(self.marks) * SECONDS_A_MARK + self.forecast.readings * SECONDS_A_READING
        return seconds / 60

    @property
    def visible(self) -> float:
        """The larger of worst line and worst step, each over its limit."""
        limits = self.forecast.limits
        return max(
            self.forecast.worst_line / limits.tolerance, self.forecast.worst_step / limits.step
        )


@dataclass(frozen=True)
class Task:
    """What is to be forecast, whatever the marks: one plan, its grid, limits and deviations."""

    plan: Plan
    grid: Grid
    limits: Limits
    reading_sd: float
    tape_sd: float = TAPE_SD
    units: Units = "mm"
    """What people see."""
    datum: Datum = EXACT
    """What all marks set by tape share."""


def work(
    task: Task,
    what: str,
    marks: Sequence[Mark],
    repeats: int = 1,
    order: OrderName = "near to far",
) -> Work:
    """The forecast of `task` with these control marks.

    Raises RefusedError naming the first section that cannot be placed.
    """
    named = inking_order(task.plan, order)
    seen = sights(task.plan, task.grid, marks, named, task.tape_sd)
    return Work(
        what,
        tuple(marks),
        repeats,
        order,
        forecast(task.plan, seen, task.reading_sd, task.limits, repeats, task.datum),
    )


def recommended(task: Task) -> Work:
    """The setting out with least work that holds both limits; the best of all when none does.

    The plan's own order is kept where it holds; another is tried where it nearly does.
    """
    tried: list[Work] = []
    for chosen in _by_effort(task):
        marks = control_marks(task.plan, task.grid, chosen)
        for order in ORDERS:
            try:
                what = str(replace(chosen, order=order))
                done = work(task, what, marks, chosen.repeats, order)
            except RefusedError:
                continue
            tried.append(done)
            if done.visible <= _SURELY:
                return done
            if order == ORDERS[0] and done.visible > _NEARLY:
                break
    if not tried:
        raise RefusedError(
            "no pattern of control marks places every section of this plan; set at least two "
            "inside the window of the first section"
        )
    return min(tried, key=lambda done: done.visible)


def _by_effort(task: Task) -> list[SettingOut]:
    """All that is tried, least work first as far as counting marks tells."""

    def effort(chosen: SettingOut) -> float:
        marks = control_marks(task.plan, task.grid, chosen)
        seen = sights(task.plan, task.grid, marks, None, task.tape_sd).seen
        readings = chosen.repeats * sum(len(names) for names in seen.values())
        return len(marks) * SECONDS_A_MARK + readings * SECONDS_A_READING

    rows = (0, 2, 1) if task.plan.rows > 2 else (0, 1) if task.plan.rows == 2 else (0,)
    patterns = itertools.product(_SPACINGS, (False, True), rows, (1, 2))
    return sorted((SettingOut(*pattern) for pattern in patterns), key=effort)


def remedies(
    task: Task,
    marks: Sequence[Mark],
    repeats: int = 1,
    order: OrderName = "near to far",
    larger: Mapping[str, tuple[Plan, Grid]] | None = None,
) -> tuple[Work, ...]:
    """What could be done about a forecast that does not hold, the least work first.

    `larger` are plans for larger beds by name. Those that hold come before those that do not.
    """
    found = []
    for what, more, times, other in _tries(task, marks, repeats, order):
        try:
            found.append(work(task, what, more, times, other))
        except RefusedError:
            continue
    for name, (plan, grid) in (larger or {}).items():
        bigger = replace(task, plan=plan, grid=grid)
        try:
            found.append(work(bigger, f"a larger bed, {name}", marks, repeats, order))
        except RefusedError:
            continue
    return tuple(sorted(found, key=lambda w: (not w.forecast.holds, w.minutes, w.visible)))


def _tries(
    task: Task, marks: Sequence[Mark], repeats: int, order: OrderName
) -> Iterator[tuple[str, Sequence[Mark], int, OrderName]]:
    yield "one more control mark, where it is worst", _one_more(task, marks, order), repeats, order
    for spacing in _SPACINGS[1:]:
        every = format_length(spacing, task.units)
        for ends, rows, where in (
            (False, 0, "along both long edges"),
            (True, 0, "along both long edges and both end lines"),
            (True, 2, "along the edges, the end lines and one seam in 2 between rows"),
            (True, 1, "along the edges, the end lines and each seam between rows"),
        ):
            added = control_marks(task.plan, task.grid, SettingOut(spacing, ends, rows))
            more = together(marks, added)
            if len(more) > len(marks):
                yield f"marks every {every} {where}", more, repeats, order
    yield f"each mark read {2 * repeats} times", marks, 2 * repeats, order
    for other in ORDERS:
        if other != order:
            yield f"inked {other}", marks, repeats, other


def _one_more(task: Task, marks: Sequence[Mark], order: OrderName) -> tuple[Mark, ...]:
    """A mark at the worst inked point of the worst section, where its window reaches it."""
    now = work(task, "now", marks, 1, order).forecast
    worst = max(now.sections, key=lambda section: section.error)
    section = next(s for s in task.plan.sections if s.id == worst.section)
    keep = task.plan.zone.set_down
    x = min(max(worst.at_table[0], section.window[0] + keep), section.window[2] - keep)
    y = min(max(worst.at_table[1], section.window[1] + keep), section.window[3] - keep)
    return together(marks, [Mark("new", (x, y), "control")])
