"""What rows of sections hold against a fence, or by marks at their corners: covers imagined.

It knows windows and errors, handed in as data, and no machine; it is a reckoning for choosing a
way, not the forecast of a plan. Table frame, mm.

Marks: each level between rows is one struck line with one zero; all share the tape. Without a
fence a section is placed by two marks on its far side and two points of the ink on its other
side, the first by four marks, each read once. With one, the rail of each row is set by readings at
its ends and where it overlaps itself, of marks and of the ink of the row below in equal parts;
stops are set along it by the same tape, and each set-down keeps what contact and stop leave,
turning about the rail. Every set-down adds what the cloth gives, and all the plotter's scale and
the pointer's offset. Normal errors, save the tape's, even within its limit; the sag of a rail has
its full size and a random sign at each clamping.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from marking.network.allowed import SQUARE_OVER
from marking.ways.told import COVERS, SEED, kept_within, told
from marking.ways.way import Expected

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from marking.arrays import FloatArray
    from marking.network.error_model import ErrorModel


@dataclass(frozen=True)
class Doubts:
    """How large each error is taken to be: standard deviations in mm unless said."""

    model: ErrorModel
    tape_most: float
    """The tape's scale is off by no more than this, evenly, mm a mm."""
    reading: float
    lean: float = 0.3 / 1600
    """Of the zero line from square, radians; our own assumption."""
    ruled_most: float = 0.2
    """Each end of a ruled line is off by no more than this, evenly; our own assumption."""


@dataclass(frozen=True)
class Row:
    """One row of sections: where its ink lies along y, and each section's along x."""

    low: float
    high: float
    columns: tuple[tuple[float, float], ...]

    def column_of(self, line_x: FloatArray) -> NDArray[np.intp]:
        """(lines,): which section inks each cross line; all beyond the ends go to the outer two."""
        joins = [column[1] for column in self.columns[:-1]]
        return np.searchsorted(joins, line_x, side="right")


class _Inked:
    """The ink of one imagined row of sections, many covers at once."""

    def __init__(self, row: Row, pose: FloatArray, scale: FloatArray, give: FloatArray) -> None:
        # pose (covers, columns, 3): x, y, turn at each middle; give (covers, columns, 2, 2, 2).
        self.row, self.pose, self.scale, self.give = row, pose, scale, give

    def off(self, column: int, x: float, y: float) -> FloatArray:
        """(covers, 2): how far ink of a section at a point is off."""
        (x0, x1), row = self.row.columns[column], self.row
        u, v = (x - x0) / (x1 - x0), (y - row.low) / (row.high - row.low)
        along, across = x - (x0 + x1) / 2, y - (row.low + row.high) / 2
        dx, dy, turn = self.pose[:, column].T
        give = self.give[:, column]
        gave = (1 - v) * ((1 - u) * give[:, 0, 0] + u * give[:, 1, 0]) + v * (
            (1 - u) * give[:, 0, 1] + u * give[:, 1, 1]
        )
        moved = np.stack(
            [
                dx - turn * across + self.scale[:, 0] * along,
                dy + turn * along + self.scale[:, 1] * across,
            ],
            axis=1,
        )
        off: FloatArray = moved + gave
        return off

    def lines(self, line_x: FloatArray, y: float) -> FloatArray:
        """(covers, lines): how far along x each cross line is off at a height."""
        inside = self.row.column_of(line_x)
        out = np.empty((len(self.pose), len(line_x)))
        for column in range(len(self.row.columns)):
            at = np.flatnonzero(inside == column)
            if len(at):
                # Straight between the two outermost lines of a section: bilinear in x and y.
                first, last = (self.off(column, float(line_x[k]), y)[:, 0] for k in (at[0], at[-1]))
                span = max(float(line_x[at[-1]] - line_x[at[0]]), 1e-9)
                share = (line_x[at] - line_x[at[0]]) / span
                out[:, at] = first[:, None] + (last - first)[:, None] * share
        return out


