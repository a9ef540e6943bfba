"""Where to put the targets of a true-up, and what two of them say after a bump.

It knows mappings and points, not how a target is drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from devices.beam.mapping import inverse
from marking.errors import BadInputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from devices.beam.calibration import Landing
    from devices.beam.mapping import Mapping
    from marking.witness import Box

    FloatArray = NDArray[np.float64]

INSET = 0.04
"""Of the window's width: targets stand this far inside it, so that all of each is lit."""


@dataclass(frozen=True)
class Target:
    """A target to land: where it is lit first, and the point it is to be brought onto."""

    name: str
    at_px: tuple[float, float]
    at_table: tuple[float, float]


def suggest(window: Box, expected: Mapping, step: float) -> tuple[Target, ...]:
    """Nine targets over a window, on tape readings that are whole multiples of `step` mm.

    Three by three out to the edge: errors grow outwards from the targets, and the corners and
    middles together tell keystone, lens and blunders apart best.
    """
    x0, y0, x1, y1 = window
    inset = INSET * (x1 - x0)
    spots = [
        (round(x / step) * step, round(y / step) * step)
        for y in (y1 - inset, (y0 + y1) / 2, y0 + inset)
        for x in (x0 + inset, (x0 + x1) / 2, x1 - inset)
    ]
    lit = np.round(expected.to_px(np.array(spots)))
    return tuple(
        Target(str(number), (float(px[0]), float(px[1])), spot)
        for number, (px, spot) in enumerate(zip(lit, spots, strict=True), 1)
    )


@dataclass(frozen=True)
class Move:
    """How the table lies under the light now, against the last true-up."""

    shift: tuple[float, float]
    """In mm, at the middle of the landings."""
    turn: float
    """Radians, counter-clockwise."""
    stretch: float
    """1 when nothing changed in size."""
    farthest: float
    """Greatest move of a landed target, in mm."""
    matrix: FloatArray
    """(3, 3): table points as the old true-up had them, to where they are now."""


def moved(mapping: Mapping, first: Landing, second: Landing) -> Move:
    """What two landings say has happened since `mapping` was solved: shift, turn and stretch.

    Raises BadInputError for targets too near each other, and for a stretch that no bump makes.
    """
    old = mapping.to_table(np.array([first.at_px, second.at_px]))
    new = np.array([first.at_table, second.at_table])
    before, after = old[1] - old[0], new[1] - new[0]
    if min(math.hypot(*before), math.hypot(*after)) < 100:
        raise BadInputError(
            "the two check targets are less than 100 mm apart; a turn cannot be told from so "
            "near. Use two far apart"
        )
    ratio = complex(*after) / complex(*before)
    if abs(abs(ratio) - 1) > 0.02:
        raise BadInputError(
            f"by these two targets the picture grew {abs(ratio):.3f} times, which no bump does: "
            "the projector's height or zoom has changed, or a reading is wrong. True up anew"
        )
    linear = np.array([[ratio.real, -ratio.imag], [ratio.imag, ratio.real]])
    middle_old, middle_new = old.mean(axis=0), new.mean(axis=0)
    matrix = np.eye(3)
    matrix[:2, :2], matrix[:2, 2] = linear, middle_new - linear @ middle_old
    shift = middle_new - middle_old
    return Move(
        (float(shift[0]), float(shift[1])),
        math.atan2(ratio.imag, ratio.real),
        abs(ratio),
        float(np.linalg.norm(new - old, axis=1).max()),
        matrix,
    )


def retrued(mapping: Mapping, move: Move) -> Mapping:
    """`mapping` after a move: what lies at a place now is lit where its old place was."""
    matrix = mapping.matrix @ inverse(move.matrix)
    return replace(mapping, matrix=matrix / np.linalg.norm(matrix))


def check_pair(targets: tuple[Target, ...]) -> tuple[Target, Target]:
    """The two targets farthest apart on the table."""
    points = np.array([target.at_table for target in targets])
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    first, second = divmod(int(apart.argmax()), len(targets))
    return targets[first], targets[second]


def relit(targets: tuple[Target, ...], mapping: Mapping) -> tuple[Target, ...]:
    """The targets lit where `mapping` now puts their points."""
    lit = mapping.to_px(np.array([target.at_table for target in targets]))
    return tuple(
        replace(target, at_px=(float(px[0]), float(px[1])))
        for target, px in zip(targets, lit, strict=True)
    )
