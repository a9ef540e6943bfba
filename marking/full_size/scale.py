"""How far off a printer is, from a length that it printed, and what to draw instead.

Millimetres; across is along the lower edge of the sheet, up along its side.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.errors import BadInputError
from marking.measures.lengths import format_length, parse_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.measures.lengths import Units

MOST_OFF = 0.05
"""Past this a printer was told to fit the page, or the wrong line was measured."""


class Lengths(Struct, frozen=True):
    """The check lengths of a sheet, true: across it and up it."""

    across: float
    up: float


class Scale(Struct, frozen=True):
    """What is drawn for a true millimetre, so that a true one is printed: across and up."""

    across: float = 1.0
    up: float = 1.0

    @property
    def one(self) -> bool:
        """Whether nothing is corrected."""
        return (self.across, self.up) == (1.0, 1.0)


def scale_of(measured: Sequence[str], lengths: Lengths, units: Units) -> Scale:
    """What corrects a printer whose check lengths came out as `measured`.

    One figure is the length across, and is taken for both ways; two are across and up. Raises
    BadInputError for what is no length, and for more than `MOST_OFF`.
    """
    if not measured:
        return Scale()
    if len(measured) > 2:
        raise BadInputError(
            f"--measured: {len(measured)} lengths; give the one across the sheet, or that and the "
            "one up it"
        )
    found = [
        _corrected(text, true, units)
        for text, true in zip(measured, (lengths.across, lengths.up), strict=False)
    ]
    return Scale(found[0], found[-1])


def _corrected(text: str, true: float, units: Units) -> float:
    try:
        printed = parse_length(text)
    except ValueError as fault:
        raise BadInputError(f"--measured {text!r}: {fault}") from None
    if not abs(printed / true - 1) <= MOST_OFF:
        raise BadInputError(
            f"--measured {text!r}: {format_length(true, units)} on the sheet came out "
            f"{abs(printed / true - 1):.1%} {'longer' if printed > true else 'shorter'}, and no "
            f"printer is off by more than {MOST_OFF:.0%}: print at 100 % (actual size, not fitted "
            "to the page), and measure from tick to tick"
        )
    return true / printed
