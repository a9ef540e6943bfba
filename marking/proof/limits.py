"""What a cover may show, limit by limit, and how the unknowns of its distortion show it.

Each figure is sideways of a line: x of a cross line, y of a long line. Table frame, millimetres. It
knows no tape and no measurement.

total       From zero: how far a cross line's distance from the zero line at the same height is off,
            and a long line's from the first near long line at the same place along the table.
square      Of a cross line: between two of its points no further apart than `over`, how far one
            lies off the perpendicular through the other to the near long line.
neighbours  How far the distance of two lines beside each other is off the pitch.
step        Where a line passes from one section into the next, how far its two ends lie apart.
straight    How far a long line lies off a thread between its two ends. No limit that a job gives:
            it goes with total, since long lines that all bow alike break none of the four.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.measures.lengths import parse_length
from marking.proof.distortion import effect

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import FloatArray
    from marking.job.work_keys import AllowedTable
    from marking.proof.distortion import Distortion, Patch

LimitName = Literal["total", "square", "neighbours", "step", "straight"]
_ORDER: tuple[LimitName, ...] = ("total", "square", "neighbours", "step", "straight")
_SQUARE_OVER = parse_length("54 in")
_USUAL_STEP = 1.0
"""mm: about a line's width. Told beside, but asked for by none who did not write it."""
_HAIR = 1e-6
_APART = 600.0
"""mm."""


class Limit(Struct, frozen=True):
    """One limit, in mm."""

    name: LimitName
    allowed: float
    asked: bool = True
    """Whether a cover passes only when it is shown to keep this one."""
    over: float = float("inf")
    """Over what length of a cross line; of `square` alone."""


Limits = tuple[Limit, ...]


def within(tolerance: float) -> Limits:
    """What a tolerance alone means: total, with it straight, and square over the width."""
    return (
        Limit("total", tolerance),
        Limit("square", tolerance),
        Limit("step", _USUAL_STEP, asked=False),
        Limit("straight", tolerance),
    )


def limits_of(tolerance: float, allowed: AllowedTable) -> Limits:
    """The limits of a job: those that `allowed` gives, and what `tolerance` means for the rest."""
    given = {limit.name: limit for limit in within(tolerance)}
    for name in _ORDER[:4]:
        value = getattr(allowed, name)
        if value is not None:
            over = _SQUARE_OVER if name == "square" else float("inf")
            given[name] = Limit(name, value, over=over)
    given["straight"] = Limit("straight", given["total"].allowed)
    return tuple(given[name] for name in _ORDER if name in given)


class LimitRows(Struct, frozen=True):
    """How each unknown moves one limit's figure, wherever it is worst."""

    limit: Limit
    rows: FloatArray
    """(q, unknowns)."""
    sections: tuple[tuple[str, ...], ...]
    """(q,): the sections that each speaks of."""


def limit_rows(model: Distortion, limits: Limits) -> tuple[LimitRows, ...]:
    """Those limits that something of the cover shows: a cover of one piece has no step."""
    found = []
    for limit in limits:
        named = list(_FIGURES[limit.name](model, limit))
        if named:
            rows = np.array([row for row, _ in named])
            found.append(LimitRows(limit, rows, tuple(sections for _, sections in named)))
    return tuple(found)


def _moved(model: Distortion, point: tuple[float, float], patch: int) -> FloatArray:
    """(2, unknowns)."""
    moved: FloatArray = effect(model, np.array([point]), np.array([patch]))[0]
    return moved


def _pieces(model: Distortion) -> list[tuple[int, Patch]]:
    if model.patches:
        return list(enumerate(model.patches))
    return [(-1, model.whole)]


