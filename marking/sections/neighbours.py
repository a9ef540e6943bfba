"""Where the ink of neighbouring sections butts, and how far out a section's ink reaches.

It knows sections and their pieces, no placement. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box, FloatArray
    from marking.sections.plan import Section

_DIRECTIONS = 16
_ON_JOIN = 1e-6


class Butt(Struct, frozen=True):
    """The lines that two sections share at their join."""

    sections: tuple[str, str]
    """In inking order of the plan."""
    points_table: FloatArray
    """(1 or 2, 2): the first and the last place along the join where a line crosses it."""


def butts(sections: Sequence[Section]) -> tuple[Butt, ...]:
    """Every join between two of `sections` that a line crosses."""
    ends = {section.id: _ink_ends(section) for section in sections}
    cores = np.array([section.core for section in sections]).reshape(-1, 4)
    found = []
    for count, one in enumerate(sections):
        # Of many sections few meet one: the others are not looked at one by one.
        later = cores[count + 1 :]
        low, high = np.maximum(later[:, :2], one.core[:2]), np.minimum(later[:, 2:], one.core[2:])
        for which in np.flatnonzero((high - low >= -_ON_JOIN).all(axis=1)).tolist():
            two = sections[count + 1 + which]
            crossings = _crossings(one, two, ends[one.id])
            if len(crossings):
                first, last = crossings.sum(axis=1).argmin(), crossings.sum(axis=1).argmax()
                chosen = crossings[list(dict.fromkeys((int(first), int(last))))]
                found.append(Butt((one.id, two.id), chosen))
    return tuple(found)


def outermost_ink(section: Section) -> FloatArray:
    """The section's permanent ink that lies furthest out in 16 directions: points (n, 2).

    What a shift and turn does is worst at a corner of the ink's outline; these are its corners,
    or lie within a fiftieth of its size of them.
    """
    inked = [piece.stroke.points for piece in section.pieces if piece.stroke.layer != "witness"]
    if not inked:
        x0, y0, x1, y1 = section.core
        return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    points = np.concatenate(inked)
    angles = np.pi * (2 * np.arange(_DIRECTIONS) + 1) / _DIRECTIONS
    out = np.stack([np.cos(angles), np.sin(angles)])
    return points[sorted(set((points @ out).argmax(axis=0).tolist()))]


def window_middle(section: Section) -> FloatArray:
    """The point about which the section's pose is counted: the middle of its window, (2,)."""
    x0, y0, x1, y1 = section.window
    return np.array([(x0 + x1) / 2, (y0 + y1) / 2])


def border(one: Section, two: Section) -> Box | None:
    """The line that both cores share, as x0, y0, x1, y1; None when they meet in no line."""
    x0, y0 = (max(one.core[axis], two.core[axis]) for axis in (0, 1))
    x1, y1 = (min(one.core[axis], two.core[axis]) for axis in (2, 3))
    if x1 - x0 < -_ON_JOIN or y1 - y0 < -_ON_JOIN or max(x1 - x0, y1 - y0) <= _ON_JOIN:
        return None
    if x1 - x0 < y1 - y0:
        return (x0, y0, x0, y1)
    return (x0, y0, x1, y0)


def _ink_ends(section: Section) -> FloatArray:
    inked = [
        piece.stroke.points[[0, -1]] for piece in section.pieces if piece.stroke.layer != "witness"
    ]
    return np.concatenate(inked) if inked else np.zeros((0, 2))


def _crossings(one: Section, two: Section, ends: FloatArray) -> FloatArray:
    """Ends of the ink of `one` that lie on its border with `two`."""
    join = border(one, two)
    if join is None:
        return np.zeros((0, 2))
    low, high = np.array(join[:2]) - _ON_JOIN, np.array(join[2:]) + _ON_JOIN
    return ends[((ends >= low) & (ends <= high)).all(axis=1)]
