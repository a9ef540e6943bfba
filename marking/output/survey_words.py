"""The survey of the top in words: its shape, how well it closes, and which slips would pass.

It knows the job and its top; what a slip comes to is `marking.layout.survey_slips`'.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.job.keys import tape_of
from marking.layout.survey import slips_of
from marking.layout.top_shape import SIDES
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.survey import Top
    from marking.layout.survey_slips import More
    from marking.measures.lengths import Units

_WHERE = {
    "middle": "across, from the middle of the near edge to that of the far edge",
    "half_from_zero_near": "corner of zero end and near edge to the middle of the far edge",
    "half_from_far_near": "corner of far end and near edge to the middle of the far edge",
    "half_from_zero_far": "corner of zero end and far edge to the middle of the near edge",
    "half_from_far_far": "corner of far end and far edge to the middle of the near edge",
    "square_between": "a 3-4-5 at the zero corner, with square_along and square_across",
}


def survey_lines(top: Top, job: MarkingJob) -> Iterator[str]:
    """Lines of the report; before a survey, what its six measurements will show."""
    adjustment = top.adjustment
    if adjustment is None:
        yield "- No survey: the top is taken as a true rectangle. Measure it before inking."
        yield from _slip_lines(top, job)
        return
    lean = "outward" if top.out_of_square >= 0 else "inward"
    wider = "far end" if top.out_of_parallel >= 0 else "zero end"
    yield (
        f"- The zero end leans {small(top.out_of_square, job.units)} {lean} over its height, and "
        f"the top is {small(top.out_of_parallel, job.units)} wider at the {wider}. Lay a square "
        "into the zero corner: if the end leans the other way, the two diagonals are exchanged."
    )
    count = "six" if len(adjustment.names) == len(SIDES) else len(adjustment.names)
    yield (
        f"- The {count} measurements disagree by {small(adjustment.misclosure, job.units)} on the "
        f"diagonal, and at most by {adjustment.in_sds:.1f} times what the tape explains: "
        f"{'no slip shows' if adjustment.in_sds < 2 else 'measure again if you can'}."
    )
    yield from _slip_lines(top, job)


def _slip_lines(top: Top, job: MarkingJob) -> Iterator[str]:
    slips = slips_of(job.table, top, tape_of(job.tape))
    yield (
        f"- A slip of the tape shows, 99 times in 100, from {_sizes(slips.now, job.units)}. A "
        "smaller one may pass."
    )
    if slips.one_more is not None:
        yield f"- One measurement more under [table.survey], {_with(slips.one_more, job.units)}."
    if slips.several is not None:
        yield f"- With {_with(slips.several, job.units)}."


def _with(more: More, units: Units) -> str:
    named = [
        f"`{name}` ({_WHERE[name]})" if name in _WHERE else f"`{name}` (the same a second time)"
        for name in more.names
    ]
    return f"{', '.join(named)}: from {_sizes(more.shows, units)}"


def _sizes(shows: FloatArray, units: Units) -> str:
    """Each of the six with its size; the two of a pair together where they are alike."""
    sizes = [_from(size, units) for size in shows.tolist()]
    said = []
    for first, both in ((0, "either long edge"), (2, "either end"), (4, "either diagonal")):
        one, other = sizes[first : first + 2]
        if one == other:
            said.append(f"{one} in {both}")
        else:
            said.append(f"{one} in {SIDES[first]}, {other} in {SIDES[first + 1]}")
    return ", ".join(said)


def _from(size: float, units: Units) -> str:
    """A size rounded up to what a tape shows: a slip of that much does show."""
    if not math.isfinite(size):
        return "at no size"
    step = 1.0 if units == "mm" else 25.4 / 16
    return format_length(math.ceil(size / step - 1e-9) * step, units)


def small(millimetres: float, units: Units) -> str:
    """A small difference, without its sign, as the job's tape shows it and in millimetres."""
    shown = f"{abs(millimetres):.1f} mm"
    if units == "mm":
        return shown
    on_tape = format_length(abs(millimetres), units)
    return f"{'under 1/32 in' if on_tape == '0 in' else on_tape} ({shown})"
