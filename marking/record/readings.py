"""Readings of marks from a file: which mark, in which section, and where the bed saw it.

Bed frame, millimetres. Whether the marks are known and enough is for whoever places the section.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.errors import BadInputError
from marking.input.rows import Columns, read_rows
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from pathlib import Path

READING_SD = 0.25
"""mm per axis, of a pen or a projected cross brought by eye onto the middle of a mark.

A quarter of the millimetre that a cloth pen draws; own estimate, to be replaced by a person's
own repeats of one mark.
"""
_COARSEST = 5.0
_COLUMNS = Columns("reading", ("section", "mark"), ("x", "y"), ("sd",))


class MarkReading(Struct, frozen=True):
    """One mark as the device sees it."""

    section: str
    mark: str
    at_bed: tuple[float, float]
    """Bed frame, mm."""
    sd: float
    """Standard deviation in mm, on each axis."""
    where: str
    """File and line, for messages."""


def read_readings(
    path: Path, *, section: str | None = None, sd: float = READING_SD
) -> tuple[MarkReading, ...]:
    """The readings in a TOML or CSV file, in its order.

    TOML has one `[[reading]]` each with `section`, `mark`, `x`, `y` and perhaps `sd`, lengths
    with units; a `section` at the top holds for all that name none. CSV has those columns, or
    `x_mm`, `x_in` and so on with bare numbers. `section` and `sd` stand in where the file gives
    none. A mark read twice is two readings.

    Raises BadInputError with a message for each fault, naming file, line and what would do.
    """
    given = {"section": section} if section is not None else None
    rows = read_rows(path, _COLUMNS, given)
    faults = [
        f"{row.where}: sd = {format_length(row.lengths['sd'], 'mm')}: a reading is not taken that "
        f"closely or that coarsely; give more than 0 and at most {_COARSEST:g} mm"
        for row in rows
        if not 0 < row.lengths.get("sd", sd) <= _COARSEST
    ]
    if faults:
        raise BadInputError(*faults)
    return tuple(
        MarkReading(
            row.text["section"],
            row.text["mark"],
            (row.lengths["x"], row.lengths["y"]),
            row.lengths.get("sd", sd),
            row.where,
        )
        for row in rows
    )
