"""The pose of one device from its readings, and how far each reading stands from the others.

Resection is the surveyor's word for finding where one stands by sighting known points. It knows
the network and readings, no section's ink and no verdict. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.least_squares.readings_test import against_others, own_blocks
from marking.network.misfits import held, mark_positions
from marking.network.pose import PARAMETERS, Pose, PoseKind, as_planned, fit, refine, stance
from marking.network.worth_of_readings import Gain, gain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.network.fence import Against
    from marking.network.network import Network, Reading


class Resection(Struct, frozen=True):
    """A pose, and what the readings say of each other."""

    readings: tuple[Reading, ...]
    kind: PoseKind
    pose: Pose
    gain: Gain
    believed: FloatArray
    """(m, 2): where the pen is believed to have to be sent for the marks read."""
    misfits: FloatArray
    """(m, 2) mm: the marks, less where the readings put them."""
    off_others: FloatArray
    """(m, 2) mm: where each reading puts its mark, less what all the others say; nan where the
    others cannot say."""
    in_sds: FloatArray
    """(m,): the length of that over its standard deviation; chi-square of 2 when squared."""
    total: float
    """Chi-square of all misfits."""
    degrees: int
    settled: bool
    """Whether the least squares came to rest; readings that far out agree with nothing."""
    left: FloatArray
    """(2m + r,) mm: the misfits, and those of the fence."""
    against: Against | None = None
    """What the device was pushed against."""


def resect(
    network: Network,
    readings: Sequence[Reading],
    about: FloatArray,
    kind: PoseKind = "rigid",
    against: Against | None = None,
) -> Resection:
    """Where the device stands: closed form first, then generalised least squares.

    A device against a fence is taken to stand about where it was planned, in place of the first.

    What is known of each mark counts, with what marks share. Raises RefusedError when the
    readings cannot tell, BadInputError for marks unknown or not inked yet.
    """
    gained = _gain_checked(network, readings, about, kind, against)
    marks = [reading.mark for reading in readings]
    levers = np.array([gained.network.targets[m].mark.at_table for m in marks]).reshape(-1, 2)
    believed = mark_positions(gained.network, marks, about)
    plan = np.array([reading.at for reading in readings]).reshape(-1, 2)
    rail = None if against is None else held(gained.network, against)
    first = as_planned(about) if rail else fit(plan, believed, kind, 1 / gained.own, about)
    covariance = gained.covariance
    try:
        pose, settled = refine(first, plan, believed, covariance, kind, levers, rail)[0], True
    except RefusedError:
        # Readings as wrong as this are told apart from the closed form's misfits.
        pose, settled = first, False
    misfits = believed - pose(plan)
    left: FloatArray = misfits.ravel()
    if rail is not None:
        left = np.concatenate([left, rail[1] - rail[0] @ stance(pose)])
    projector, rows = gained.projector, misfits.size
    pulls = (projector @ left)[:rows].reshape(-1, 2)
    others = against_others(pulls, own_blocks(projector[:rows, :rows]), gained.own)
    return Resection(
        tuple(readings),
        kind,
        pose,
        gained,
        believed,
        misfits,
        # Misfits are mark less reading; "reads off" is the other way round.
        -others.off,
        others.in_sds,
        float(left @ projector @ left),
        len(left) - PARAMETERS[kind],
        settled,
        left,
        against,
    )


def _gain_checked(
    network: Network,
    readings: Sequence[Reading],
    about: FloatArray,
    kind: PoseKind,
    against: Against | None,
) -> Gain:
    """`marking.network.network.gain`, refusing readings that leave the pose open."""
    marks = {reading.mark for reading in readings}
    if against is not None:
        _check_held(against, len(marks), kind)
        return gain(network, readings, about, kind, against)
    if 2 * len(marks) < PARAMETERS[kind]:
        raise RefusedError(
            f"readings of {len(marks)} mark{'' if len(marks) == 1 else 's'} cannot give "
            f"a{'n' if kind == 'affine' else ''} {kind} placement; "
            f"read at least {(PARAMETERS[kind] + 1) // 2} marks, far apart"
        )
    known_marks = [network.targets[mark] for mark in sorted(marks) if mark in network.targets]
    if len(known_marks) == len(marks):
        # The closed form says in plain words what the geometry lacks, before a matrix is singular.
        at = np.array([target.mark.at_table for target in known_marks])
        fit(at, at, kind)
    return gain(network, readings, about, kind)


def _check_held(against: Against, marks: int, kind: PoseKind) -> None:
    """Refuses a fence and readings that leave the pose open together."""
    stopped = against.clamping.stopped
    if 2 * marks + 2 + stopped < PARAMETERS[kind]:
        wanted = (PARAMETERS[kind] - 2 - stopped + 1) // 2
        raise RefusedError(
            f"a fence {'and its stop' if stopped else 'without a stop'} and readings of "
            f"{marks or 'no'} mark{'' if marks == 1 else 's'} cannot give "
            f"a{'n' * (kind == 'affine')} {kind} placement; read at least {wanted}"
        )
