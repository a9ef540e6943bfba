"""What is said of a cover that was marked before, for a person and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.measures.lengths import format_length
from marking.measures.tape import as_taped, tape_reading
from marking.proof.words import limit_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.marked_before.errors import FoundLimit, OffCover
    from marking.marked_before.readings import SpotToMeasure
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

TWO_SIDED = 1.96
"""Standard deviations on either side that hold 95 of 100 (NIST/SEMATECH e-Handbook 1.3.6.7.1)."""
_ADVICE = {
    "keep": "KEEP IT: every limit asked for is kept.",
    "keep with the card": "KEEP IT WITH THE CARD: it is off by more than is allowed, and no more "
    "than twice that (our judgement): pin the card up, and cut by what it says.",
    "replace": "REPLACE IT: it is off by more than a card can make good, or its numbers mislead.",
    "measure again": "MEASURE AGAIN: both diagonals, the edges and the widths contradict each "
    "other, so nothing is said of it.",
    "cannot tell": "CANNOT TELL: these measurements are too coarse, or too few, for what is asked.",
}
NOTES = (
    "A number is the line at which that numeral stands, as it reads; at a line without a numeral, "
    "as it would read. Lay the tape along the near long line, its zero mark on the zero line, and "
    "read every line on the list without moving it; then along the far long line. The more lines "
    "are read, the more is told.",
    "Measure to the middle of each line, with one tape drawn taut and flat, from a printed mark "
    "and not the hook. Read both diagonals, and the widths at both ends.",
    'Walk along both sides and write down the numbers as they stand: near = "0-47, 49-148"; '
    'where only every fifth line has one, "0-145 by 5".',
    "Reach in from the edges or measure with two people. Nobody climbs on the table.",
)


def asked_lines(
    spots: Sequence[SpotToMeasure], tape: Tape, units: Units, notes: Sequence[str] = ()
) -> Iterator[str]:
    """What to measure, and the file to write it into; `notes` is what to know of this table."""
    yield from (*NOTES, *notes)
    for spot in spots:
        shown = as_taped(tape_reading(spot.nominal, tape), tape, units)
        yield f"  {spot.id:24} {spot.between[0]} to {spot.between[1]}: {shown} where it is true"
    yield "Write them under [measured], and the numbers under [numbers] as near and far."


def off_lines(off: OffCover, units: Units) -> Iterator[str]:
    """The verdict, what to do first."""
    yield _ADVICE[off.advice]
    yield "What stands after +/- holds 95 times in 100, the tape's own error included."
    for judged in off.limits:
        yield _limit(judged, units)
    if off.lean is None:
        yield (
            "Square: not told. It takes both diagonals, the last line near and far, and the last "
            "long line at both ends."
        )
    elif not off.contradicted:
        lean, sd = off.lean
        way = "far" if lean > 0 else "zero"
        yield (
            f"The zero line's far end lies {abs(lean):.2f} +/- {TWO_SIDED * sd:.2f} mm towards "
            f"the {way} end."
        )
    for wrong in off.numbers:
        yield f"Numbers: {wrong}."
    yield "Between the lines that were measured nothing is told: a hand rules each by itself."


def _limit(judged: FoundLimit, units: Units) -> str:
    said = {"pass": "kept", "fail": "BROKEN", "cannot tell": "not told for sure"}[judged.outcome]
    return (
        f"{limit_name(judged.limit, units)}: {said}; {judged.where} is off by "
        f"{judged.value:+.2f} +/- {TWO_SIDED * judged.sd:.2f} mm, "
        f"{format_length(judged.limit.allowed, units)} allowed"
    )


def off_record(off: OffCover) -> dict[str, Any]:
    """The same as plain data; mm."""
    return {
        "advice": off.advice,
        "limits": [
            {
                "name": one.limit.name,
                "outcome": one.outcome,
                "where": one.where,
                "off_mm": one.value,
                "sd_mm": one.sd,
                "allowed_mm": one.limit.allowed,
            }
            for one in off.limits
        ],
        "lean_mm": None if off.lean is None else list(off.lean),
        "lines": [
            {"id": one.id, "off_mm": one.error, "sd_mm": one.sd, "counts_too_many": one.pitches}
            for one in off.lines
        ],
        "numbers": list(off.numbers),
    }
