"""What a tape or a thread can be held to on a finished cover, and what such places are called.

A distance runs between two crossings, or from a line to a thread stretched between its own two
ends. It knows the layout and its sections, no tape and no error. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import asdict, replace

from marking.errors import BadInputError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from marking.arrays import IndexArray
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.proof.distortion import Patch

    Point = tuple[float, float]

DistanceKind = Literal["diagonal", "along", "across", "triangle", "seam", "thread"]
_OFF_JOIN = 5.0
"""mm between a join and a place to measure at: nearer, no one can say which section inked it."""
_APART = 600.0
"""mm between places to choose from in a long section."""


class Distance(Struct, frozen=True):
    """One thing to measure: between two crossings, or a line's offset from a taut thread."""

    id: str
    kind: DistanceKind
    ends: tuple[Point, Point]
    between: tuple[str, str]
    """What stands at either end, as people call it."""
    thread: tuple[Point, Point] | None = None
    """Ends of the thread; `ends` is then the crossing twice. Plus is to the far edge off a thread
    along a long line, and to the far end off one along a cross line."""
    purpose: str = ""
    """What it is measured for, in a word or two."""

    @property
    def nominal(self) -> float:
        """What it should be on a true cover, in mm."""
        if self.thread is not None:
            return 0.0
        (ax, ay), (bx, by) = self.ends
        return float(np.hypot(bx - ax, by - ay))

    @property
    def thread_axis(self) -> int:
        """Along which axis the thread's offset is measured: 0 along the table, 1 across it."""
        assert self.thread is not None
        return 0 if self.thread[0][0] == self.thread[1][0] else 1


def distances_record(distances: Sequence[Distance]) -> list[dict[str, Any]]:
    """Distances as plain data, to keep with the sheet that asks for them."""
    return [asdict(distance) for distance in distances]


def distances_from(kept: Sequence[Mapping[str, Any]]) -> tuple[Distance, ...]:
    """Distances from what `distances_record` made of them.

    Raises BadInputError for anything else.
    """
    try:
        return tuple(
            Distance(
                str(one["id"]),
                one["kind"],
                _points(one["ends"]),
                (str(one["between"][0]), str(one["between"][1])),
                _points(one["thread"]) if one["thread"] is not None else None,
                str(one.get("purpose", "")),
            )
            for one in kept
        )
    except (KeyError, IndexError, TypeError, ValueError) as fault:
        raise BadInputError(
            f"the kept proof sheet cannot be read ({fault!r}); write a new one"
        ) from None


def _points(kept: Sequence[Sequence[float]]) -> tuple[Point, Point]:
    (ax, ay), (bx, by) = kept
    return (float(ax), float(ay)), (float(bx), float(by))


def always_measured(layout: Layout, units: Units) -> list[Distance]:
    """The ten that tell what the whole cover has done, each of them borne out by the others."""
    places = _Places(layout, units)
    last, top = len(places.xs) - 1, len(places.ys) - 1
    corner = places.crossing
    half = last // 2

    def between(
        kind: DistanceKind, start: tuple[int, int], end: tuple[int, int], purpose: str
    ) -> Distance:
        return replace(places.distance(kind, corner(*start), corner(*end)), purpose=purpose)

    return _distinct(
        [
            between("diagonal", (0, 0), (last, top), "square"),
            between("diagonal", (0, top), (last, 0), "square"),
            between("along", (0, 0), (last, 0), "near length"),
            between("along", (0, top), (last, top), "far length"),
            between("across", (0, 0), (0, top), "width, zero line"),
            between("across", (last, 0), (last, top), "width, far end"),
            between("across", (half, 0), (half, top), "width, middle"),
            between("along", (0, 0), (half, 0), "even stretch"),
            replace(places.thread(0, half), purpose="near line straight"),
            replace(places.thread(top, half), purpose="far line straight"),
        ]
    )


def choices(layout: Layout, patches: Sequence[Patch], units: Units) -> list[Distance]:
    """What could be measured beside, at the outermost lines of every section.

    A section is rigid, so that places far apart in it tell where all of it lies.
    """
    places = _Places(layout, units)
    found: list[Distance] = []

    def named(some: Iterator[Distance], purpose: str) -> Iterator[Distance]:
        return (replace(one, purpose=purpose) for one in some)

    for patch in patches:
        x0, y0, x1, y1 = patch.core
        inside = np.flatnonzero((places.xs >= x0) & (places.xs <= x1))
        rows = np.flatnonzero((places.ys >= y0) & (places.ys <= y1))
        if not inside.size:
            continue
        columns = places.spread(inside)
        for level in places.outermost_levels(y0, y1):
            for column in columns:
                found += named(places.from_the_ends(column, level), f"section {patch.id}")
            found += named(places.over_join(int(inside[-1]), level), f"join after {patch.id}")
        for row in dict.fromkeys((int(rows[0]), int(rows[-1]))) if rows.size else ():
            for column in columns:
                found += named(places.to_a_long_line(column, row), f"section {patch.id}")
    return _distinct(found)


