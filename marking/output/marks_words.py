"""What else is marked besides cross lines, bands and their numerals along the sides, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout


def counted_from(job: MarkingJob) -> str:
    """Where side hems are laid from, in words."""
    return "the long edge" if job.hems.counted_from == "edge" else "the first long line"


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
    dashed = sorted({line.offset for line in layout.grid.long_lines if line.dashed})
    if dashed:
        shown = ", ".join(format_length(offset, job.units) for offset in dashed)
        yield (f"- Dashed, being no lines of the grid's pitch: {shown} from {counted_from(job)}.")
