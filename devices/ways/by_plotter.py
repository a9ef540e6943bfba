"""The ways of one plotter: standing on the cover, at a fence, bands alone, or cloth drawn through.

It knows the plotter and its plans; errors are `devices.ways.expected`'s, acts are
`devices.ways.acts_of_plan`'s. mm and seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from devices.ways.acts_of_plan import PlacingAsked, by_two, drawing_seconds, plan_acts
from devices.ways.expected import by_tape_marks
from marking.errors import RefusedError
from marking.network.error_model import error_model_of
from marking.ways.by_hand import FOR_ALL
from marking.ways.hand_errors import by_stretched_cloth
from marking.ways.way import Way, cannot_be_done

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from devices.job import Job
    from marking.job.work_keys import FenceTable
    from marking.sections.plan import Plan
    from marking.tape_marks.choice import Task
    from marking.ways.ink_counted import InkCount
    from marking.ways.way import CrossLines

STRETCH = 1.5e-3
"""Standard deviation of a stretch measured on a piece of the canvas, a ratio; our assumption."""
BY_PLOTTER, FED_THROUGH = "by plotter", "cloth fed through before stretching"
"""What is said of a plotter whose way cannot be told apart further, and of one beside the table."""


class PlotterWork(Struct, frozen=True):
    """A plotter at one cover."""

    name: str
    """Of its profile."""
    job: Job
    task: Task
    """With the plan that inks every line whole."""
    cover: InkCount
    plan_as: Callable[[CrossLines], Plan]
    """Its sections where it inks cross lines so."""


def plotter_ways(work: PlotterWork, fence: FenceTable | None) -> Iterator[Way]:
    """Each way of a plotter; those at a fence only with one."""
    if not work.job.plotter.on_cover:
        yield _cloth_through(work)
        return
    fences = (None,) if fence is None else (None, fence)
    yield from (_tried(work, at, "device") for at in fences)
    try:
        bare = bool(work.plan_as("ruled").ruled)
    except RefusedError:
        # Told as what cannot be done, with the reason.
        bare = True
    if bare:
        yield from (_tried(work, at, "ruled") for at in fences)


def _tried(work: PlotterWork, fence: FenceTable | None, cross_lines: CrossLines) -> Way:
    name = work.name + "-bands" * (cross_lines == "ruled") + "-fence" * (fence is not None)
    try:
        return _on_cover(work, name, fence, work.plan_as(cross_lines))
    except RefusedError as fault:
        return cannot_be_done(name, BY_PLOTTER, work.name, str(fault), fence=fence is not None)


def _on_cover(work: PlotterWork, name: str, fence: FenceTable | None, plan: Plan) -> Way:
    """The plotter set down over all that `plan` inks; what that leaves is ruled."""
    inking = work.job.inking.model_copy(update={"cross_lines": "ruled" if plan.ruled else "device"})
    job = work.job.model_copy(update={"fence": fence, "inking": inking})
    held = by_tape_marks(replace(work.task, plan=plan), fence, error_model_of(job.fence))
    expected = held.expected
    asked = PlacingAsked(expected.marks, held.marks_out, expected.readings, held.fence_moves)
    at = ", against a fence" if fence else ""
    says = f"hem bands and numerals by plotter{at}, cross lines ruled"
    straightedge = ("a straightedge as long as the table is wide",)
    return Way(
        name,
        says if plan.ruled else f"all lines by plotter{at}",
        work.name,
        plan_acts(job, work.task.layout, plan, asked),
        expected,
        fence=fence is not None,
        cross_lines="ruled" if plan.ruled else "device",
        rulings=len(plan.ruled),
        machine_seconds=drawing_seconds(job, plan),
        needs=(*_needs(job), *straightedge * bool(plan.ruled)),
    )


def _needs(job: Job) -> tuple[str, ...]:
    needs = [job.plotter.name, *FOR_ALL]
    if job.fence is not None:
        needs.append("a fence and clamps")
    if by_two(job.plotter):
        needs.append("a second person to set it down")
    return tuple(needs)


def _cloth_through(work: PlotterWork) -> Way:
    """Loose canvas drawn through a machine beside the table, then stretched on."""
    cover, plan = work.cover, work.task.plan
    found = by_stretched_cloth(cover.line_x, cover.width, STRETCH)
    return Way(
        work.name,
        FED_THROUGH,
        work.name,
        plan_acts(work.job, work.task.layout, plan, None),
        found.with_counts(set_downs=len(plan.sections)),
        machine_seconds=drawing_seconds(work.job, plan),
        needs=(work.job.plotter.name, "a cover not stretched on yet", "its stretch, measured"),
        note="the stretch is known to 0.3 % at best, 95 times in 100",
    )
