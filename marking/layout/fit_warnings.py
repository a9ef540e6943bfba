"""What to know of how the numerals and the last line fit, before inking."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.numerals import Legibility

_TWO_NUMBERS = 1.5
"""The gap between two numerals over that between two digits under which they are one to the eye;
our judgement, no source."""


def fit_warnings(
    job: MarkingJob,
    legibility: Legibility | None,
    cross_x: FloatArray,
    rect: tuple[float, float, float, float],
) -> list[str]:
    """Of numerals that are hard to read, and of a line that all but fits."""
    warnings = []
    unit, unit_mm = ("inches", 25.4) if job.units == "in" else ("centimetres", 10.0)
    counted = job.grid.pitch / job.numerals.per_line
    if legibility is not None and abs(counted - unit_mm) > 1e-6:
        warnings.append(
            f"The numerals do not count {unit}: each line counts for {job.numerals.per_line} and "
            f"stands {format_length(job.grid.pitch, job.units)} from the last."
        )
    if legibility is not None and legibility.arc_minutes < 16:
        warnings.append(
            f"Numerals {legibility.height:.1f} mm high are hard to read from "
            f"{format_length(job.numerals.view_from, job.units)} off: "
            f"{legibility.height * 16 / legibility.arc_minutes:.1f} mm would be readable."
        )
    if legibility is not None and legibility.height_to_stroke < 7:
        warnings.append(
            f"Numerals only {legibility.height_to_stroke:.1f} pen widths high will fill in; "
            "use a finer pen."
        )
    near = legibility.neighbours if legibility is not None else None
    if near is not None and near.ratio < _TWO_NUMBERS:
        warnings.append(
            f"{near.values[0]} and {near.values[1]} would read as one number: they stand "
            f"{near.gap:.1f} mm apart, hardly further than their own digits. Up to "
            f"{math.floor(near.apart_height * 10) / 10:.1f} mm high, a digit's width of cloth "
            "shows between them."
        )
    missed = job.grid.pitch - (rect[2] - job.grid.end_margin - float(cross_x[-1]))
    if missed < job.grid.pitch / 8:
        step = 25.4 / 32 if job.units == "in" else 0.1
        less = math.floor((job.grid.end_margin - missed / 2) / step) * step
        advice = f'; grid.end_margin = "{format_length(less, job.units)}" would let it on'
        on_the_top = less >= max(job.pens.lines.line_width, job.pens.heavy.line_width) / 2
        warnings.append(
            f"Cross line {len(cross_x)} misses by {missed:.2f} mm at the far end"
            f"{advice if on_the_top else ''}."
        )
    if job.grid.heavy_every >= len(cross_x):
        warnings.append("Only the zero line is heavy: grid.heavy_every is more than the table has.")
    return warnings