def _distinct(distances: Sequence[Distance]) -> list[Distance]:
    kept = {
        (frozenset(d.ends), d.thread): d
        for d in reversed(distances)
        if d.thread is not None or d.nominal > 0
    }
    return list(reversed(kept.values()))


class _Places:
    """The places on a cover that a tape can be held to, and their names."""

    def __init__(self, layout: Layout, units: Units) -> None:
        self.xs = layout.grid.cross_x
        self.ys = np.array([line.y for line in layout.grid.long_lines])
        self._pitch = layout.grid.pitch[1]
        self._units = units

    def crossing(self, column: int, row: int) -> tuple[int, float]:
        """The crossing of a cross line with a long line."""
        return column, float(self.ys[row])

    def distance(
        self, kind: DistanceKind, start: tuple[int, float], end: tuple[int, float]
    ) -> Distance:
        """Between two places, each a cross line and a height."""
        ends = tuple((float(self.xs[column]), y) for column, y in (start, end))
        names = self._name(*start), self._name(*end)
        return Distance("", kind, (ends[0], ends[1]), names)

    def thread(self, row: int, column: int) -> Distance:
        """Where a long line lies beside a thread drawn between its two ends."""
        y, point = float(self.ys[row]), (float(self.xs[column]), float(self.ys[row]))
        ends = (float(self.xs[0]), y), (float(self.xs[-1]), y)
        name = self._name(column, y)
        return Distance("", "thread", (point, point), (name, "thread"), ends)

    def cross_thread(self, column: int, level: float) -> Distance:
        """Where a cross line lies beside a thread drawn between its two ends."""
        x = float(self.xs[column])
        ends = (x, float(self.ys[0])), (x, float(self.ys[-1]))
        names = self._name(column, level), f"thread along {column}"
        return Distance("", "thread", ((x, level), (x, level)), names, ends)

    def _name(self, column: int, y: float) -> str:
        if y == self.ys[0]:
            return f"{column} near"
        if y == self.ys[-1]:
            return f"{column} far"
        up, down = y - float(self.ys[0]), float(self.ys[-1]) - y
        pitches = 4 * up / self._pitch
        if abs(pitches - round(pitches)) < 1e-6:
            return f"{column} at {format_length(up, self._units)} up"
        return f"{column} at {format_length(down, self._units)} down"

    def spread(self, inside: IndexArray) -> list[int]:
        """The first and last of some cross lines, and so many between that none is far off."""
        long = float(self.xs[inside[-1]] - self.xs[inside[0]])
        count = 2 + int(long / _APART)
        return sorted(
            {int(inside[n]) for n in np.linspace(0, len(inside) - 1, count).round().astype(int)}
        )

    def outermost_levels(self, low: float, high: float) -> list[float]:
        """The lowest and the highest level between a section's joins, clear of both.

        In whole pitches off the near long line; in halves or quarters where that leaves no two.
        """
        first, last = float(self.ys[0]), float(self.ys[-1])
        lowest = low if low <= first else low + _OFF_JOIN
        highest = high if high >= last else high - _OFF_JOIN
        found = [(low + high) / 2]
        for part in (1, 2, 4):
            step = self._pitch / part
            up = np.ceil((lowest - first) / step - 1e-9), np.floor((highest - first) / step + 1e-9)
            levels = [first + step * float(n) for n in up]
            if up[0] <= up[1]:
                found = [last if abs(level - last) < 1e-6 else level for level in levels]
            if up[0] < up[1]:
                break
        return list(dict.fromkeys(found))

    def from_the_ends(self, column: int, level: float) -> Iterator[Distance]:
        """A cross line from the zero line and the last one, and from a thread along itself."""
        for end in (0, len(self.xs) - 1):
            if column != end:
                yield self.distance("along", (end, level), (column, level))
        if self.ys[0] < level < self.ys[-1]:
            yield self.cross_thread(column, level)

    def over_join(self, column: int, level: float) -> Iterator[Distance]:
        """From the last cross line before a join to the first after it."""
        if column + 1 < len(self.xs):
            yield self.distance("seam", (column, level), (column + 1, level))

    def to_a_long_line(self, column: int, row: int) -> Iterator[Distance]:
        """A crossing from both long edges, from the corners, and from a thread along its line."""
        last, top = len(self.xs) - 1, len(self.ys) - 1
        here = self.crossing(column, row)
        for edge in (0, top):
            if row != edge:
                yield self.distance("across", self.crossing(column, edge), here)
        for end in (0, last):
            for edge in (0, top):
                if column != end and row != edge:
                    yield self.distance("triangle", self.crossing(end, edge), here)
        if 0 < column < last:
            yield self.thread(row, column)
