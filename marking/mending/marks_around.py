"""The marks around ink that is laid anew: crossings that lie on the cover and stay as they are.

The new ink lies true to what is around it, wherever that lies: nobody sees where a line should
have been, everybody a step in it. It knows pieces, no record. Table frame, millimetres.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.network.network import KnownMark
from marking.sections.locating_marks import Mark

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from marking.arrays import Box, FloatArray, Spot
    from marking.sections.plan import Piece

OWN_SD = 0.15
"""mm by which a crossing lies off the others inked in the same set-down: our judgement."""
_STRAIGHT, _LEVEL = 2, 1e-6
_BESIDE = 1.5
"""mm from spoilt ink within which a crossing is not to be trusted."""


class Crossing(Struct, frozen=True):
    """Two lines on the cover that cross, named by both, and the sections that inked them."""

    mark: Mark
    inked_by: frozenset[str]


def crossings(
    pieces: Mapping[str, Sequence[Piece]], spoilt: Iterable[Piece], reach: Box
) -> tuple[Crossing, ...]:
    """Where lines of `pieces`, by section, cross within `reach`, but on ink that is `spoilt`."""
    bad = [(piece.of, piece.stroke.points) for piece in spoilt]
    upright, level = [], []
    for section, several in pieces.items():
        for piece in several:
            points = piece.stroke.points
            if len(points) != _STRAIGHT or piece.stroke.layer == "witness":
                continue
            run = np.abs(points[1] - points[0])
            if run[0] < _LEVEL:
                upright.append((section, piece))
            elif run[1] < _LEVEL:
                level.append((section, piece))
    found: dict[str, Crossing] = {}
    for by, one in upright:
        x, ys = one.stroke.points[0, 0], np.sort(one.stroke.points[:, 1])
        if not reach[0] <= x <= reach[2]:
            continue
        for across, two in level:
            y, xs = two.stroke.points[0, 1], np.sort(two.stroke.points[:, 0])
            inside = ys[0] - _LEVEL <= y <= ys[1] + _LEVEL and xs[0] <= x <= xs[1]
            if inside and reach[1] <= y <= reach[3]:
                name = f"{one.of}/{two.of}"
                mark = Mark(name, (float(x), float(y)), "grid")
                lines = (one.of, two.of)
                if not any(of in lines and beside(mark.at_table, at) for of, at in bad):
                    found.setdefault(name, Crossing(mark, frozenset((by, across))))
    return tuple(found.values())


def beside(spot: Spot, line: FloatArray) -> bool:
    """Whether a spot is beside a line that is cut there, or on it."""
    low, high = line.min(axis=0) - _BESIDE, line.max(axis=0) + _BESIDE
    return bool((low <= spot).all() and (spot <= high).all())


def asked_for(found: Sequence[Crossing], box: Box) -> tuple[Mark, ...]:
    """The few of the crossings to read: those nearest to the corners of `box`, and far ones.

    Of one set-down where it has enough: they lie truest to each other.
    """
    one = _of_one(found)
    chosen = dict.fromkeys(_nearest(one, box))
    if len(one) > 1:
        at = np.array([crossing.mark.at_table for crossing in one])
        low, high = at.sum(axis=1), at @ (1, -1)
        chosen |= dict.fromkeys(
            one[int(n)].mark for n in (low.argmin(), low.argmax(), high.argmin(), high.argmax())
        )
    return tuple(chosen)


_ENOUGH = 4


def _of_one(found: Sequence[Crossing]) -> Sequence[Crossing]:
    """Those inked by the one section that has most, where these are enough; else all."""
    by = main_inker(found)
    own = [crossing for crossing in found if crossing.inked_by == {by}]
    return own if len(own) >= _ENOUGH else found


def main_inker(found: Sequence[Crossing]) -> str:
    """The section that inked most of the crossings; nothing without any."""
    count = Counter(name for crossing in found for name in sorted(crossing.inked_by))
    return count.most_common(1)[0][0] if count else ""


def _nearest(found: Sequence[Crossing], box: Box) -> Iterator[Mark]:
    corners: tuple[Spot, ...] = tuple((box[x], box[y]) for y in (1, 3) for x in (0, 2))
    for corner in corners if found else ():
        off = [float(np.hypot(*np.subtract(c.mark.at_table, corner))) for c in found]
        yield found[int(np.argmin(np.round(off, 6)))].mark


def as_known(found: Sequence[Crossing], step: float) -> tuple[KnownMark, ...]:
    """The crossings as marks that tell a place, each good to its own ink.

    Those of other set-downs than most lie off by a join's `step`, mm, in 95 of 100.
    """
    by = main_inker(found)
    return tuple(
        KnownMark(crossing.mark, None, OWN_SD if crossing.inked_by == {by} else step / 2)
        for crossing in found
    )
