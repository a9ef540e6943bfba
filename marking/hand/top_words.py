"""What a sheet says of the top it was made for: what its ends are called, and how it was measured.

It knows the job and its layout, and no paper.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units

NAMES = (
    "Near edge: the long edge that you call the front. Zero end: the end on your left as you stand "
    "at the near edge; the numerals begin there, whichever side they stand on. Far edge and far "
    "end lie across."
)
"""What who was not there when the table was measured has to know."""


def top_lines(layout: Layout, job: MarkingJob) -> Iterator[str]:
    """What the top measures, so that it can be measured once more before there is ink."""
    survey = job.table.survey

    def shown(length: float) -> str:
        return format_length(length, job.units)

    if survey is None:
        long, wide = (shown(side) for side in (job.table.length, job.table.width))
        across = shown(_to_a_sixteenth(math.hypot(job.table.length, job.table.width), job.units))
        yield (
            f"The top was not measured: everything is for a true rectangle, {long} by {wide}, with "
            f"diagonals of {across}. Measure its four sides and both diagonals first. If one is "
            f"off by more than {shown(job.tolerance)}, write all six into job.toml and print anew."
        )
        return
    yield (
        f"The top as it was measured: near edge {shown(survey.near)}, far edge "
        f"{shown(survey.far)}, zero end {shown(survey.zero_end)}, far end {shown(survey.far_end)}; "
        f"diagonals {shown(survey.diagonal_from_zero_near)} from the corner of zero end and near "
        f"edge, {shown(survey.diagonal_from_zero_far)} from that of zero end and far edge."
    )


def _to_a_sixteenth(length: float, units: Units) -> float:
    step = 25.4 / 16 if units == "in" else 1.0
    return round(length / step) * step


def longest_taped(layout: Layout) -> float:
    """mm: the longest distance that is taped on this top, from corner to corner."""
    corners = layout.top.corners_table
    return max(math.dist(corners[0], corners[2]), math.dist(corners[1], corners[3]))
