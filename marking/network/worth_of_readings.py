"""What a set of readings by one new section is worth, and the network once the section is inked.

It knows the network and poses, no figures that were read. Table frame, millimetres and radians.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.least_squares.linear import weighed
from marking.network.datum import explained
from marking.network.fence import seat_of
from marking.network.network import carried, even, met
from marking.network.pose import PARAMETERS, effect

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.network.fence import Against
    from marking.network.network import Network, Reading, Setup
    from marking.network.pose import PoseKind


class Gain(Struct, frozen=True):
    """What a set of readings does to the state, whatever their figures turn out to be."""

    network: Network
    """The state before them, with the blocks of marks read for the first time."""
    carrier: FloatArray
    """(2m, n): how the state moves the marks read, points in order, x before y."""
    covariance: FloatArray
    """(2m, 2m): of the marks less the readings if the datum had no error."""
    change: FloatArray
    """(k, 2m): from misfits of the readings to the change of the pose."""
    correction: FloatArray
    """(n, 2m): from misfits to the correction of the state."""
    by_tape: FloatArray
    """(k, k): covariance of the pose's change if the datum had no error."""
    shared: FloatArray
    """(k, n): covariance of the pose's change with the state, likewise."""
    taken: FloatArray
    """(2m, n): covariance of the marks with the state, likewise; the correction times this is what
    the readings take from the state's covariance."""
    moved: FloatArray
    """(2m, 2): how the datum's errors move the marks."""
    tape_projector: FloatArray
    """(2m, 2m): weights of the misfits once the pose is taken out of them, likewise."""
    readings: int
    """m; what a fence tells follows them as r rows more, in all of the above."""

    @property
    def follows(self) -> FloatArray:
        """(2m, b): how the marks follow the states of before, see `Network.follows`."""
        follows: FloatArray = self.carrier @ self.network.follows
        return follows

    @property
    def projector(self) -> FloatArray:
        """(2m, 2m): the same with the datum's errors among what may cause the misfits."""
        datums = explained(self.tape_projector @ self.moved, self.moved)
        projector: FloatArray = self.tape_projector - datums @ datums.T
        return projector

    @property
    def own(self) -> FloatArray:
        """(m,) mm²: variance of each mark less its reading, per axis."""
        own: FloatArray = np.diag(self.covariance)[: 2 * self.readings].reshape(-1, 2).mean(axis=1)
        return own

    @property
    def spread(self) -> FloatArray:
        """(k, k): covariance of the pose's change, with the datum's errors."""
        common = self.change @ self.moved
        spread: FloatArray = self.by_tape + common @ common.T
        return spread


class Equations(Struct, frozen=True):
    """What readings and a fence say of a new section's pose: misfits are what the pose, the state
    and noise come to. Rows are the readings' coordinates, x before y, then the fence's."""

    network: Network
    """The state before them, with the blocks of marks read for the first time."""
    carrier: FloatArray
    """(2m + r, n): how the state moves what should be met."""
    design: FloatArray
    """(2m + r, k): how a change of the pose moves what meets it."""
    variances: FloatArray
    """(2m + r,) mm²: of the noise."""
    moved: FloatArray
    """(2m + r, 2): how the datum's errors move what should be met."""


def equations(
    network: Network,
    readings: Sequence[Reading],
    about: FloatArray,
    kind: PoseKind,
    against: Against | None = None,
) -> Equations:
    """What `readings` by one new section, against a fence or not, are equations of."""
    marks = [reading.mark for reading in readings]
    if against is not None:
        network = met(network, marks, against.clamping)
    network, carrier = carried(network, marks, about)
    at = np.array([network.targets[mark].mark.at_table for mark in marks]).reshape(-1, 2)
    design = effect(kind, at, about).reshape(2 * len(marks), PARAMETERS[kind])
    variances = np.repeat([reading.sd**2 + network.errors.cloth**2 for reading in readings], 2)
    moved = carrier @ network.common
    if against is not None:
        seat = seat_of(against, network.errors, network.datum)
        rail = np.zeros((len(seat.sd), len(network.by_tape)))
        rail[:, network.places[seat.block]] = seat.onto
        on_pose = np.zeros((len(seat.sd), PARAMETERS[kind]))
        on_pose[:, :3] = seat.design
        moved = np.concatenate([moved, rail @ network.common + seat.moves])
        carrier = np.concatenate([carrier, rail])
        design = np.concatenate([design, on_pose])
        variances = np.concatenate([variances, seat.sd**2])
    return Equations(network, carrier, design, variances, moved)


def gain(
    network: Network,
    readings: Sequence[Reading],
    about: FloatArray,
    kind: PoseKind,
    against: Against | None = None,
) -> Gain:
    """What `readings` by one new section are worth: generalised least squares, the pose free.

    The least squares are the tape's; what the datum does to them is told beside. What a fence
    tells follows the readings as r rows more.
    """
    rows = equations(network, readings, about, kind, against)
    network, carrier = rows.network, rows.carrier
    crossed = network.by_tape @ carrier.T
    covariance = carrier @ crossed + np.diag(rows.variances)
    worth = weighed(rows.design, covariance)
    correction = crossed @ worth.projector
    return Gain(
        network,
        carrier,
        covariance,
        worth.gain,
        -correction,
        even(worth.spread),
        worth.gain @ crossed.T,
        crossed.T,
        rows.moved,
        worth.projector,
        len(readings),
    )


def with_inked(gained: Gain, setup: Setup, misfits: FloatArray) -> Network:
    """The state once `setup` is inked; `misfits` (2m,) or (2m, runs) are from its own pose."""
    network = gained.network
    size = len(network.by_tape)
    # Each written where it stays: on a long table nothing takes longer than copying them.
    mean = np.empty((size + len(gained.change), *misfits.shape[1:]))
    np.matmul(gained.correction, misfits, out=mean[:size])
    mean[:size] += network.mean
    np.matmul(gained.change, misfits, out=mean[size:])
    by_tape = np.empty((len(mean), len(mean)))
    left = gained.correction @ gained.taken
    left += network.by_tape
    np.add(left, left.T, out=by_tape[:size, :size])
    by_tape[:size, :size] /= 2
    by_tape[size:, :size], by_tape[:size, size:] = gained.shared, gained.shared.T
    by_tape[size:, size:] = gained.by_tape
    common = np.concatenate(
        [network.common + gained.correction @ gained.moved, gained.change @ gained.moved]
    )
    follows = gained.follows
    follows = np.concatenate(
        [network.follows + gained.correction @ follows, gained.change @ follows]
    )
    return replace(
        network,
        setups={**network.setups, setup.section: setup},
        places={**network.places, setup.section: slice(size, len(by_tape))},
        mean=mean,
        by_tape=by_tape,
        common=common,
        follows=follows,
    )