def _total(model: Distortion, limit: Limit) -> Iterator[tuple[FloatArray, tuple[str, ...]]]:
    del limit
    pieces = _pieces(model)
    # The pieces that hold the zero line beside each, and the near line below each.
    first: dict[int, tuple[int, Patch]] = {}
    lowest: dict[int, tuple[int, Patch]] = {}
    for n, patch in pieces:
        if patch.cross is not None:
            at = first.get(patch.row)
            first[patch.row] = min(at or (n, patch), (n, patch), key=lambda one: one[1].column)
        if patch.long is not None:
            at = lowest.get(patch.column)
            lowest[patch.column] = min(at or (n, patch), (n, patch), key=lambda one: one[1].row)
    x0, y0 = model.rect[:2]
    for n, patch in pieces:
        for x in _spread(patch.cross):
            for y in (patch.core[1], patch.core[3]):
                if x > x0 + _HAIR:
                    zero = _moved(model, (x0, y), first[patch.row][0])
                    yield _moved(model, (x, y), n)[0] - zero[0], (patch.id,)
        for y in sorted(set(patch.long or ())):
            for x in (patch.core[0], patch.core[2]):
                if y > y0 + _HAIR:
                    near = _moved(model, (x, y0), lowest[patch.column][0])
                    yield _moved(model, (x, y), n)[1] - near[1], (patch.id,)


def _spread(lines: tuple[float, float] | None) -> list[float]:
    """A piece's first and last line, and so many places between that none is far from one.

    What stretches unevenly is furthest off between the ends of a long piece.
    """
    if lines is None:
        return []
    first, last = lines
    return list(dict.fromkeys(np.linspace(first, last, 2 + int((last - first) / _APART)).tolist()))


def _near_slope(model: Distortion) -> FloatArray:
    """(unknowns,): slope of the straight line that fits the near long line best."""
    y0 = model.rect[1]
    spots = [
        (x, n)
        for n, patch in _pieces(model)
        if patch.long is not None and abs(patch.long[0] - y0) < _HAIR
        for x in np.linspace(patch.core[0], patch.core[2], 5).tolist()
    ]
    at = np.array([x for x, _ in spots])
    off = at - at.mean()
    moved = effect(model, np.array([(x, y0) for x, _ in spots]), np.array([n for _, n in spots]))
    slope: FloatArray = off @ moved[:, 1] / float((off**2).sum())
    return slope


def _square(model: Distortion, limit: Limit) -> Iterator[tuple[FloatArray, tuple[str, ...]]]:
    slope = _near_slope(model)
    columns: dict[int, list[tuple[int, Patch]]] = {}
    for n, patch in _pieces(model):
        if patch.cross is not None:
            columns.setdefault(patch.column, []).append((n, patch))
    for column in columns.values():
        rows = sorted(column, key=lambda one: one[1].row)
        heights = _heights(rows, limit.over)
        for x in sorted({x for _, patch in rows for x in patch.cross or ()}):
            spots = [(x, y) for y, _ in heights]
            moved = effect(model, np.array(spots), np.array([n for _, n in heights]))[:, 0]
            for i, (low, one) in enumerate(heights):
                for j in range(i + 1, len(heights)):
                    high, two = heights[j]
                    if high - low <= limit.over + _HAIR:
                        names = dict.fromkeys(model.patches[k].id for k in (one, two) if k >= 0)
                        yield moved[j] - moved[i] + slope * (high - low), tuple(names)


def _heights(rows: Sequence[tuple[int, Patch]], over: float) -> list[tuple[float, int]]:
    """Where each piece of a column begins and ends, and so far from there: (y, patch), rising."""
    ends = [(y, n) for n, patch in rows for y in (patch.core[1], patch.core[3])]
    if np.isfinite(over):
        ends += [
            (y + way * over, n)
            for y, _ in list(ends)
            for way in (-1, 1)
            for n, patch in rows
            if patch.core[1] + _HAIR < y + way * over < patch.core[3] - _HAIR
        ]
    return sorted(set(ends))


class Meeting(Struct, frozen=True):
    """Two sections that meet at a join, the second further along the table or across it."""

    first: int
    second: int
    across: Literal[0, 1]
    """The axis that passes over the join: 0 where they stand side by side along the table."""
    at: float
    low: float
    high: float
    """Where along the other axis the join begins and ends."""


