"""What the margins count besides the lines: a second row's zero, and a scale in the other unit.

Table frame, millimetres.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.layout.lines import BETWEEN_INK
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.lines import Side
    from marking.measures.lengths import Units

OF_FIRST = 2 / 3
"""Its height over the first row's, so that the two are told apart: our judgement, no source."""
_SAME = 1e-6


def second_zero(job: MarkingJob, lines: int) -> int | None:
    """Which of `lines` cross lines the second row counts from; None where there is none.

    Raises RefusedError for a place off the table, with no numbered cross line, or on the zero line.
    """
    wanted, every, pitch = job.numerals.second_zero, job.numerals.every, job.grid.pitch
    if wanted == "none":
        return None
    if wanted == "middle":
        return round((lines - 1) / 2 / every) * every
    shown = format_length(wanted, job.units)
    number = round(wanted / pitch)
    last = (lines - 1) // every * every
    if wanted > last * pitch + _SAME:
        raise RefusedError(
            f"numerals.second_zero = {shown}: off the table; the last numbered cross line is "
            f'{format_length(last * pitch, job.units)} from the zero line. Take that or less, or "'
            'middle"'
        )
    if abs(wanted - number * pitch) > _SAME or number % every or not number:
        below = max(every, int(wanted / pitch / every) * every)
        above = min(last, below + every)
        raise RefusedError(
            f"numerals.second_zero = {shown}: no numbered cross line stands there but the zero "
            "line's own, and two scales that are not on the same lines collide. Take "
            f"{format_length(below * pitch, job.units)} or "
            f"{format_length(above * pitch, job.units)}"
        )
    return number


class OtherScale(Struct, frozen=True):
    """Ticks along one side at every centimetre, or at every inch, from the zero of the lines."""

    side: Side
    unit: str
    """What it counts, in words."""
    unit_mm: float
    values: tuple[int, ...]
    """Rising, one for each tick."""
    xs: FloatArray
    """Of the ticks."""
    reach: float
    """From the middle of the first long line outwards to a tick's end, in mm."""

    def ticks(self, y: float) -> Iterator[tuple[str, FloatArray]]:
        """Id and (2, 2) of each tick, `y` the first long line of its side."""
        end = y + (self.reach if self.side == "far" else -self.reach)
        for value, x in zip(self.values, self.xs.tolist(), strict=True):
            yield f"scale-{self.side}-{value}", np.array([[x, y], [x, end]])


def line_sides(job: MarkingJob) -> tuple[Side, ...]:
    """The sides whose numerals count the cross lines."""
    return tuple(side for side in job.numbered_sides if side != job.numerals.other_unit)


def other_scale(job: MarkingJob, cross_x: FloatArray) -> OtherScale | None:
    """The scale in the other unit that `job` asks for, from the first of `cross_x` to the last.

    Places are counted as fractions, an inch being 25.4 mm (exact by definition since 1959, the
    international yard and pound agreement). Raises RefusedError for one that cannot be.
    """
    side = job.numerals.other_unit
    if side == "none":
        return None
    unit, unit_mm = other_unit(job.units), _UNIT[job.units]
    pitch = _exact(job.grid.pitch)
    _check_other(job, side, unit, unit_mm)
    # Where the first numeral is not 0, both scales count from a zero before the zero line.
    before = job.numerals.first * pitch / job.numerals.per_line
    low = -(-before // unit_mm)
    high = (before + (len(cross_x) - 1) * pitch) // unit_mm
    values = range(int(low), int(high) + 1)
    zero = float(cross_x[0])
    places = []
    for value in values:
        along = value * unit_mm - before
        line = along / pitch
        # Where a line stands at the very place, the tick is its end: one upright, not two.
        whole = line.denominator == 1
        places.append(float(cross_x[int(line)]) if whole else zero + float(along))
    reach = (job.grid.margin - job.table.edge_radius) / 4
    return OtherScale(side, unit, float(unit_mm), tuple(values), np.array(places), reach)


_UNIT: Mapping[Units, Fraction] = {"in": Fraction(10), "mm": Fraction("25.4")}
"""mm from tick to tick of the scale, by the units of the job."""


def other_unit(units: Units) -> str:
    """What a scale in the other unit counts."""
    return "centimetres" if units == "in" else "inches"


def _exact(length: float) -> Fraction:
    return Fraction(str(round(length, 9)))


def _check_other(job: MarkingJob, side: Side, unit: str, unit_mm: Fraction) -> None:
    said = f'numerals.other_unit = "{side}"'
    if side == "far" and job.table.against_wall:
        raise RefusedError(
            f"{said}: nobody stands at the far side of a table against a wall, and the near side "
            'keeps the numerals of the lines; leave the scale out (other_unit = "none")'
        )
    if len(job.numbered_sides) < 2:
        raise RefusedError(
            f"{said}: one side counts the lines and the other {unit}, so both carry numerals; "
            + (
                'leave the scale out (other_unit = "none"), the far side being against a wall'
                if job.table.against_wall
                else 'write sides = ["near", "far"]'
            )
        )
    if _exact(job.grid.pitch) == unit_mm * job.numerals.per_line:
        raise RefusedError(
            f"{said}: the lines count {unit} already, as their pitch and numerals.per_line make "
            'it; leave the scale out (other_unit = "none"), or change units, which says what the '
            "other unit is"
        )
    ink = job.pens.lines.line_width
    if ink + BETWEEN_INK > unit_mm:
        raise RefusedError(
            f"{said}: ticks {float(unit_mm):g} mm apart would run together, being "
            f"{format_length(ink, 'mm')} wide; take a finer pens.lines, "
            f"{format_length(float(unit_mm) - BETWEEN_INK, 'mm')} at most with all its passes"
        )
