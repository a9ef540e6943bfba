"""What to know of a division before inking, in words: what nobody reaches, and what would do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.measures.counts import counted
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.job.keys import MarkingJob
    from marking.sections.division import Division
    from marking.sections.joins import Axis

Open = tuple[float, float, int]
"""A strip that nobody reaches: from where to where across the table, and the lines left open."""


def division_warnings(
    unreached: Sequence[Open], job: MarkingJob, division: Division, across: Axis
) -> list[str]:
    """What a person should know of `division` before inking; `across` is its axis."""
    warnings = []
    zone = division.zone
    to_rule = job.inking.cross_lines == "ruled" and not zone.manner.along_a_rule
    if to_rule and not division.ruled:
        warnings.append(
            "The hem bands leave too little between them for cross lines to be ruled: they are "
            "inked whole."
        )
    if zone.feed is not None and job.cloth.stretch_length == job.cloth.stretch_width == 0:
        warnings.append(
            "The canvas is marked loose, drawn through the plotter, and stretched on afterwards, "
            "but [cloth] says that it stretches by nothing. Measure how much a piece of the same "
            "canvas gains when it is stretched on, along and across, and give stretch_length and "
            "stretch_width, or every line will lie off by it."
        )
    if job.table.against_wall:
        return [*warnings, *_against_wall(unreached, job, division)]
    for low, high, lines in unreached:
        needed = (across.start + across.end) / 2 + job.grid.pitch
        warnings.append(
            f"Nobody reaches the middle, from {format_length(low, job.units)} to "
            f"{format_length(high, job.units)} off the near edge, with an arm's reach of "
            f"{format_length(zone.depth, job.units)}: that leaves "
            f"{counted(lines, 'line')} open there. "
            f"A reach of {format_length(needed, job.units)} would do; or join what is open "
            "afterwards along a straight rule laid across. Do not climb on the table to reach it."
        )
    return warnings


def _against_wall(unreached: Sequence[Open], job: MarkingJob, division: Division) -> Iterator[str]:
    """What cannot be reached from the near edge of a table against a wall."""
    zone = division.zone
    for low, high, lines in unreached:
        yield (
            f"The table stands against a wall. From the near edge nobody reaches beyond "
            f"{format_length(low, job.units)}, with an arm's reach of "
            f"{format_length(zone.depth, job.units)}: that leaves "
            f"{counted(lines, 'line')} open up to {format_length(high, job.units)}. Pull the "
            "table off the wall for them. Do not climb on the table to reach them."
        )
    if zone.manner.inks_by_itself and zone.feed is None:
        far = [n for n, row in enumerate(division.rows, 1) if row.core[1] > job.reach.depth]
        if far:
            yield (
                f"The table stands against a wall, and sections of "
                f"{'row' if len(far) == 1 else 'rows'} {', '.join(map(str, far))} lie deeper than "
                f"an arm's reach of {format_length(job.reach.depth, job.units)} from the near "
                "edge: nobody can set the device down there, read marks or lift it off. Pull the "
                "table off the wall for them. Do not climb on the table."
            )
