"""A cloth on a table, under a machine that stands askew on it; what is laid on it, and when.

It knows millimetres, seconds and how the machine stands; nothing of languages or of what was
meant. Ink and rests of the pen are kept in the table's frame, whatever the machine believes.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, BinaryIO

from msgspec import Struct

from devices.simulated.cloth import Cloth

if TYPE_CHECKING:
    from pathlib import Path

    from devices.simulated.cloth import Spot


class Stand(Struct, frozen=True):
    """How a machine stands: where its zero lies on the table, mm, and its turn, radians."""

    x: float = 0.0
    y: float = 0.0
    turn: float = 0.0

    def table_of(self, spot: Spot) -> Spot:
        """A place of the machine's own as a place on the table."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        return (self.x + c * spot[0] - s * spot[1], self.y + s * spot[0] + c * spot[1])

    def machine_of(self, spot: Spot) -> Spot:
        """A place on the table as one of the machine's own: what it shows with its pen there."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        x, y = spot[0] - self.x, spot[1] - self.y
        return (c * x + s * y, -s * x + c * y)

    def bumped(self, x: float, y: float, turn: float, about: Spot) -> Stand:
        """The same machine pushed by x and y mm, and turned about a place on the table."""
        c, s = math.cos(turn), math.sin(turn)
        dx, dy = self.x - about[0], self.y - about[1]
        return Stand(
            about[0] + c * dx - s * dy + x, about[1] + s * dx + c * dy + y, self.turn + turn
        )


class LaidStroke(Struct, frozen=True):
    """A straight bit of ink on the table, mm, and when its end was reached, s."""

    pen: int
    start: Spot
    end: Spot
    at: float


class Rested(Struct, frozen=True):
    """A pen that stood still on the table from `since` to `until`, s."""

    pen: int
    spot: Spot
    since: float
    until: float


class TableCloth(Cloth):
    """The cloth under a machine that stands somewhere; every bit is in the file as it is laid."""

    def __init__(self, stand: Stand, diary: BinaryIO | None = None) -> None:
        super().__init__()
        self.stand = stand
        self.dragged: list[tuple[Spot, Spot]] = []
        """What a pen that was down drew when the machine was pushed: no ink that anyone meant."""
        self._diary = diary

    def lay(self, pen: int, start: Spot, end: Spot, now: float = 0.0) -> None:
        """Inks a line of the machine's own where it falls on the table."""
        begins, ends = self.stand.table_of(start), self.stand.table_of(end)
        super().lay(pen, begins, ends, now)
        self._write(["ink", pen, *begins, *ends, now])

    def rest(self, pen: int, at: Spot, since: float, until: float) -> None:
        """The pen stood still there."""
        spot = self.stand.table_of(at)
        super().rest(pen, spot, since, until)
        self._write(["rest", pen, *spot, since, until])

    def bump(self, stand: Stand, pen: int | None, at: Spot, now: float) -> None:
        """The machine is pushed to another stand; a pen that is down draws the way it goes."""
        before, self.stand = self.stand.table_of(at), stand
        if pen is not None:
            self.dragged.append((before, stand.table_of(at)))
            self._write(["dragged", pen, *before, *stand.table_of(at), now])

    def _write(self, row: list[str | int | float]) -> None:
        if self._diary is not None:
            self._diary.write(json.dumps(row).encode() + b"\n")
            self._diary.flush()


def read_diary(path: Path) -> tuple[tuple[LaidStroke, ...], tuple[Rested, ...]]:
    """What a machine laid and where its pen stood still, in order; a last line cut short is none.

    Ink that a bump dragged over the cloth is left out: nobody meant it, and nobody could help it.
    """
    laid, rested = [], []
    for line in path.read_bytes().split(b"\n")[:-1]:
        kind, pen, *numbers = json.loads(line)
        if kind == "ink":
            x0, y0, x1, y1, at = numbers
            laid.append(LaidStroke(pen, (x0, y0), (x1, y1), at))
        elif kind == "rest":
            x, y, since, until = numbers
            rested.append(Rested(pen, (x, y), since, until))
    return tuple(laid), tuple(rested)
