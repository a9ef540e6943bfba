"""How far inked ink lies from the plan as far as is known, and how surely; the step at a join.

It knows the network, no limits and no verdict. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.network.network import section_effect
from marking.network.shared_errors import PLOTTER, scale_effect

if TYPE_CHECKING:
    from marking.arrays import FloatArray, IndexArray
    from marking.network.network import Network


def ink_error(network: Network, section: str, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far the ink of `section` at table points (n, 2) lies from the plan, and how surely.

    The mean (n, 2) and covariance (n, 2, 2), given all readings; with the datum's errors.
    """
    index, by_point = ink_effect(network, section, points)
    spread = by_point @ network.spread_of(index) @ by_point.transpose(0, 2, 1)
    off = by_point @ network.mean[index] - network.setups[section].allowed_for(points)
    return off, spread + network.errors.cloth**2 * np.eye(2)


def join_step(
    network: Network, section: str, beside: str, points: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The ink of `section` less that of `beside` at join points (n, 2): mean and covariance.

    What the two share, as a locating mark both have met or the datum, is counted out.
    """
    one, by_one = ink_effect(network, section, points)
    two, by_two = ink_effect(network, beside, points)
    index, both = np.r_[one, two], np.concatenate([by_one, -by_two], axis=2)
    spread = both @ network.spread_of(index) @ both.transpose(0, 2, 1)
    apart = both @ network.mean[index] - network.setups[section].allowed_for(points)
    apart += network.setups[beside].allowed_for(points)
    return apart, spread + 2 * network.errors.cloth**2 * np.eye(2)


def ink_effect(network: Network, section: str, points: FloatArray) -> tuple[IndexArray, FloatArray]:
    """The states that move the ink of `section`, (k,), and how: (n, 2, k) at points (n, 2)."""
    index = np.r_[network.places[section]]
    by_point = section_effect(network, section, points)
    if PLOTTER not in network.places:
        return index, by_point
    scaled = scale_effect(points, network.setups[section].pose.about)
    return np.r_[index, network.places[PLOTTER]], np.concatenate([by_point, scaled], axis=2)
