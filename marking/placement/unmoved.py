"""Whether a device stands where it inked before, by marks read anew.

Both placements are held against each other with everything that they share counted out: marks
read twice are off by the same tape or the same ink in both. It knows placements, no record and
no machine. Table frame, millimetres and radians.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.least_squares.chi_square import exceeded
from marking.least_squares.least_slip import SEEN
from marking.network.pose import changed, effect

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.network.pose import Pose
    from marking.placement.placement import Placement
    from marking.sections.plan import Section

FALSE_ALARM = 0.002
"""How often a device that nobody touched may be taken for one that was moved."""


class SeenMove(Struct, frozen=True):
    """How far a device now stands from where it inked, as far as readings tell."""

    off: float
    """mm, at the corner of the window that moved most."""
    by_chance: bool
    """Whether doubtful readings alone explain it."""
    noticed: float
    """mm: a move of this much at a corner would be noticed 99 times in 100; a smaller one may
    pass unseen."""


def seen_move(placed: Placement, before: str) -> SeenMove:
    """`placed` held against the placement that the ink of setup `before` was laid by.

    Both stand in the network that `placed` leaves.
    """
    section, network = placed.section, placed.inking.network
    then, now = network.setups[before], placed.inking.setup
    stood, stands = (
        changed(setup.stands, network.mean[network.places[name]])
        for name, setup in ((before, then), (section.id, now))
    )
    index = np.r_[network.places[section.id], network.places[before]]
    # What a rigid pose has in common with one of another kind: shift and turn.
    count = network.places[section.id].stop - network.places[section.id].start
    less = np.zeros((3, len(index)))
    less[:, :3], less[:, count : count + 3] = np.eye(3), -np.eye(3)
    return _judged(section, stood, stands, less @ network.spread_of(index) @ less.T)


def seen_off(placed: Placement, stood: Pose) -> SeenMove:
    """`placed` held against a place that no readings gave: the doubt is that of `placed` alone."""
    return _judged(placed.section, stood, placed.pose, placed.covariance[:3, :3])


def _judged(section: Section, stood: Pose, stands: Pose, spread: FloatArray) -> SeenMove:
    x0, y0, x1, y1 = section.window
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    by_corner = effect("rigid", corners, np.array([(x0 + x1) / 2, (y0 + y1) / 2]))
    apart = stands(corners) - stood(corners)
    change = np.linalg.lstsq(by_corner.reshape(-1, 3), apart.ravel(), rcond=None)[0]
    chance = exceeded(FALSE_ALARM, 3)
    corner_spread = by_corner @ spread @ by_corner.transpose(0, 2, 1)
    widest = math.sqrt(float(np.linalg.eigvalsh(corner_spread)[:, -1].max()))
    return SeenMove(
        float(np.linalg.norm(apart, axis=1).max()),
        float(change @ np.linalg.solve(spread, change)) <= chance,
        (math.sqrt(chance) + SEEN) * widest,
    )
