"""Stroke lettering: glyphs as arrays of centre-line points, and what a written text measures.

Glyphs are Hershey's, shipped as data. Face frame: Hershey units, x to the right, y up, baseline
at 0. It knows nothing of tables or pens.
"""

from __future__ import annotations

import json
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from marking.errors import BadInputError
from marking.shipped_files import stock

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray

STOCK_FACE = "simplex"
CAPITAL = 21.0
"""Height of a capital, and of a digit, in the units of Hershey's Roman faces."""


class Glyph(Struct, frozen=True):
    """One character: its side bearings and its strokes, each (n, 2), in the face frame."""

    left: float
    right: float
    strokes: tuple[FloatArray, ...]


class Face(Struct, frozen=True):
    """A stroke face: its glyphs by character."""

    name: str
    glyphs: Mapping[str, Glyph]


class Lettered(Struct, frozen=True):
    """A written text. Centre lines in face units, the middle of their extent at the origin."""

    strokes: tuple[FloatArray, ...]
    width: float
    height: float


@cache
def face(name: str) -> Face:
    """The face called `name`: the stock one, or another of Hershey's, which has digits alone.

    Raises BadInputError for a name that is neither.
    """
    if name == STOCK_FACE:
        rows = _shipped(STOCK_FACE)["glyphs"]
    else:
        faces = _shipped("numerals")["faces"]
        if name not in faces:
            known = ", ".join([STOCK_FACE, *faces])
            raise BadInputError(f'numerals.face = "{name}": no such face; known are {known}')
        rows = faces[name]
    glyphs = {
        character: Glyph(left, right, _joined(strokes))
        for character, (left, right, strokes) in rows.items()
    }
    return Face(name, glyphs)


def _shipped(name: str) -> Any:
    """Shipped glyphs: by character [left, right, [[[x, y], ...], ...]] in the face frame."""
    return json.loads(stock().joinpath("lettering", f"{name}.json").read_text("utf-8"))


def _joined(strokes: Sequence[Sequence[Sequence[float]]]) -> tuple[FloatArray, ...]:
    """Strokes that meet end to end made one, so that a 4 or a 7 takes a single pen-down."""
    open_ended = [list(map(tuple, stroke)) for stroke in strokes]
    done: list[list[tuple[float, ...]]] = []
    while open_ended:
        line = open_ended.pop(0)
        while (found := _continuation(line, open_ended)) is not None:
            line, used = found
            del open_ended[used]
        done.append(line)
    return tuple(np.array(line, dtype=float) for line in done)


def _continuation(
    line: list[tuple[float, ...]], others: list[list[tuple[float, ...]]]
) -> tuple[list[tuple[float, ...]], int] | None:
    """`line` with the first of `others` that meets an end of it, and which that was."""
    for index, other in enumerate(others):
        for one in (line, line[::-1]):
            for two in (other, other[::-1]):
                if one[-1] == two[0]:
                    return one + two[1:], index
    return None


@lru_cache(maxsize=4096)
def letter(text: str) -> Lettered:
    """`text` set with the stock face's own spacing; characters it lacks leave a space."""
    glyphs = face(STOCK_FACE).glyphs
    strokes = []
    pen_x = 0.0
    for character in text:
        glyph = glyphs.get(character, glyphs[" "])
        strokes += [stroke + (pen_x - glyph.left, 0.0) for stroke in glyph.strokes]
        pen_x += glyph.right - glyph.left
    return _centred(strokes) if strokes else Lettered((), pen_x, 0.0)


@lru_cache(maxsize=16384)
def letter_numeral(digits: str, face_name: str = STOCK_FACE) -> Lettered:
    """A number set with the same gap between all its digits: that of two noughts.

    The face's own spacing gives a 1 as much room as a nought, so that the gaps inside 114 are
    wider than those between neighbouring numerals and the row reads as one long number.
    """
    glyphs = face(face_name).glyphs
    gap = digit_gap(face_name)
    strokes: list[FloatArray] = []
    pen_x = 0.0
    for digit in digits:
        left, right = _sides(digit, face_name)
        strokes += [stroke + (pen_x - left, 0.0) for stroke in glyphs[digit].strokes]
        pen_x += right - left + gap
    return _centred(strokes)


def digit_gap(face_name: str = STOCK_FACE) -> float:
    """Between the centre lines of two noughts set side by side, in face units."""
    nought = face(face_name).glyphs["0"]
    left, right = _sides("0", face_name)
    return nought.right - right + left - nought.left


@cache
def _sides(digit: str, face_name: str) -> tuple[float, float]:
    """The least and the greatest x of a digit's own strokes."""
    left, right = _extent(face(face_name).glyphs[digit].strokes)[:, 0].tolist()
    return left, right


def _centred(strokes: list[FloatArray]) -> Lettered:
    extent = _extent(strokes)
    middle = extent.mean(axis=0)
    width, height = extent[1] - extent[0]
    return Lettered(tuple(stroke - middle for stroke in strokes), float(width), float(height))


def _extent(strokes: tuple[FloatArray, ...] | list[FloatArray]) -> FloatArray:
    """(2, 2): the least and the greatest x and y."""
    points = np.concatenate(strokes)
    return np.array([points.min(axis=0), points.max(axis=0)])
