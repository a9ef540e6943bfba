"""What is said of work over days, in the order in which a person does it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.days.morning import CHECKS
from marking.measures.durations import format_hours
from marking.measures.lengths import format_length
from marking.measures.tape import as_taped

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.days.spread import Day
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.sections.plan import Plan

MOUNTED = (
    "The evening before: fasten the canvas, drawn evenly from the middles to the corners, steam it "
    "and leave it overnight; it slackens. In the morning pull it again, fasten it for good, and "
    "only then set out tape marks and ink. Common practice, no source; the canvas's maker knows "
    "what steam it bears.",
    "Staples fly and steam scalds: eyes shielded, fingers away from the gun's nose, the iron off "
    "the table before the plotter is set down. Local codes come first.",
)


def day_lines(
    days: Sequence[Day], plan: Plan, layout: Layout, seconds: Mapping[str, float], units: Units
) -> Iterator[str]:
    """Each day's sections, the hours, and what can be done with the cover that evening."""
    if not days:
        yield "All sections are inked."
    for count, day in enumerate(days, 1):
        shown = day.sections[0] + (f" to {day.sections[-1]}" if len(day.sections) > 1 else "")
        yield (
            f"Day {count}: {shown}, {len(day.sections)} in all, {format_hours(day.seconds)} h. "
            f"That evening: {_usable(day, plan, layout, units)}"
        )
    if days and plan.rows > 2:
        rows = [s for s in plan.sections if s.row in (1, plan.rows)]
        time = sum(seconds.get(section.id, 0.0) for section in rows)
        if time:
            yield (
                f"If the machine goes back before the end: row 1 and row {plan.rows} first "
                f"({format_hours(time)} h), by --section and tape marks of their own. Both bands "
                "and all numerals then stand, and the cross lines between them can be ruled by "
                "hand from one to the other"
            )


def _usable(day: Day, plan: Plan, layout: Layout, units: Units) -> str:
    if day.last and len(day.whole_rows) == plan.rows:
        return "the whole cover"
    rows = day.whole_rows
    from_near = 0
    while from_near + 1 in rows:
        from_near += 1
    if not from_near:
        return "no row is whole; nothing is cut by it yet"
    top = max(s.core[3] for s in plan.sections if s.row == from_near)
    off = top - layout.grid.long_lines[0].y
    whole = (
        f"lengths are measured and side hems folded along the near edge, and what lies up to "
        f"{format_length(max(0.0, off), units)} from the first long line is squared"
    )
    return whole + ("; the far edge too" if plan.rows in rows and plan.rows != from_near else "")


def morning_lines(meant: Mapping[str, float], tape: Tape, units: Units) -> Iterator[str]:
    """What to check before going on."""
    yield "Each morning, before the device is set down, read with the same tape:"
    for name, said in CHECKS.items():
        yield f"  {said}: {as_taped(meant[name], tape, units)}"
    yield "and keep it: --morning BASE UP DOWN, as the tape shows them. drive waits for it."


def day_record(day: Day) -> dict[str, Any]:
    """A day as plain data."""
    return {
        "sections": list(day.sections),
        "hours": day.seconds / 3600,
        "whole_rows": list(day.whole_rows),
    }
