"""The numerals that hem bands carry: which lines, and where along them. Table frame, mm."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from marking.layout.on_lines import OnLine

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.lines import LongLine
    from marking.layout.numerals import Numeral

_SAME = 1e-6


def band_numerals(
    job: MarkingJob, long_lines: Sequence[LongLine], xs: FloatArray, half: float
) -> list[OnLine]:
    """What is to stand on the bands' lines, `half` their ink: at both ends and between.

    Bands carry numerals on the sides that cross lines do. `xs` are those of the cross lines.
    """
    every, pitch = job.hems.numbered, job.grid.pitch
    if not every:
        return []
    places = list(_along(xs, pitch, job.hems.number_apart))
    wanted = []
    for line in long_lines:
        k = round(line.offset / pitch)
        in_band = line.layer == "hem" or line.id == f"long-{line.side}"
        if not in_band or line.side not in job.numbered_sides:
            continue
        if k and k % every == 0 and abs(line.offset - k * pitch) < _SAME:
            value = k * job.numerals.per_line
            half_ink = (line.y, half)
            wanted += [OnLine(str(value), value, line.side, "band", half_ink, x) for x in places]
    return wanted


def _along(xs: FloatArray, pitch: float, apart: float) -> Iterator[float]:
    """In the first cell, every so far from the zero line, and in the last cell."""
    first, last = float(xs[0]) + pitch / 2, float(xs[-1]) - pitch / 2
    yield first
    yield from np.arange(first + apart, last - apart / 2, apart).tolist()
    if last > first:
        yield last


def left_out(wanted: Sequence[OnLine], placed: Sequence[Numeral]) -> list[str]:
    """A warning about numerals of the bands that found no room, if any did not."""
    here = Counter((one.text, one.side) for one in placed if one.row == "band")
    missing = Counter((one.text, one.side) for one in wanted) - here
    if not missing:
        return []
    shown = ", ".join(f"{text} ({side}, {count})" for (text, side), count in missing.items())
    return [
        f"Numerals of the hem bands that find no room clear of other lines are left out: {shown}. "
        "A finer pens.numerals, a smaller numerals.clear or hems.folds that leave more between "
        "lines would give them some."
    ]
