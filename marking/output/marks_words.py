"""What else is marked besides cross lines, bands and their numerals along the sides, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.job.line_numbers import lines_counted
from marking.layout.second_scale import other_unit
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import HemsTable, MarkingJob
    from marking.layout.layout import Layout


def counted_from(hems: HemsTable) -> str:
    """Where side hems are laid from, in words."""
    return "the long edge" if hems.counted_from == "edge" else "the first long line"


def inner_lines(layout: Layout, job: MarkingJob) -> Iterator[str]:
    """The numerals that stand on lines, and the lines that are dashed, as Markdown."""
    bands = [placed.numeral for placed in layout.numerals if placed.numeral.row == "band"]
    if bands:
        texts = {one.value: one.text for one in sorted(bands, key=lambda one: one.value)}
        apart = format_length(job.hems.number_apart, job.units)
        yield (
            f"- The hem bands carry their own numerals, {bands[0].height:.1f} mm high, each "
            f"standing on its line, at both ends and every {apart}: {', '.join(texts.values())}."
        )
    rows = {placed.numeral.row for placed in layout.numerals}
    keys = job.numerals
    if keys.first:
        yield f"- The numerals begin at {keys.first} on the zero line."
    for said in lines_counted(keys):
        yield f"- {said}"
    if "second" in rows:
        zero = next(
            placed.numeral
            for placed in layout.numerals
            if placed.numeral.row == "second" and placed.numeral.value == 0
        )
        away = (zero.at_table[0] - float(layout.grid.cross_x[0])) / layout.slack[0]
        yield (
            "- A second row in the margins, nearer to the lines and smaller, counts both ways from "
            f"the cross line {format_length(away, job.units)} from the zero line."
        )
    if "middle" in rows:
        yield (
            "- In the middle, numerals stand to the right of their cross line, as who reads them "
            f"sees it: every {keys.middle_every} lines, a row for each side that carries numerals."
        )
    other = [placed.numeral for placed in layout.numerals if placed.numeral.row == "other"]
    if other:
        values = [one.text for one in other]
        yield (
            f"- The {other[0].side} side counts {other_unit(job.units)} from the same zero, with a "
            f"tick at each and numerals {other[0].height:.1f} mm high: {', '.join(values[:3])} to "
            f"{values[-1]}."
        )
    named = {
        (placed.numeral.text, placed.numeral.side)
        for placed in layout.numerals
        if placed.numeral.row == "line"
    }
    for text, side in sorted(named):
        yield f"- The long line {text} has its number at its ends, to be read from the {side} side."
    if job.table.against_wall:
        yield (
            "- The far edge stands against a wall: numerals, hem bands and sections are for the "
            "near side alone."
        )
    dashed = sorted({line.offset for line in layout.grid.long_lines if line.dashed})
    if dashed:
        shown = ", ".join(format_length(offset, job.units) for offset in dashed)
        yield (
            f"- Dashed, being no lines of the grid's pitch: {shown} from {counted_from(job.hems)}."
        )
