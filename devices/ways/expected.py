"""What a plotter is expected to hold, in whichever way: the one place where forecasts are asked.

It knows plans and forecasts; it must not know hours. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from marking.tape_marks.choice import least_work
from marking.tape_marks.clampings import stretches
from marking.ways.way import ExpectedErrors

if TYPE_CHECKING:
    from marking.job.work_keys import FenceTable
    from marking.network.error_model import ErrorModel
    from marking.tape_marks.choice import Task


class Marked(Struct, frozen=True):
    """What is expected, and how many of its marks lie off the edges and struck lines."""

    expected: ExpectedErrors
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
    total = max(found.worst_line, figures.total)
    expected = ExpectedErrors(
        # What is ruled errs beside what is inked.
        total if plan.ruled else found.worst_line,
        total,
        figures.square,
        figures.neighbours,
        figures.step,
        asks.marks,
        found.readings,
        len(plan.sections),
    )
    moves = len(stretches(plan, fence.length)) if fence is not None else 0
    return Marked(expected, asks.marks - asks.on_edges, moves)
