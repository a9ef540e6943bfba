"""Lines and numerals of a layout by what a person calls them, and ink by the box it lies in.

It knows a layout and pieces of its strokes; not what is inked. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from marking.errors import BadInputError
from marking.sections.cutting import cut
from marking.sections.plan import Piece

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from marking.arrays import Box
    from marking.layout.layout import Layout, PlacedNumeral

_INSIDE = (1, 1)
_MOST_AT_ONCE = 100_000
_LEAST = 0.5
"""mm: a shorter end of a line in the box is left as it is."""


def strokes_named(layout: Layout, given: str) -> tuple[str, ...]:
    """Ids of the strokes of `36, 40-44, long-near, 60 near`.

    A number is a cross line, a number with its side a numeral; any stroke goes by its id. Raises
    BadInputError for what is not laid out.
    """
    ids = {stroke.id for stroke in layout.strokes}
    numerals: dict[str, tuple[str, ...]] = {}
    for one in layout.numerals:
        numerals[_named(one)] = (*numerals.get(_named(one), ()), *one.strokes)
    found: list[str] = []
    for word in filter(None, (" ".join(part.split()) for part in given.split(","))):
        if word in numerals:
            found += numerals[word]
        elif word in ids:
            found.append(word)
        else:
            found += _counted_up(word, ids)
    if not found:
        raise BadInputError(f"--lines {given!r}: names nothing; {_HOW}")
    return tuple(dict.fromkeys(found))


_HOW = (
    "a cross line goes by its number (36, or 40-44), a numeral by its number and side (60 near), "
    'any other line by its id, as "canvasrule layout --json" lists them'
)


def _counted_up(word: str, ids: set[str]) -> list[str]:
    first, _, last = word.partition("-")
    numbers = [first, last or first]
    if not all(one.isascii() and one.isdigit() for one in numbers):
        raise BadInputError(f"--lines: nothing here is called {word!r}; {_HOW}")
    low, high = int(numbers[0]), int(numbers[1])
    names = [f"cross-{n}" for n in range(low, min(high, low + _MOST_AT_ONCE) + 1)]
    missing = [name for name in names if name not in ids]
    if missing or not names:
        last_line = max((one for one in ids if one.startswith("cross-")), key=_number)
        raise BadInputError(
            f"--lines: there is no cross line {word}; the last is {_number(last_line)}"
        )
    return names


def _number(stroke: str) -> int:
    digits = stroke.removeprefix("cross-")
    return int(digits) if digits.isdigit() else -1


def inside(layout: Layout, pieces: Iterable[Piece], box: Box) -> tuple[Piece, ...]:
    """What of `pieces` lies in a box: lines cut at its edges, numerals that it touches whole."""
    x0, y0, x1, y1 = box
    whole = {
        stroke
        for one in layout.numerals
        if _meet(one.numeral.box_table, box)
        for stroke in one.strokes
    }
    found: list[Piece] = []
    for piece in pieces:
        if piece.stroke.layer == "numeral":
            found += [piece] if piece.of in whole else []
            continue
        parts = [at for cell, at in cut(piece.stroke.points, (x0, x1), (y0, y1)) if cell == _INSIDE]
        for count, points in enumerate(parts):
            part = f"{piece.stroke.id}-{count + 1}" if len(parts) > 1 else piece.stroke.id
            stroke = replace(piece.stroke, id=part, points=points)
            if stroke.length >= _LEAST:
                found.append(Piece(stroke, piece.of))
    return tuple(found)


def _meet(one: Box, two: Box) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


def _named(one: PlacedNumeral) -> str:
    """`60 near`; in another row than the margin's own, all that read alike: `2 near band`."""
    numeral = one.numeral
    own = "" if numeral.row in ("margin", "other") else f" {numeral.row}"
    return f"{numeral.text} {numeral.side}{own}"


def called(layout: Layout, strokes: Sequence[str]) -> tuple[str, ...]:
    """What a person calls these strokes, in the layout's order, each once."""
    numerals = {
        stroke: f"numeral {_named(one)}" for one in layout.numerals for stroke in one.strokes
    }
    wanted, read = set(strokes), _otherwise(layout)
    names = (
        numerals.get(stroke.id)
        or (f"line {_number(stroke.id)}" if _number(stroke.id) >= 0 else stroke.id)
        + read.get(stroke.id, "")
        for stroke in layout.strokes
        if stroke.id in wanted
    )
    return tuple(dict.fromkeys(names))


def _otherwise(layout: Layout) -> dict[str, str]:
    """Of cross lines whose numeral reads another number than their own, what it reads."""
    xs = layout.grid.cross_x
    read = {
        int(np.abs(xs - one.numeral.at_table[0]).argmin()): one.numeral.text
        for one in layout.numerals
        if one.numeral.row == "margin"
    }
    return {f"cross-{n}": f" (it reads {text})" for n, text in read.items() if text != str(n)}
