"""What ink lies where on a simulated cloth. Millimetres in the machine's own frame."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, BinaryIO

from msgspec import Struct

from marking.drawing.artwork import Artwork, Style

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

Spot = tuple[float, float]
_SAME = 1e-9
_MARGIN = 5.0
_REST = 0.02
"""Seconds."""
_COLOURS = ("#1b1b1b", "#c0392b", "#1f6fb2", "#2e8b57", "#8e44ad", "#b8860b", "#444444", "#d35400")


class Ink(Struct, frozen=True):
    """One pen-down path."""

    pen: int
    path: tuple[Spot, ...]


class Rest(Struct, frozen=True):
    """A pen that stood still on the cloth: with a marker, a blot. Seconds of the machine's time."""

    pen: int
    at: Spot
    since: float
    until: float


class Cloth:
    """Collects ink; with a file, every bit of it is on disk as soon as it is laid."""

    def __init__(self, file: BinaryIO | None = None) -> None:
        self._paths: list[tuple[int, list[Spot]]] = []
        self._file = file
        self.rests: list[Rest] = []
        """Where the pen stood still for longer than a change of direction takes."""

    def rest(self, pen: int, at: Spot, since: float, until: float) -> None:
        """The pen stood still there."""
        if until - since >= _REST:
            self.rests.append(Rest(pen, at, since, until))

    def lay(self, pen: int, start: Spot, end: Spot, now: float = 0.0) -> None:
        """Inks a straight line; a line that goes on where the last one ended lengthens its path.

        `now` is when its end is reached.
        """
        last = self._paths[-1] if self._paths else None
        if last is not None and last[0] == pen and _same(last[1][-1], start):
            last[1].append(end)
        else:
            self._paths.append((pen, [start, end]))
        if self._file is not None:
            self._file.write(json.dumps([pen, *start, *end]).encode() + b"\n")
            self._file.flush()

    @property
    def ink(self) -> tuple[Ink, ...]:
        """Every path, in the order in which it was laid."""
        return tuple(Ink(pen, tuple(path)) for pen, path in self._paths)


def _same(one: Spot, two: Spot) -> bool:
    return abs(one[0] - two[0]) < _SAME and abs(one[1] - two[1]) < _SAME


def read_cloth(path: Path) -> tuple[Ink, ...]:
    """The ink of a cloth file; a last line cut short, as by a power cut, is left out."""
    cloth = Cloth()
    for line in path.read_bytes().split(b"\n")[:-1]:
        pen, x0, y0, x1, y1 = json.loads(line)
        cloth.lay(pen, (x0, y0), (x1, y1))
    return cloth.ink


def cloth_artwork(ink: Iterable[Ink], size: Spot, origin: Spot, width: float = 0.6) -> Artwork:
    """A picture of the cloth; `origin` is the lower left corner in mm."""
    x0, y0 = origin
    x1, y1 = x0 + size[0], y0 + size[1]
    box = (x0 - _MARGIN, y0 - _MARGIN, x1 + _MARGIN, y1 + _MARGIN)
    artwork = Artwork(box, "The cloth", "Ink as the simulated plotter laid it.", paper="#f4efe4")
    artwork.on_top(Style("#bbb5a5", 0.4)).box((x0, y0, x1, y1))
    for path in ink:
        colour = _COLOURS[(path.pen - 1) % len(_COLOURS)]
        artwork.on_top(Style(colour, width, opacity=0.7)).line(path.path)
    return artwork
