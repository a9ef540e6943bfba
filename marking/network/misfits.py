"""Readings held against what is known: how far they miss, and the network once they are in it.

It knows the network and what each section was inked with, no verdict. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.errors import BadInputError
from marking.network.fence import seat_of
from marking.network.network import carried, met
from marking.network.pose import stance
from marking.network.worth_of_readings import gain, with_inked

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.network.fence import Against
    from marking.network.network import Network, Setup


def mark_positions(
    network: Network, marks: Sequence[str], about: FloatArray | None = None
) -> FloatArray:
    """Where marks are believed to lie: (m, 2).

    With `about`, the middle of a window: where a device there is believed to have to be sent, as
    it stands on the table, for its pointer to come to them. Raises BadInputError for a mark that
    is unknown or not inked yet.
    """
    network, carrier = carried(network, marks, about)
    at = np.array([network.targets[mark].mark.at_table for mark in marks]).reshape(-1, 2)
    mean = network.mean if network.mean.ndim == 1 else network.mean[:, 0]
    believed: FloatArray = at + (carrier @ mean).reshape(-1, 2)
    for row, mark in enumerate(marks):
        for by, axes in network.targets[mark].inkers:
            believed[row, axes] -= network.setups[by].allowed_for(at[row : row + 1])[0, axes]
    return believed


def misfit(network: Network, setup: Setup) -> FloatArray:
    """What readings and fence say against `setup`'s pose: (2m + r,), mm.

    Marks where its pen would be sent for them, less where the readings have it, x before y; then
    where the fence is believed to hold the device, less where it stands.
    """
    marks = [reading.mark for reading in setup.readings]
    at = np.array([network.targets[mark].mark.at_table for mark in marks]).reshape(-1, 2)
    believed = mark_positions(network, marks, setup.pose.about) + setup.allowed_for(at)
    read = np.array([reading.at for reading in setup.readings]).reshape(-1, 2)
    off: FloatArray = (believed - setup.pose(read)).ravel()
    if setup.against is None:
        return off
    shown, wanted = held(network, setup.against)
    return np.concatenate([off, wanted - shown @ stance(setup.stands)])


def held(network: Network, against: Against) -> tuple[FloatArray, FloatArray]:
    """How a stance (shift x, shift y, turn) shows against a fence, (r, 3), and what it should."""
    network = met(network, (), against.clamping)
    seat = seat_of(against, network.errors, network.datum)
    return seat.design, seat.onto @ network.mean[network.places[seat.block]]


def ink(network: Network, setup: Setup) -> Network:
    """The network with one more inked section and its readings.

    Raises BadInputError for a section inked already and for marks unknown or not inked yet.
    """
    if setup.section in network.setups:
        raise BadInputError(
            f"section {setup.section} is inked already; its readings are part of the job"
        )
    gained = gain(network, setup.readings, setup.pose.about, setup.kind, setup.against)
    return with_inked(gained, setup, misfit(gained.network, setup))