def rows_hold(
    rows: tuple[Row, ...],
    line_x: FloatArray,
    doubts: Doubts,
    clampings: int,
    *,
    ruled: bool,
    repeats: int = 1,
    bands: tuple[tuple[float, float], ...] | None = None,
) -> Expected:
    """What sections in `rows`, from the near edge up, hold; `ruled`: cross lines by hand between.

    `line_x` are the cross lines, `bands` where along y there are long lines, None for everywhere;
    `clampings` how often a fence is clamped along each row, 0 for none;
    ruled lines run from the near half of the rows to the far half. Each mark is read `repeats`
    times.
    """
    doubts = replace(doubts, reading=doubts.reading / repeats**0.5)
    rng = np.random.default_rng(SEED)
    shared = _Shared(rng, doubts)
    inked: list[_Inked] = []
    for row in rows:
        below = inked[-1] if inked and abs(inked[-1].row.high - row.low) < 1.0 else None
        levels = shared.level(row.low), shared.level(row.high)
        pose = (
            _by_marks(rng, row, levels, doubts)
            if not clampings
            else _by_rail(rng, row, levels, below, doubts, clampings)
        )
        pose[:, :, :2] += shared.pointer[:, None]
        give = doubts.model.cloth * rng.standard_normal((COVERS, len(row.columns), 2, 2, 2))
        inked.append(_Inked(row, pose, shared.scale, give))
    step, line, apart = _joins(inked, bands)
    turn = _near_line_turn(inked[0])
    if not ruled:
        figures = _inked_whole(inked, line_x, turn, apart)
        total, square, neighbours = map(kept_within, figures)
        return Expected(kept_within(line), total, square, neighbours, kept_within(step))
    half = len(inked) // 2
    ends = (inked[half - 1], rows[half - 1].high), (inked[half], rows[half].low)
    slips = rng.uniform(-doubts.ruled_most, doubts.ruled_most, (2, COVERS, len(line_x)))
    near, far = (one.lines(line_x, y) + slip for (one, y), slip in zip(ends, slips, strict=True))
    width = ends[1][1] - ends[0][1]
    step = np.maximum(step, np.abs(slips).max(axis=(0, 2)))
    # A line leans against the near line, which may be turned itself.
    found = told(near, far + turn[:, None] * width, width, step, line)
    return replace(found, neighbours=max(found.neighbours, kept_within(apart)))


