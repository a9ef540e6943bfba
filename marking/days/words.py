"""What is said of work over days, in the order in which a person does it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.days.morning import CHECKS
from marking.days.ruling_days import ALONE
from marking.measures.counts import counted
from marking.measures.durations import format_hours
from marking.measures.lengths import format_length
from marking.measures.tape import as_taped
from marking.ruling.order import ruling_order
from marking.ruling.ticked import in_runs
from marking.ruling.words import line_name, time_told

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.days.ruling_days import RulingDay
    from marking.days.spread import Day
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.sections.plan import Plan

_SAME = 1e-6
"""mm that two rows' ends lie apart by rounding alone."""
MOUNTED = (
    "The evening before: fasten the canvas, drawn evenly from the middles to the corners, steam it "
    "and leave it overnight; it slackens. In the morning pull it again, fasten it for good, and "
    "only then set out tape marks and ink. Common practice, no source; the canvas's maker knows "
    "what steam it bears.",
    "Staples fly and steam scalds: eyes shielded, fingers away from the gun's nose, the iron off "
    "the table before the plotter is set down. Local codes come first.",
)


def day_lines(
    days: Sequence[Day],
    ruling: Sequence[RulingDay],
    plan: Plan,
    layout: Layout,
    seconds: Mapping[str, float],
    job: MarkingJob,
) -> Iterator[str]:
    """Each day's sections or lines, the hours, and what can be done with the cover that evening."""
    if not days:
        yield "All sections are inked."
    if plan.ruled and not ruling:
        yield "All lines between stubs are ruled."
    for count, day in enumerate(days, 1):
        shown = day.sections[0] + (f" to {day.sections[-1]}" if len(day.sections) > 1 else "")
        yield (
            f"Day {count}: {shown}, {len(day.sections)} in all, {format_hours(day.seconds)} h. "
            f"That evening: {_usable(day, ruling, plan, layout, job)}"
        )
    for count, one in enumerate(ruling, len(days) + 1):
        ruled = {step.line.id for step in one.steps}
        names = [line_name(line) for line in plan.ruled if line.id in ruled]
        yield (
            f"Day {count}: {counted(len(names), 'line')} ruled by hand from stub to stub, "
            f"{in_runs(names)}: {time_told(one.steps, job, ALONE)}. "
            f"That evening: {_still_to_rule(one.left) if one.left else _WHOLE}"
        )
    # Where stubs alone are inked the machine has nothing between the bands that it could leave.
    if days and plan.rows > 2 and not plan.ruled:
        rows = [s for s in plan.sections if s.row in (1, plan.rows)]
        time = sum(seconds.get(section.id, 0.0) for section in rows)
        if time:
            yield (
                f"If the machine goes back before the end: row 1 and row {plan.rows} first "
                f"({format_hours(time)} h), by --section and tape marks of their own. Both bands "
                "and all numerals then stand, and the cross lines between them can be ruled by "
                "hand from one to the other"
            )


_WHOLE = "the whole cover"


def _still_to_rule(left: int) -> str:
    return f"{counted(left, 'line')} still to be ruled by hand"


def _usable(
    day: Day, ruling: Sequence[RulingDay], plan: Plan, layout: Layout, job: MarkingJob
) -> str:
    rows, units = day.whole_rows, job.units
    if day.last and len(rows) == plan.rows:
        if not ruling:
            return _WHOLE
        left = {step.line.id for one in ruling for step in one.steps}
        done = {line.id for line in plan.ruled} - left
        took = time_told(ruling_order(plan.ruled, job, ALONE, done), job, ALONE)
        return f"both hem bands are whole; {_still_to_rule(len(left))} between them: {took}"
    from_near, top = 0, min(s.core[1] for s in plan.sections)
    # Up to bare cloth at most: what is inked beyond it squares nothing on this side.
    while from_near + 1 in rows and _begins(plan, from_near + 1) <= top + _SAME:
        from_near += 1
        top = max(s.core[3] for s in plan.sections if s.row == from_near)
    if not from_near:
        return "no row is whole; nothing is cut by it yet"
    off = top - layout.grid.long_lines[0].y
    whole = (
        f"lengths are measured and side hems folded along the near edge, and what lies up to "
        f"{format_length(max(0.0, off), units)} from the first long line is squared"
    )
    return whole + ("; the far edge too" if plan.rows in rows and plan.rows != from_near else "")


def _begins(plan: Plan, row: int) -> float:
    return min(s.core[1] for s in plan.sections if s.row == row)


def morning_lines(meant: Mapping[str, float], tape: Tape, units: Units) -> Iterator[str]:
    """What to check before going on."""
    yield "Each morning, before the device is set down, read with the same tape:"
    for name, said in CHECKS.items():
        yield f"  {said}: {as_taped(meant[name], tape, units)}"
    yield "and keep it: --morning BASE UP DOWN, as the tape shows them. drive waits for it."


def day_record(day: Day, to_rule: int) -> dict[str, Any]:
    """A day of inking as plain data, `to_rule` being the lines that are ruled after all of them."""
    return {
        "sections": list(day.sections),
        "hours": day.seconds / 3600,
        "whole_rows": list(day.whole_rows),
        "lines": [],
        "to_rule": to_rule,
    }


def ruling_record(day: RulingDay, plan: Plan) -> dict[str, Any]:
    """A day of ruling as plain data."""
    return {
        "sections": [],
        "hours": day.seconds / 3600,
        "whole_rows": list(range(1, plan.rows + 1)),
        "lines": [step.line.id for step in day.steps],
        "to_rule": day.left,
    }
