"""The numerals that hem bands carry: which lines, and where along them. Table frame, mm."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.layout.on_lines import OnLine

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.lines import LongLine

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
        if not in_band or line.side not in job.numerals.sides:
            continue
        if k and k % every == 0 and abs(line.offset - k * pitch) < _SAME:
            value = k * job.numerals.per_line
            wanted += [
                OnLine(str(value), value, line.side, "band", (line.y, half), x, "hems.number_every")
                for x in places
            ]
    return wanted


def _along(xs: FloatArray, pitch: float, apart: float) -> Iterator[float]:
    """In the first cell, every so far from the zero line, and in the last cell."""
    first, last = float(xs[0]) + pitch / 2, float(xs[-1]) - pitch / 2
    yield first
    yield from np.arange(first + apart, last - apart / 2, apart).tolist()
    if last > first:
        yield last