def meetings(model: Distortion) -> list[Meeting]:
    """Every join of the cover."""
    places = {(patch.row, patch.column): n for n, patch in enumerate(model.patches)}
    found = []
    for (row, column), first in places.items():
        axis: Literal[0, 1]
        for axis, neighbour in ((0, (row, column + 1)), (1, (row + 1, column))):
            second = places.get(neighbour)
            if second is None:
                continue
            one, two = model.patches[first].core, model.patches[second].core
            if abs(one[axis + 2] - two[axis]) > _HAIR:
                continue  # Rows with a gap between them do not meet.
            other = 1 - axis
            low, high = max(one[other], two[other]), min(one[other + 2], two[other + 2])
            found.append(Meeting(first, second, axis, one[axis + 2], low, high))
    return found


def _point(meeting: Meeting, over: float, beside: float) -> tuple[float, float]:
    return (over, beside) if meeting.across == 0 else (beside, over)


def _step(model: Distortion, limit: Limit) -> Iterator[tuple[FloatArray, tuple[str, ...]]]:
    del limit
    for meeting in meetings(model):
        one, two = model.patches[meeting.first], model.patches[meeting.second]
        # What passes over a join between columns are long lines, seen across the table.
        seen = 1 - meeting.across
        lines = [one.cross, one.long][seen] if [two.cross, two.long][seen] is not None else None
        for beside in sorted(set(lines or ())):
            at = _point(meeting, meeting.at, beside)
            apart = _moved(model, at, meeting.second) - _moved(model, at, meeting.first)
            yield apart[seen], (one.id, two.id)


def _neighbours(model: Distortion, limit: Limit) -> Iterator[tuple[FloatArray, tuple[str, ...]]]:
    del limit
    for n, patch in _pieces(model):
        for axis, lines in ((0, patch.cross), (1, patch.long)):
            if lines is None or lines[1] - lines[0] < model.pitch[axis] - _HAIR:
                continue
            names = (patch.id,) if n >= 0 else ()
            for start in dict.fromkeys((lines[0], lines[1] - model.pitch[axis])):
                here, there = list(patch.middle), list(patch.middle)
                here[axis], there[axis] = start, start + model.pitch[axis]
                moved = [_moved(model, (at[0], at[1]), n)[axis] for at in (here, there)]
                yield moved[1] - moved[0], names
    for meeting in meetings(model):
        one, two = model.patches[meeting.first], model.patches[meeting.second]
        axis = meeting.across
        before, after = [one.cross, one.long][axis], [two.cross, two.long][axis]
        if before is None or after is None or after[0] - before[1] > 1.5 * model.pitch[axis]:
            continue
        for beside in (meeting.low, meeting.high):
            last = _moved(model, _point(meeting, before[1], beside), meeting.first)
            next_one = _moved(model, _point(meeting, after[0], beside), meeting.second)
            yield (next_one - last)[axis], (one.id, two.id)


def _straight(model: Distortion, limit: Limit) -> Iterator[tuple[FloatArray, tuple[str, ...]]]:
    del limit
    rows: dict[int, list[tuple[int, Patch]]] = {}
    for n, patch in _pieces(model):
        if patch.long is not None:
            rows.setdefault(patch.row, []).append((n, patch))
    for row in rows.values():
        (first, start), (last, end) = (at(row, key=lambda one: one[1].column) for at in (min, max))
        low, high = start.core[0], end.core[2]
        for y in sorted({y for _, patch in row for y in patch.long or ()}):
            ends = _moved(model, (low, y), first)[1], _moved(model, (high, y), last)[1]
            for n, patch in row:
                for x in (patch.core[0], patch.middle[0], patch.core[2]):
                    if x in (low, high):
                        continue
                    share = (x - low) / (high - low)
                    thread = (1 - share) * ends[0] + share * ends[1]
                    yield _moved(model, (x, y), n)[1] - thread, (patch.id,)


_FIGURES = {
    "total": _total,
    "square": _square,
    "neighbours": _neighbours,
    "step": _step,
    "straight": _straight,
}
