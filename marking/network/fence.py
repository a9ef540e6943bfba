"""A device pushed against a fence: what the rail, its stop and their contact tell of its pose.

A fence is a straight rail clamped along the near side of a row of windows; a stop ends the travel
along it. It knows clampings and windows, no reading. Table frame, millimetres and radians.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.network.shared_errors import Block, own_block

if TYPE_CHECKING:
    from marking.arrays import Box, FloatArray
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel

_TOUCHES = 0.1
"""How far in from either side of its window a device touches the rail, over the window's length:
our own assumption."""


class Clamping(Struct, frozen=True):
    """One clamping of the fence, from `x0` to `x1` along the near side of its sections' windows."""

    name: str
    x0: float
    x1: float
    set_to: tuple[str, str] | None = None
    """The tape marks near its zero end and its far end that it is set to; None for the table's
    own edge, which is taken to be straight and true."""
    stopped: bool = True
    """Whether stops tell the place along; else readings have to."""

    @property
    def block(self) -> str:
        """The name of the block of its four errors: along, near the zero end, far end, bow."""
        return f"fence {self.name}"


class Against(Struct, frozen=True):
    """A device pushed against a fence: which clamping of it, and what the device reaches there."""

    clamping: Clamping
    window: Box


class Seat(Struct, frozen=True):
    """How a device sits against a clamping: r observations of its pose that cost no reading."""

    block: str
    design: FloatArray
    """(r, 3): how a change of the pose (shift x, shift y, turn) shows in each."""
    onto: FloatArray
    """(r, 4): how the clamping's errors do."""
    sd: FloatArray
    """(r,) mm."""
    moves: FloatArray
    """(r, 2): how the datum's errors move each."""


def clamping_block(clamping: Clamping, errors: ErrorModel) -> Block:
    """The rail as it is set; it follows the marks that it is set to."""
    sd = np.array([errors.rail_along, errors.rail_ends, errors.rail_ends, errors.bow])
    if clamping.set_to is None:
        return Block(clamping.block, sd, either_way=(3,))
    first, last = np.zeros((4, 2)), np.zeros((4, 2))
    first[0, 0] = first[1, 1] = last[2, 1] = 1.0
    near, far = (own_block(mark) for mark in clamping.set_to)
    return Block(clamping.block, sd, ((near, first), (far, last)), either_way=(3,))


def seat_of(against: Against, errors: ErrorModel, datum: Datum) -> Seat:
    """How a device sits there, its pose counted about its window's middle."""
    clamping, (x0, y0, x1, y1) = against.clamping, against.window
    middle, inward = (x0 + x1) / 2, _TOUCHES * (x1 - x0)
    design, onto, sds, moves = [], [], [], []
    for touch in (x0 + inward, x1 - inward):
        share = (touch - clamping.x0) / (clamping.x1 - clamping.x0)
        design.append([0.0, 1.0, touch - middle])
        onto.append([0.0, 1.0 - share, share, 4 * share * (1 - share)])
        sds.append(errors.contact)
        moves.append([0.0, 0.0])
    if clamping.stopped:
        # Stops are set by tape from the rail's zero end, against the device's near side.
        design.append([1.0, 0.0, (y1 - y0) / 2])
        onto.append([1.0, 0.0, 0.0, 0.0])
        sds.append(errors.stops)
        moves.append([datum.scale_sd * (middle - clamping.x0), 0.0])
    return Seat(clamping.block, *(np.array(rows) for rows in (design, onto, sds, moves)))
