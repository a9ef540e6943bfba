"""What a person finds with a tape on a simulated cloth: lines where they were inked, true or not.

It knows ink, and of what was meant only about where to look for it. Millimetres on the table.
"""

from __future__ import annotations

import itertools
import re
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from shapely import LineString

from marking.measures.lengths import parse_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    Point = NDArray[np.float64]

_A_LINE = 25.0
"""mm from which a straight run of ink is taken for a line: no stroke of a numeral is as long."""
_STRAIGHT = 0.02
_BESIDE = 12.0
"""mm around a place in which its line is looked for."""
_ONE_LINE = 1.5
"""mm that the passes of a heavy line lie within."""
_THREAD = "thread"


class Cover(Struct, frozen=True):
    """The lines on a cloth, and about where each of them is looked for."""

    runs: NDArray[np.float64]
    """(n, 2, 2), mm: both ends of each straight run of ink."""
    numbered: dict[int, float]
    """Along the table, by the number of a cross line."""
    near: float
    far: float
    """Across the table: the first long line at either edge."""

    @classmethod
    def inked(cls, paths: Iterable[Sequence[tuple[float, float]]], layout: Any) -> Cover:
        """The cover that carries this ink; `layout` is what `layout --json` says."""
        ways = (
            LineString(path).simplify(_STRAIGHT, preserve_topology=False).coords
            for path in paths
            if len(path) > 1
        )
        ends = [pair for way in ways for pair in itertools.pairwise(way)]
        runs = np.array(ends, dtype=float).reshape(-1, 2, 2)
        long = np.hypot(*(runs[:, 1] - runs[:, 0]).T) >= _A_LINE
        meant = [(one["id"], one["points"][0]) for one in layout["strokes"]]
        numbered = {
            int(name.removeprefix("cross-")): x
            for name, (x, _) in meant
            if re.fullmatch(r"cross-\d+", name)
        }
        heights = [y for name, (_, y) in meant if name.startswith("long-")]
        return cls(runs[long], numbered, min(heights), max(heights))

    def distance(self, one: str, other: str) -> float:
        """What a tape shows between two places; from a thread, how far a line lies beside it."""
        at = self.place(one)
        if not other.startswith(_THREAD):
            return float(np.hypot(*(self.place(other) - at)))
        number, edge = re.findall(r"\w+", one)[:2]
        if other == _THREAD:
            # Along the long line, from its first crossing to its last.
            ends, axis = [f"{n} {edge}" for n in (min(self.numbered), max(self.numbered))], 1
        else:
            ends, axis = [f"{number} near", f"{number} far"], 0
        first, last = map(self.place, ends)
        along = (at - first)[1 - axis] / (last - first)[1 - axis]
        return float((at - first - along * (last - first))[axis])

    def place(self, name: str) -> Point:
        """A crossing, "8 near", or a place on a cross line, "8 at 6 in up", as it is inked."""
        number = int(name.split()[0])
        if name.endswith(("near", "far")):
            return self.crossing(self.numbered[number], self.near if "near" in name else self.far)
        length = parse_length(name.partition(" at ")[2].rpartition(" ")[0])
        from_edge, way = ("near", 1) if name.endswith("up") else ("far", -1)
        y = float(self.place(f"{number} {from_edge}")[1]) + way * float(length)
        foot, along = self._line(np.array([self.numbered[number], y]), 1)
        return foot + along * (y - foot[1]) / along[1]

    def crossing(self, x: float, y: float) -> Point:
        """Where the cross line and the long line nearest to a place on the table meet."""
        (a, u), (b, v) = (self._line(np.array([x, y]), axis) for axis in (1, 0))
        return a + u * np.linalg.solve(np.array([u, -v]).T, b - a)[0]

    def _line(self, spot: Point, axis: int) -> tuple[Point, Point]:
        """A point and the direction of the line along `axis` that lies nearest to a place."""
        way = self.runs[:, 1] - self.runs[:, 0]
        runs = self.runs[np.abs(way[:, axis]) > np.abs(way[:, 1 - axis])]
        start, way = runs[:, 0], runs[:, 1] - runs[:, 0]
        share = ((spot - start) * way).sum(axis=1) / (way**2).sum(axis=1)
        foot = start + np.clip(share, 0, 1)[:, None] * way
        off = np.hypot(*(foot - spot).T)
        assert off.min() < _BESIDE, f"no line is inked near {spot}"
        passes = np.hypot(*(foot - foot[off.argmin()]).T) < _ONE_LINE
        return foot[passes].mean(axis=0), way[off.argmin()]
