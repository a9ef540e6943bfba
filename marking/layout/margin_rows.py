"""The rows of numerals in the margins, set at their height. Table frame, millimetres."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec.structs import replace

from marking.errors import RefusedError
from marking.layout.numerals import Numeral, fit
from marking.layout.second_scale import OF_FIRST

if TYPE_CHECKING:
    from collections.abc import Iterator

    from marking.job.keys import NumeralsTable
    from marking.layout.lines import Side
    from marking.layout.numerals import Legibility, NumeralsAsked, Row
    from marking.layout.second_scale import OtherScale
    from marking.lettering.glyphs import Lettered


def place(asked: NumeralsAsked, height: float) -> list[Numeral]:
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
    asked: NumeralsAsked,
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


def place_other(
    numerals: NumeralsTable, lines: NumeralsAsked, scale: OtherScale, most: float
) -> tuple[list[Numeral], Legibility]:
    """The numerals of a scale in the other unit, outside its ticks, none higher than `most`.

    `lines` is what is asked of the numerals of the lines. Raises RefusedError where none fit.
    """
    every = numerals.other_every
    best = max(
        (_other_asked(lines, scale, n) for n in ((5, 10) if every == "auto" else (every,))),
        key=lambda asked: min(asked.tightest.height, most),
    )
    if best.tightest.height < best.least_height:
        raise RefusedError(
            f'numerals.other_unit = "{scale.side}": no numerals of the {scale.unit} fit outside '
            f"their ticks; {best.tightest.what}, and that leaves less than two pen widths. Take a "
            "wider grid.margin, a larger numerals.other_every, a smaller numerals.clear or a finer "
            "pens.numerals"
        )
    found = fit(best)
    height = min(found.height, most)
    drawn = [replace(one, row="other") for one in place(best, height)]
    angle = 60 * math.degrees(2 * math.atan(height / 2 / found.view_from))
    return drawn, replace(
        found, height=height, arc_minutes=angle, height_to_stroke=height / best.pen
    )


def _other_asked(lines: NumeralsAsked, scale: OtherScale, every: int) -> NumeralsAsked:
    """What is asked of that scale's numerals, one at every `every`-th of its ticks."""
    first = next((n for n, value in enumerate(scale.values) if value % every == 0), None)
    if first is None:
        raise RefusedError(
            f"numerals.other_every = {every}: no tick of the scale in {scale.unit} is numbered so, "
            f"from {scale.values[0]} to {scale.values[-1]}; take a smaller one"
        )
    keys = lines.keys.model_copy(
        update={"height": "auto", "every": every, "per_line": 1, "first": scale.values[first]}
    )
    return replace(
        lines,
        keys=keys,
        pitch=scale.unit_mm,
        margin=lines.margin - scale.reach,
        sides=(scale.side,),
        zero_at=None,
        xs=scale.xs[first:],
    )


def other_notes(scale: OtherScale | None, legibility: Legibility | None) -> Iterator[str]:
    """What a scale in the other unit counts, and whether it is hard to read."""
    if scale is None or legibility is None:
        return
    yield (
        f"The {scale.side} side counts {scale.unit}, from the same zero as the lines: a short tick "
        "outside the first long line at every one. The unit is not inked: tell who works there."
    )
    if legibility.arc_minutes < 16:
        yield (
            f"The numerals of the {scale.unit}, {legibility.height:.1f} mm high, are hard to read: "
            f"{legibility.height * 16 / legibility.arc_minutes:.1f} mm would be readable. A wider "
            "grid.margin makes room."
        )
    if legibility.height_to_stroke < 7:
        yield (
            f"The numerals of the {scale.unit} are only {legibility.height_to_stroke:.1f} pen "
            "widths high and will fill in; use a finer pen."
        )
