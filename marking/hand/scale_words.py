"""What a hand is told of a side that counts in the other unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.layout.second_scale import other_unit

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.hand.readings import SideWork
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout

_TRUE_TAPE = 0.05
"""mm that a tape may be off at its last reading and still be read as it is."""


def scale_steps(work: SideWork, layout: Layout, job: MarkingJob) -> Iterator[str]:
    """How a side that counts the other unit is ticked."""
    unit = other_unit(job.units)
    yield (
        f"This side counts {unit}: the lines get no numerals here. When the lines are ruled, tick "
        f"every reading of the table of {unit}, and draw each tick {work.scale_out:.1f} mm long, "
        "from the first long line outwards and never inwards."
    )
    last = work.scale[-1]
    true = last.reading - (last.x - float(layout.grid.cross_x[0]))
    if job.units == "in" and not job.numerals.first and abs(true) < _TRUE_TAPE:
        yield "Where the tape has centimetres on its other edge, tick by those: they are the same."
