"""Lengths as a person with a tape writes and reads them; millimetres everywhere inside."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from marking.errors import shortened

Units = Literal["in", "mm"]

INCH = Fraction(254, 10)
"""Millimetres to the inch, exact by the international agreement of 1959."""

_UNIT_MM = {
    "in": INCH,
    "ft": 12 * INCH,
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
}
_SPELLINGS = {
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "foot": "ft",
    "feet": "ft",
}
# Typographic marks that people paste in for feet, inches, minus and the fraction bar.
_PLAIN = str.maketrans({"″": '"', "”": '"', "′": "'", "’": "'", "⁄": "/", "–": "-", "−": "-"})
_TERM = re.compile(
    r"\s*(?:(?P<whole>\d+)(?:\s+|\s*-\s*)(?P<over>\d+/\d+)|(?P<ratio>\d+/\d+)|(?P<decimal>\d+\.?\d*|\.\d+))"
    r"\s*(?P<unit>[A-Za-z]+|''|'|\")"
)
_NUMBER = re.compile(r"\s*-?[\d\s./]+\s*")
_LONGEST_TEXT = 1_000
"""Characters of a written figure: Python's numbers have no end, and a person's do."""
LONGEST_MM = 100_000
"""No length in a job is longer than the longest tapes made (100 m): past it a unit is wrong."""

EXAMPLES = '"8 1/4 in", "5\' 4\\"", "38 mm" or "1.2 m"'


def parse_length(text: object, sign: str = "") -> float:
    """A written length in millimetres, exact to the nearest float; `sign` stood before it.

    Raises ValueError with advice when `text` is not a length with a unit, is negative, or is
    longer than any tape.
    """
    millimetres = _millimetres(text, sign)
    if millimetres > LONGEST_MM:
        raise ValueError(
            f"{shortened(str(text))} is longer than any tape (100 m) could set out; check the unit"
        )
    return float(millimetres)


def parse_run(text: object) -> float:
    """How far a pen writes, in millimetres: a length that no tape has to measure.

    Raises ValueError with advice, as `parse_length` does.
    """
    millimetres = _millimetres(text)
    if millimetres > 1000 * LONGEST_MM:
        raise ValueError(
            f"{shortened(str(text))} is more than any pen writes (100 km); check the unit"
        )
    return float(millimetres)


def _check_short(text: object, wanted: str) -> None:
    if isinstance(text, str) and len(text) > _LONGEST_TEXT:
        raise ValueError(
            f"{len(text)} characters are no {wanted}; write only the figure and its unit"
        )


def _millimetres(text: object, sign: str = "") -> Fraction:
    _check_short(text, "length")
    if not isinstance(text, str):
        if isinstance(text, int | float) and not isinstance(text, bool) and 0 < text < LONGEST_MM:
            raise ValueError(f'a bare number has no unit; write "{text:g} in" or "{text:g} mm"')
        raise ValueError(f"not a length; write it as text, such as {EXAMPLES}")
    plain = _plain(text)
    if plain.strip().startswith("-"):
        raise ValueError("a length cannot be negative")
    if _NUMBER.fullmatch(plain):
        shown = sign + shortened(text.strip())
        raise ValueError(f'no unit; write "{shown} in" or "{shown} mm"')
    return _sum_of_terms(plain, text)


def _plain(text: str) -> str:
    """`text` with vulgar fractions and typographic marks written in ASCII."""
    spaced = "".join(
        f" {unicodedata.normalize('NFKC', c)}" if unicodedata.category(c) == "No" else c
        for c in text
    )
    return spaced.translate(_PLAIN)


def _sum_of_terms(plain: str, text: str) -> Fraction:
    if not plain.strip():
        raise ValueError(f"an empty text is not a length; write it like {EXAMPLES}")
    total = Fraction(0)
    units: list[str] = []
    at = 0
    while at < len(plain.rstrip()):
        term = _TERM.match(plain, at)
        if term is None:
            raise ValueError(f"{shortened(text)!r} is not a length; write it like {EXAMPLES}")
        unit = term["unit"].lower()
        unit = _SPELLINGS.get(unit, unit)
        if unit not in _UNIT_MM:
            raise ValueError(
                f"unit {shortened(term['unit'])!r} is not known; use in, ft, mm, cm or m"
            )
        total += _number(term) * _UNIT_MM[unit]
        units.append(unit)
        at = term.end()
    if units not in ([u] for u in _UNIT_MM) and units != ["ft", "in"]:
        raise ValueError(
            f"{shortened(text)!r} mixes units; write one unit, or feet and then inches"
        )
    return total


def _number(term: re.Match[str]) -> Fraction:
    try:
        if term["over"]:
            return Fraction(int(term["whole"])) + Fraction(term["over"])
        return Fraction(term["ratio"] or term["decimal"].rstrip("."))
    except ZeroDivisionError:
        raise ValueError("a fraction cannot have 0 below the line") from None


_PERCENT = re.compile(r"\s*(-?\d+\.?\d*|-?\.\d+)\s*%\s*")
_SPEED = re.compile(r"\s*(?P<length>.*?)\s*/\s*s(?:ec)?\s*")


def parse_percent(text: object) -> float:
    """`"1.5 %"` as the ratio 0.015; ValueError with advice otherwise."""
    _check_short(text, "percentage")
    match = _PERCENT.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError('not a percentage; write it like "1.5 %"')
    return float(Fraction(match[1].rstrip(".")) / 100)


def parse_speed(text: object) -> float:
    """`"120 mm/s"` or `"4 in/s"` in mm/s; ValueError with advice otherwise."""
    _check_short(text, "speed")
    match = _SPEED.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError('not a speed; write it like "120 mm/s" or "4 in/s"')
    return parse_length(match["length"])


def tape_fraction(inches: Fraction) -> str:
    """`inches` as a tape shows it: `"8 1/4"`, `"0"`, `"-1/16"`."""
    sign = "-" if inches < 0 else ""
    whole, rest = divmod(abs(inches), 1)
    parts = ([str(whole)] if whole or not rest else []) + ([str(rest)] if rest else [])
    return sign + " ".join(parts)


def format_length(millimetres: float, units: Units, *, remainder: bool = False) -> str:
    """A length in the job's own unit: inches to 1/32, or millimetres to a tenth.

    With `remainder`, what the tape fraction leaves over is added in millimetres when it is
    0.05 mm or more.
    """
    if units == "mm":
        return f"{round(millimetres, 1) + 0.0:.1f}".removesuffix(".0") + " mm"
    thirty_seconds = round(millimetres / float(INCH) * 32)
    shown = tape_fraction(Fraction(thirty_seconds, 32)) + " in"
    left = millimetres - float(INCH) * thirty_seconds / 32
    if remainder and abs(left) >= 0.05:
        shown += f" {'+' if left > 0 else '-'} {abs(left):.1f} mm"
    return shown


def exact_length(millimetres: float) -> str:
    """A length that `parse_length` reads back to the last bit: a tape's inches where it is just
    that, else millimetres."""
    inches = Fraction(round(millimetres / float(INCH) * 64), 64)
    if float(inches * INCH) == millimetres:
        return f"{tape_fraction(inches)} in"
    return f"{Decimal(repr(float(millimetres))):f}".removesuffix(".0") + " mm"


def rough_length(millimetres: float, units: Units) -> str:
    """A length to the sixteenth or the millimetre, where no more is wanted of a person's hand."""
    if units == "mm":
        return f"{round(millimetres)} mm"
    return tape_fraction(Fraction(round(millimetres / float(INCH) * 16), 16)) + " in"