def _inked_whole(
    inked: list[_Inked], line_x: FloatArray, turn: FloatArray, apart: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(covers,) each: total, square and neighbours of cross lines that sections ink whole.

    Ink of a section is straight between its outermost lines, so that these stand for all.
    """
    row = inked[0].row
    outer, pairs = _outermost(row, line_x)
    heights = [(one, y) for one in inked for y in (one.row.low, one.row.high)]
    off = np.stack([one.lines(outer, y) for one, y in heights])
    y = np.array([y for _, y in heights])
    total = np.abs(off - off[:, :, :1]).max(axis=(0, 2))
    upright = off + (y[:, None] * turn)[:, :, None]
    square = np.zeros(COVERS)
    for k, low in enumerate(y):
        within = upright[k:][y[k:] - low <= SQUARE_OVER + 1e-6]
        square = np.maximum(square, np.ptp(within, axis=0).max(axis=1))
    if len(pairs):
        apart = np.maximum(apart, np.abs(np.diff(off, axis=2)[:, :, pairs]).max(axis=(0, 2)))
    return total, square, apart


def _outermost(row: Row, line_x: FloatArray) -> tuple[FloatArray, list[int]]:
    """The first and last cross line of each section, and which steps between them cross a join."""
    outer: list[float] = []
    across: list[int] = []
    inside = row.column_of(line_x)
    for column in range(len(row.columns)):
        own = line_x[inside == column]
        if len(own):
            if outer:
                across.append(len(outer) - 1)
            outer += sorted({float(own[0]), float(own[-1])})
    return np.array(outer), across


def _near_line_turn(first: _Inked) -> FloatArray:
    """(covers,): how far the first near long line is turned, radians, by the line that fits it."""
    row = first.row
    middles = np.array([(x0 + x1) / 2 for x0, x1 in row.columns])
    if len(middles) < 2:
        turned: FloatArray = first.pose[:, 0, 2]
        return turned
    off = np.stack([first.off(k, float(x), row.low)[:, 1] for k, x in enumerate(middles)], axis=1)
    arm = middles - middles.mean()
    fitted: FloatArray = off @ arm / (arm @ arm)
    return fitted


class _Shared:
    """What all sections of a cover share, and the levels that marks are struck along."""

    def __init__(self, rng: np.random.Generator, doubts: Doubts) -> None:
        self.rng, self.doubts = rng, doubts
        self.tape = rng.uniform(-doubts.tape_most, doubts.tape_most, COVERS)
        self.lean = doubts.lean * rng.standard_normal(COVERS)
        self.scale = doubts.model.scale * rng.standard_normal((COVERS, 2))
        self.pointer = doubts.model.pointer * rng.standard_normal((COVERS, 2))
        self.levels: dict[float, _Level] = {}
        self.graduations: dict[float, FloatArray] = {}

    def graduation(self, x: float) -> FloatArray:
        """(covers,): how far the tape's own graduation is off, the same for all marks of one x."""
        if x not in self.graduations:
            most = self.doubts.model.graduation
            self.graduations[x] = self.rng.uniform(-most, most, COVERS)
        return self.graduations[x]

    def level(self, y: float) -> _Level:
        """The struck line at a height: the same for the rows on both its sides."""
        place = round(y, 1)
        if place not in self.levels:
            self.levels[place] = _Level(self, y)
        return self.levels[place]


class _Level:
    """A struck line with its zero, and the marks along it."""

    def __init__(self, shared: _Shared, y: float) -> None:
        self.shared, self.y = shared, y
        rng, doubts = shared.rng, shared.doubts
        self.zero = doubts.model.row_zero * rng.standard_normal(COVERS) + shared.lean * y
        self.ends = (
            doubts.model.row_ends * rng.standard_normal((COVERS, 2)) + (shared.tape * y)[:, None]
        )
        self.marks: dict[float, FloatArray] = {}

    def mark(self, x: float, span: tuple[float, float]) -> FloatArray:
        """(covers, 2): how far a mark on it is off; `span` is where it was struck between."""
        if x not in self.marks:
            share = (x - span[0]) / (span[1] - span[0])
            own = (self.shared.doubts.model.mark or 0.0) * self.shared.rng.standard_normal(
                (COVERS, 2)
            )
            y = (1 - share) * self.ends[:, 0] + share * self.ends[:, 1]
            along = self.zero + self.shared.tape * x + self.shared.graduation(x)
            self.marks[x] = own + np.stack([along, y], axis=1)
        return self.marks[x]


def _by_marks(
    rng: np.random.Generator, row: Row, levels: tuple[_Level, _Level], doubts: Doubts
) -> FloatArray:
    """(covers, columns, 3): poses by four points each, fitted without scale."""
    span = row.columns[0][0], row.columns[-1][1]
    pose = np.zeros((COVERS, len(row.columns), 3))
    none = np.zeros((COVERS, 2))
    for column, (x0, x1) in enumerate(row.columns):
        corners = [(x, y) for x in (x0, x1) for y in (row.low, row.high)]
        before = _Inked(row, pose, none, np.zeros((COVERS, len(row.columns), 2, 2, 2)))
        seen = []
        for x, y in corners:
            is_ink = column > 0 and x == x0
            level = levels[0] if y == row.low else levels[1]
            at = before.off(column - 1, x, y) if is_ink else level.mark(x, span)
            if is_ink:
                at = at + doubts.model.cloth * rng.standard_normal((COVERS, 2))
            seen.append(at + doubts.reading * rng.standard_normal((COVERS, 2)))
        pose[:, column] = _fitted(np.array(corners), np.stack(seen, axis=1))
    return pose


def _fitted(points: FloatArray, off: FloatArray) -> FloatArray:
    """(covers, 3): the least-squares shift and small turn of points that are `off`."""
    arm = points - points.mean(axis=0)
    shift = off.mean(axis=1)
    turn = (off[:, :, 1] * arm[:, 0] - off[:, :, 0] * arm[:, 1]).sum(axis=1) / (arm**2).sum()
    return np.column_stack([shift, turn])


def _by_rail(
    rng: np.random.Generator,
    row: Row,
    levels: tuple[_Level, _Level],
    below: _Inked | None,
    doubts: Doubts,
    clampings: int,
) -> FloatArray:
    """(covers, columns, 3): poses against a rail that is clamped as often as it has to be."""
    x0, x1 = row.columns[0][0], row.columns[-1][1]
    posts = np.linspace(x0, x1, clampings + 1)
    off = [_post(rng, row, float(x), (x0, x1), levels, below, doubts) for x in posts]
    pose = np.zeros((COVERS, len(row.columns), 3))
    bows = doubts.model.bow * rng.choice([-1.0, 1.0], (clampings, COVERS))
    for column, (left, right) in enumerate(row.columns):
        middle = (left + right) / 2
        part = min(int(np.searchsorted(posts, middle, side="right")) - 1, clampings - 1)
        low, high = posts[part], posts[part + 1]

        def at(x: float, part: int = part, low: float = low, high: float = high) -> FloatArray:
            share = (x - low) / (high - low)
            bow = 4 * share * (1 - share) * bows[part]
            straight: FloatArray = (1 - share) * off[part][:, 1] + share * off[part + 1][:, 1]
            lies: FloatArray = straight + bow + doubts.model.contact * rng.standard_normal(COVERS)
            return lies

        tenth = (right - left) / 10
        touched = at(left + tenth), at(right - tenth)
        along = (off[part][:, 0] + off[part + 1][:, 0]) / 2
        turn = (touched[1] - touched[0]) / (8 * tenth)
        # Stops are set along the rail by the tape, and hold the device where it touches the rail.
        along = along + levels[0].shared.tape * (middle - (low + high) / 2)
        stop = doubts.model.stops * rng.standard_normal(COVERS)
        pose[:, column, 0] = along + stop - turn * (row.high - row.low) / 2
        pose[:, column, 1] = (touched[0] + touched[1]) / 2
        pose[:, column, 2] = turn
    return pose


def _post(
    rng: np.random.Generator,
    row: Row,
    x: float,
    span: tuple[float, float],
    levels: tuple[_Level, _Level],
    below: _Inked | None,
    doubts: Doubts,
) -> FloatArray:
    """(covers, 2): how far off the rail is held where its row is read: two marks, two of ink."""
    seen = [level.mark(x, span) for level in levels]
    if below is not None:
        column = 0 if x <= span[0] else len(row.columns) - 1
        column = next((k for k, (a, b) in enumerate(row.columns) if a <= x <= b), column)
        seen += [below.off(min(column, len(below.row.columns) - 1), x, row.low)] * 2
    noisy = [at + doubts.reading * rng.standard_normal((COVERS, 2)) for at in seen]
    held: FloatArray = np.mean(noisy, axis=0)
    return held


def _joins(
    inked: list[_Inked], bands: tuple[tuple[float, float], ...] | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(covers,) each: the largest step, the largest error of any corner, and what long lines on
    either side of a join between rows differ by in their distance."""
    step, line, apart = (np.zeros(COVERS) for _ in range(3))
    for place, one in enumerate(inked):
        row = one.row
        below = inked[place - 1] if place else None
        meets = below is not None and abs(below.row.high - row.low) < 1.0
        for column, (x0, x1) in enumerate(row.columns):
            for x, y in ((x0, row.low), (x0, row.high), (x1, row.low), (x1, row.high)):
                off = one.off(column, x, y)
                line = np.maximum(line, np.abs(off).max(axis=1))
                if column and x == x0 and _banded((row.low, row.high), bands):
                    differ = off - one.off(column - 1, x, y)
                    step = np.maximum(step, np.abs(differ[:, 1]))
                if meets and below is not None and y == row.low:
                    differ = off - below.off(column, x, y)
                    step = np.maximum(step, np.abs(differ[:, 0]))
                    if _banded((y, y), bands):
                        apart = np.maximum(apart, np.abs(differ[:, 1]))
    return step, line, apart


def _banded(span: tuple[float, float], bands: tuple[tuple[float, float], ...] | None) -> bool:
    """Whether there are long lines within a span along y."""
    return bands is None or any(low <= span[1] and span[0] <= high for low, high in bands)
