"""The rows of numerals in the margins, set at their height. Table frame, millimetres."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.layout.numerals import Numeral
from marking.layout.second_scale import OF_FIRST

if TYPE_CHECKING:
    from marking.layout.lines import Side
    from marking.layout.numerals import Asked, Row
    from marking.lettering.glyphs import Lettered


def place(asked: Asked, height: float) -> list[Numeral]:
    """Every numeral of ink height `height`, centred on its cross line and in its margin.

    Each side's numerals are upright for a person standing at that side: far ones are turned
    half round. A second row stands between the first and the lines.
    """
    strip, rect = asked.room.strip, asked.rect
    first = list(zip(asked.values, asked.lettered, strict=True))
    rows: list[tuple[Row, float, float, list[tuple[int, Lettered]]]] = []
    middle = strip / 2
    if asked.second:
        lower = height * OF_FIRST
        gap = (strip - height - lower) / 3
        middle = gap + height / 2
        rows = [("second", lower, 2 * gap + height + lower / 2, asked.second)]
    rows.insert(0, ("margin", height, middle, first))
    numerals = []
    for side in asked.sides:
        for row, high, off_edge, texts in rows:
            y = rect[1] + off_edge if side == "near" else rect[3] - off_edge
            for index, (value, text) in enumerate(texts):
                at = float(asked.xs[index * asked.keys.every]), y
                numerals.append(_numeral(asked, side, row, high, at, value, text))
    return numerals


def _numeral(
    asked: Asked,
    side: Side,
    row: Row,
    height: float,
    at: tuple[float, float],
    value: int,
    text: Lettered,
) -> Numeral:
    pen, turn = asked.pen, 1 if side == "near" else -1
    scale = (height - pen) / asked.tallest
    half_x, half_y = (text.width * scale + pen) / 2, (text.height * scale + pen) / 2
    box = (at[0] - half_x, at[1] - half_y, at[0] + half_x, at[1] + half_y)
    strokes = tuple(turn * scale * stroke + at for stroke in text.strokes)
    return Numeral(str(value), side, value, at, 2 * half_y, box, strokes, row)
