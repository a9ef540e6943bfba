"""How a printed cover is pulled onto the ticks of its table, for people and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.job.keys import tape_of
from marking.measures.lengths import rough_length
from marking.measures.tape import as_taped, tape_reading

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout
    from marking.stretching.ticks import PullTick

_DOUBT = 0.003
"""How far a stretch measured on a piece may be from the cover's own: our example, no source."""
_STEPS = (
    "Before the cover goes on, mark the ticks below on the table's own sides, every reading from "
    "the same corner of its side and none added to the one before. Check both diagonals of the "
    "top first.",
    "Lay the cover on without pull. Bring its zero line and its near long line to their readings "
    "at the zero corner, and look that the numerals' zero is at the zero end.",
    "Fasten the middle of each side first: near edge, then far edge straight across from it, then "
    "zero end, then far end. The line that belongs there meets its tick, and the line along the "
    "side lies as far in as the table says: hold a square against the side at the tick.",
    "Then from the middle out, one tick at a time, always on opposite sides in turn: a tick to "
    "the left of the middle near, the same one far, the same to the right; the ends likewise. Two "
    "or three staples at each tick, none driven home yet.",
    "Corners last. Go round once more: a line that has left its tick is let go and pulled again, "
    "with its neighbours. Between ticks, ease the cloth evenly; no pull may make a line bow.",
    "Only then drive the staples home. A line that will not come to its tick on both sides by a "
    "fair pull was drawn for another stretch: stop, and measure what the cloth gives before you "
    "force it.",
)
"""Common practice, no source."""


def is_pulled_on(layout: Layout, *, drawn_through: bool) -> bool:
    """Whether the cover is marked before it is stretched onto its table."""
    return drawn_through or layout.slack != (1.0, 1.0)


def pull_lines(layout: Layout, job: MarkingJob, ticks: Sequence[PullTick]) -> Iterator[str]:
    """Ticks, readings and how to pull, as Markdown."""
    tape = tape_of(job.tape)
    xs = layout.grid.cross_x / layout.slack[0]
    off = rough_length(_DOUBT * float(xs[-1] - xs[0]), job.units)
    yield "## Pulling the printed lines onto the table"
    yield ""
    yield (
        "The stretch in per cent says only how slack to draw. If this cloth gave "
        f"{100 * _DOUBT:g} % more or less than told, line {len(xs) - 1} would lie {off} off, "
        "measured from the zero line. So the lines are pulled onto ticks on the table's own "
        "sides (common practice, no source):"
    )
    yield ""
    for number, step in enumerate(_STEPS, 1):
        yield f"{number}. {step}"
    yield ""
    yield "| side | line | reading along the side | line along the side lies in by |"
    yield "|---|---|---|---|"
    for tick in ticks:
        reading = as_taped(tape_reading(tick.along_side, tape), tape, job.units)
        inset = rough_length(tick.inset, job.units)
        yield f"| {tick.side} | {_line_name(tick, layout)} | {reading} | {inset} |"
    yield ""
    yield (
        "Edges are taped from their zero corner, ends from the near corner. The line along a side "
        "is the first long line at an edge, the zero line or the last cross line at an end."
    )
    yield ""


def _line_name(tick: PullTick, layout: Layout) -> str:
    """The line as a person finds it on the cover."""
    if tick.line is None:
        return "none: only how far in counts"
    kind, _, number = tick.line.partition("-")
    if kind == "cross":
        return f"cross line {number}"
    line = next(one for one in layout.grid.long_lines if one.id == tick.line)
    count = sorted(one.offset for one in layout.grid.long_lines if one.side == line.side).index(
        line.offset
    )
    return f"long line {count + 1} from the {line.side} edge"


def pull_record(ticks: Sequence[PullTick]) -> Sequence[Mapping[str, Any]]:
    """The ticks for programs: true lengths in mm, no tape's."""
    return [
        {
            "side": tick.side,
            "line": tick.line,
            "at": list(tick.at_table),
            "along_side_mm": tick.along_side,
            "inset_mm": tick.inset,
        }
        for tick in ticks
    ]
