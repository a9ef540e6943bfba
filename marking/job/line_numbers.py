"""How cross lines are called by number: from the zero line as 0, whatever their numerals read."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import NumeralsTable


def lines_counted(numerals: NumeralsTable) -> Iterator[str]:
    """A sentence on how lines are counted, only where their numerals read otherwise."""
    zero, first = numerals.at_line(0), numerals.at_line(1)
    if (zero, first) == (0, 1):
        yield from told_apart(numerals)
        return
    yield (
        "Here lines are counted from the zero line as 0, whatever their numerals read: 0 is "
        f"the line that reads {zero}, 1 the next one, that reads {first} or would, and so on."
    )
    if numerals.other_unit != "none":
        yield f"The numerals of the {numerals.other_unit} side count in another unit, and no lines."


def told_apart(numerals: NumeralsTable) -> Iterator[str]:
    """Which side's numerals are none of the lines', where one counts in another unit."""
    if numerals.other_unit != "none":
        other = "far" if numerals.other_unit == "near" else "near"
        yield (
            f"The numerals of the {numerals.other_unit} side count in another unit: a number of a "
            f"line is always as the {other} side counts them, at both of its ends."
        )
