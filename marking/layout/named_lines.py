"""Long lines for particular work: the named ones, whole or in part, and the centre line.

Each lies clear of what is there or exactly on it, and is then that line. Table frame, mm.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.layout.lines import BETWEEN_INK, LongLine, counted_from
from marking.layout.on_lines import OnLine
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob, PensTable
    from marking.job.line_keys import LineTable
    from marking.layout.numerals import Numeral
    from marking.measures.lengths import Units

_SAME = 1e-6


class PartLine(Struct, frozen=True):
    """A long line over part of the table, from `start` to `end` along it."""

    id: str
    y: float
    start: float
    end: float


def with_named(
    job: MarkingJob, lines: Sequence[LongLine], rect: tuple[float, float, float, float]
) -> list[LongLine]:
    """`lines`, rising, and the named ones and the centre line that run the whole length.

    Raises RefusedError for one that lies off the grid or runs into another.
    """
    found = list(lines)
    for count, key in enumerate(job.grid.lines, 1):
        y = _place(job, key, lines, rect)
        if (key.start or key.end is not None) and _at(found, y) is None:
            continue
        _put(
            job.pens,
            found,
            LongLine(f"line-{count}", "long", key.side, key.at, y),
            _said(key, job.units),
        )
    if job.grid.centre_line:
        y = (lines[0].y + lines[-1].y) / 2
        offset = y - rect[1] - counted_from(job)
        centre = LongLine("centre-line", "long", "near", offset, y, pen="heavy")
        _put(job.pens, found, centre, "grid.centre_line")
    return sorted(found, key=lambda line: line.y)


def part_lines(
    job: MarkingJob,
    lines: Sequence[LongLine],
    xs: FloatArray,
    rect: tuple[float, float, float, float],
) -> list[PartLine]:
    """The named lines that run part of the length, beside the whole ones in `lines`."""
    parts: list[PartLine] = []
    for count, key in enumerate(job.grid.lines, 1):
        y = _place(job, key, lines, rect)
        start, end = _run(job.units, key, xs)
        if not (key.start or key.end is not None) or _at(lines, y) is not None:
            continue
        _check_apart(job.pens, y, [(line.id, line.y) for line in lines], _said(key, job.units))
        others = [(part.id, part.y) for part in parts if abs(part.y - y) > _SAME]
        _check_apart(job.pens, y, others, _said(key, job.units))
        for part in parts:
            if abs(part.y - y) <= _SAME and start <= part.end and part.start <= end:
                raise RefusedError(
                    f"{_said(key, job.units)}: it runs over another part of a line at that "
                    "distance; make one line of them"
                )
        parts.append(PartLine(f"line-{count}", y, start, end))
    return parts


def end_numerals(
    job: MarkingJob,
    lines: Sequence[LongLine],
    xs: FloatArray,
    rect: tuple[float, float, float, float],
    levels: Sequence[tuple[float, float]],
) -> list[OnLine]:
    """The number of each named line, at both of its ends."""
    wanted = []
    pitch = job.grid.pitch
    for key in job.grid.lines:
        y = _place(job, key, lines, rect)
        half = next(half for at, half in levels if abs(at - y) <= _SAME)
        start, end = _run(job.units, key, xs)
        text = _text(key, job.units)
        places = [start + pitch / 2, end - pitch / 2]
        wanted += [
            OnLine(text, round(key.at / _unit(job.units)), key.side, "line", (y, half), x)
            for x in (places if end - start > 2 * pitch else places[:1])
        ]
    return wanted


def refuse_unnumbered(wanted: Sequence[OnLine], placed: Sequence[Numeral]) -> None:
    """Raises RefusedError for a named line whose number finds no room."""
    missing = Counter(one.text for one in wanted)
    missing -= Counter(one.text for one in placed if one.row == "line")
    for one in wanted:
        if missing[one.text]:
            raise RefusedError(
                f"grid.lines: {one.text}: its number finds no bare cloth on the line near its "
                "end between two cross lines: it is too wide, or another line or a numeral comes "
                "there. Take a shorter name, move that line, leave numerals of the bands out "
                "(hems.number_every = 0), or make numerals.clear smaller"
            )


def _unit(units: Units) -> float:
    return 25.4 if units == "in" else 10.0


def _text(key: LineTable, units: Units) -> str:
    if key.name is not None:
        return key.name
    if units == "in":
        return format_length(key.at, "in").removesuffix(" in")
    return f"{key.at / 10:g}"


def _said(key: LineTable, units: Units) -> str:
    return f"grid.lines: the line at {format_length(key.at, units)}"


def _place(
    job: MarkingJob,
    key: LineTable,
    lines: Sequence[LongLine],
    rect: tuple[float, float, float, float],
) -> float:
    """y of a named line, on the grid."""
    if key.side == "far" and job.table.against_wall:
        raise RefusedError(
            f"{_said(key, job.units)}: nobody stands at the far side of a table against a wall; "
            "count it "
            'from the near side (side = "near")'
        )
    counted = counted_from(job) + key.at
    y = rect[1] + counted if key.side == "near" else rect[3] - counted
    low, high = lines[0].y, lines[-1].y
    if low - _SAME <= y <= high + _SAME:
        return y
    where = "off the table"
    if rect[1] <= y <= rect[3]:
        where = "in the margin, where the numerals stand"
    own = low - rect[1] if key.side == "near" else rect[3] - high
    first = own - counted_from(job)
    last = first + high - low
    raise RefusedError(
        f"{_said(key, job.units)} would lie {where}; lines lie from "
        f"{format_length(max(0.0, first), job.units)} to {format_length(last, job.units)}, "
        "counted as hems are"
    )


def _run(units: Units, key: LineTable, xs: FloatArray) -> tuple[float, float]:
    """From where to where along the table."""
    zero, last = float(xs[0]), float(xs[-1])
    start, end = zero + key.start, last if key.end is None else zero + key.end
    if start > last - _SAME or end > last + _SAME:
        raise RefusedError(
            f"{_said(key, units)}: it would run beyond the last cross line, "
            f"{format_length(last - zero, units)} from the zero line"
        )
    return start, end


def _at(lines: Sequence[LongLine], y: float) -> LongLine | None:
    return next((line for line in lines if abs(line.y - y) <= _SAME), None)


def _put(pens: PensTable, lines: list[LongLine], line: LongLine, said: str) -> None:
    """`line` among `lines`: itself, or made of the one that lies just there."""
    there = _at(lines, line.y)
    if there is not None:
        pen = line.pen if line.pen == "heavy" else there.pen
        lines[lines.index(there)] = replace(there, dashed=False, pen=pen)
        return
    _check_apart(pens, line.y, [(other.id, other.y) for other in lines], said, line.pen)
    lines.append(line)


def _check_apart(
    pens: PensTable,
    y: float,
    others: Sequence[tuple[str, float]],
    said: str,
    pen: str = "lines",
) -> None:
    ink = (pens.named(pen).line_width + pens.lines.line_width) / 2
    for name, at in others:
        if abs(at - y) < ink + BETWEEN_INK:
            raise RefusedError(
                f"{said} would run into {name}, {abs(at - y):.2f} mm beside it; lay it on that "
                f"line, or {ink + BETWEEN_INK:.1f} mm or more off it"
            )
