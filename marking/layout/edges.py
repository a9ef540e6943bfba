"""Where a table's edges are taken to be, and how round they are, in words.

It knows the keys of a table; no lines.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import RefusedError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import MarkingJob, TopTable
    from marking.measures.lengths import Units

MEASURED_TO = {
    "board": "the bare board's edge, before the pad is laid on or felt through it",
    "batten": "a line struck along a straight batten that is held against the padded edge without "
    "pressing it in, with a square held to the batten at each end",
}
"""What an edge is, wherever something is measured from one; common practice, no source."""


def edge_notes(table: TopTable, units: Units) -> Iterator[str]:
    """What to know of edges that are not what a tape meets by itself."""
    if table.measured_to == "batten" or table.edge_radius:
        yield f"Every edge here is {MEASURED_TO[table.measured_to]}: measure and tape to that."
    if table.edge_radius:
        off = format_length(table.edge_radius, units)
        yield (
            f"The edges are round: within {off} of them the top curves away, and no ink is laid "
            "there. A foot of a device that stands there tips it: lay a board under it."
        )


def off_the_wall(table: TopTable) -> Iterator[str]:
    """What a table against a wall needs before anything is set, read or ruled at its far edge."""
    if table.against_wall:
        yield (
            "The far edge stands against a wall. Pull the table off it, two people and nothing on "
            "the top, for all that is set, read or ruled there: both diagonals, the far line and "
            "its marks, the far ends of lines. Leave it off until the cover is proved, or take "
            "both diagonals anew after every move: a top that is moved may lie otherwise. Nobody "
            "climbs on the table to get there."
        )


def check_margins(job: MarkingJob) -> None:
    """Refuses lines that the margins put where an edge curves away. Raises RefusedError."""
    ink = max(job.pens.lines.width, job.pens.heavy.width) / 2
    curved = job.table.edge_radius
    for name, margin in (("margin", job.grid.margin), ("end_margin", job.grid.end_margin)):
        if curved and margin < curved + ink:
            raise RefusedError(
                on_the_curve(job, f'grid.{name} = "{_said(margin, job.units)}"', ink)
            )


def on_the_curve(job: MarkingJob, what: str, ink: float) -> str:
    """Why `what` is refused, whose ink reaches so many mm beyond its middle, and what would do."""
    return (
        f"{what}: ink would lie where the padded edge curves away, within table.edge_radius = "
        f"{_said(job.table.edge_radius, job.units)} of it, and be neither straight nor in sight; "
        "make grid.margin and grid.end_margin at least "
        f"{_said(job.table.edge_radius + ink, job.units)}, and the margin more by the numerals' "
        "height where they stand in it"
    )


def _said(length: float, units: Units) -> str:
    return format_length(length, units)
