"""Numerals that stand on the lines they name, inside the grid: where each finds bare cloth.

A numeral stands on its line as a reader at its side sees it, between two upright lines, clear of
all other ink. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.layout.clear_places import between
from marking.layout.numerals import Numeral
from marking.lettering.glyphs import letter, letter_numeral

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box
    from marking.layout.clear_places import InkAround
    from marking.layout.lines import Side
    from marking.layout.numerals import Row
    from marking.lettering.glyphs import Lettered

_NEARBY = 8
"""Cells beside the wanted one that are tried where other ink lies in it."""
_HAIR = 1e-6
"""mm that arithmetic may add."""
OF_PITCH = 1 / 3
"""Pitches that a numeral on a line is high, where there is room: our judgement, no source."""


class OnLine(Struct, frozen=True):
    """One numeral wanted on a line along the table."""

    text: str
    value: int
    side: Side
    row: Row
    line: tuple[float, float]
    """y of the line, and half its ink."""
    near_x: float
    """Where along the table its middle is wanted."""


class OnLinesManner(Struct, frozen=True):
    """How numerals on lines are drawn."""

    face: str
    pen: float
    clear: float

    def lettered(self, text: str) -> Lettered:
        """Digits with one gap between all; anything else as the stock face sets it."""
        return letter_numeral(text, self.face) if text.isdigit() else letter(text)


def with_room(
    wanted: Sequence[OnLine],
    levels: Sequence[tuple[float, float]],
    uprights: Sequence[tuple[float, float]],
    manner: OnLinesManner,
    pitch: float,
) -> tuple[float, list[OnLine]]:
    """The ink height of numerals on lines, and those of `wanted` that have room for as much.

    Between the `levels`, the lines along the table, and the `uprights`, those across it, they are
    as high as the least room lets them, and where that is less than half of what is wished for
    they are none.
    """
    wish = pitch * OF_PITCH
    least = max(wish / 2, 2 * manner.pen)
    cells = [high - low for low, high in between(uprights)]
    # What a heavy line leaves beside it counts, what an extra fold line leaves does not.
    cell = min((wide for wide in cells if wide > 0.8 * max(cells)), default=0.0)
    rooms = [
        min(_room_on(one, levels) - 2 * manner.clear, _as_wide(one, cell, manner)) for one in wanted
    ]
    kept = [(one, room) for one, room in zip(wanted, rooms, strict=True) if room >= least]
    return min([wish, *(room for _, room in kept)]), [one for one, _ in kept]


def _as_wide(one: OnLine, cell: float, manner: OnLinesManner) -> float:
    """The height at which a numeral fills the width of a cell."""
    text = manner.lettered(one.text)
    wide = cell - 2 * manner.clear - manner.pen
    return wide / text.width * text.height + manner.pen if text.width else float("inf")


def _room_on(one: OnLine, levels: Sequence[tuple[float, float]]) -> float:
    """From the line's ink to that of the next line, on the side where its numeral stands."""
    way = 1 if one.side == "near" else -1
    y, half = one.line
    beyond = [way * (at - y) - ink for at, ink in levels if way * (at - y) > half]
    return min(beyond, default=float("inf")) - half


def stand(
    wanted: Sequence[OnLine],
    ink: InkAround,
    uprights: Sequence[tuple[float, float]],
    height: float,
    manner: OnLinesManner,
) -> list[Numeral]:
    """`wanted`, each in the middle of the nearest cell where it keeps clear of all `ink`.

    One that finds no such cell nearby is left out.
    """
    cells = list(between(uprights))
    tallest = max((manner.lettered(one.text).height for one in wanted), default=1.0)
    scale = (height - manner.pen) / tallest
    placed: list[Numeral] = []
    for one in wanted:
        box = _free(one, ink, cells, scale, manner)
        if box is None:
            continue
        ink = ink.with_boxes([box])
        at = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        turn = 1 if one.side == "near" else -1
        placed.append(
            Numeral(
                one.text,
                one.side,
                one.value,
                at,
                box[3] - box[1],
                box,
                tuple(turn * scale * s + at for s in manner.lettered(one.text).strokes),
                one.row,
            )
        )
    return placed


def _free(
    one: OnLine,
    ink: InkAround,
    cells: Sequence[tuple[float, float]],
    scale: float,
    manner: OnLinesManner,
) -> Box | None:
    text = manner.lettered(one.text)
    wide, high = text.width * scale + manner.pen, text.height * scale + manner.pen
    y, half = one.line
    away = half + manner.clear
    low, top = (y + away, y + away + high) if one.side == "near" else (y - away - high, y - away)
    nearest = sorted(cells, key=lambda cell: (abs((cell[0] + cell[1]) / 2 - one.near_x), cell))
    for left, right in nearest[:_NEARBY]:
        middle = (left + right) / 2
        box = (middle - wide / 2, low, middle + wide / 2, top)
        if right - left >= wide + 2 * manner.clear - _HAIR and ink.keeps_off(box, manner.clear):
            return box
    return None
