"""Which line serves which fold: a single hem of d uses the line at d, a double one d and 2d."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.job.keys import Fold
    from marking.layout.lines import LongLine
    from marking.measures.lengths import Units

_SAME = 1e-6


class FoldLine(Struct, frozen=True):
    """One fold line of a hem and the line that gives it, from one edge of the marking."""

    hem: str
    distance: float
    edge: str
    """`"side"` for the long edges, `"end"` for bottom and top hems from the zero line."""
    line: str | None
    """Id of the line (for a side hem, the near one), or None where no line gives this fold."""
    off_by: float
    """How far that line lies from the fold, in mm; 0 where it is exact."""


def hem_name(fold: Fold, units: Units) -> str:
    """`double 1 1/2 in`, as the schedule says it."""
    return f"{fold.kind} {format_length(fold.depth, units)}"


def fold_lines(
    schedule: Sequence[Fold],
    lines: Sequence[LongLine],
    cross: Sequence[tuple[str, float]],
    ink: float,
    units: Units,
) -> tuple[FoldLine, ...]:
    """Every fold of the schedule against the lines that are drawn.

    `cross` holds id and distance from the zero line in mm of every full-width cross line, `ink`
    is the width of a line in mm.
    A line within half its ink of the fold serves it, and the report says how far off it is.
    """
    near = [(line.id, line.offset) for line in lines if line.side == "near"]
    served = []
    for fold in schedule:
        for distance in fold.lines:
            for edge, candidates in (("side", near), ("end", cross)):
                name, offset = min(candidates, key=lambda line: abs(line[1] - distance))
                off = offset - distance
                line = name if abs(off) <= ink / 2 else None
                exact = 0.0 if abs(off) < _SAME else off
                served.append(
                    FoldLine(hem_name(fold, units), distance, edge, line, exact if line else 0.0)
                )
    return tuple(served)


def fold_warnings(folds: Sequence[FoldLine], margin: float, units: Units) -> list[str]:
    """What the schedule asks of the long lines, beyond the `margin`, and does not get."""
    warnings = []
    for fold in folds:
        if fold.edge != "side":
            continue
        shown = format_length(fold.distance, units)
        if fold.line is None:
            why = (
                "it falls in the margin, where the numerals stand"
                if fold.distance < margin
                else "there is no room for it there"
            )
            warnings.append(f"No line is drawn for the {fold.hem} side hem at {shown}: {why}.")
        elif fold.off_by:
            warnings.append(
                f"The {fold.hem} side hem's fold at {shown} is served by {fold.line}, "
                f"which lies {abs(fold.off_by):.2f} mm off it."
            )
    return warnings
