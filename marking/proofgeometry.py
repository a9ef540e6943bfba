"""What each distance on a cover becomes as the cover is distorted, and how it is read by tape.

Derivatives and lengths of `marking.proofplaces`' distances by `marking.distortion`'s unknowns.
Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marking.distortion import effect, patch_at
from marking.tape import independent_sd, shared_sds

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from marking.distortion import Distortion
    from marking.proofplaces import Distance
    from marking.tape import Tape

    FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Sheet:
    """What is to be measured on a cover, and how that cover can be distorted."""

    distances: tuple[Distance, ...]
    model: Distortion


def prior_sd(model: Distortion) -> FloatArray:
    """(unknowns + 2,) of the cover's unknowns and of what all readings with the tape share."""
    return np.concatenate([model.prior_sd, [1.0, 1.0]])


def design(
    model: Distortion,
    distances: Sequence[Distance],
    tape: Tape,
    unknowns: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray]:
    """(m, unknowns + 2) derivatives of each distance, the last two the tape's; and (m,) its sd.

    Taken at `unknowns`, or on the true cover.
    """
    moved = _ends_effect(model, distances)
    rows = np.zeros((len(distances), model.count + 2))
    ends = np.array([distance.ends for distance in distances])
    at = unknowns if unknowns is not None else np.zeros(model.count)
    run = ends[:, 1] - ends[:, 0] + (moved[:, 1] - moved[:, 0]) @ at
    threads = np.array([distance.thread is not None for distance in distances])
    length = np.hypot(run[:, 0], run[:, 1])
    unit = run / np.where(threads, 1.0, length)[:, None]
    rows[:, : model.count] = np.einsum("ij,ijk->ik", unit, moved[:, 1] - moved[:, 0])
    for n in np.flatnonzero(threads).tolist():
        rows[n, : model.count] = _thread_row(model, distances[n])
    nominal = np.array([distance.nominal for distance in distances])
    rows[:, model.count :] = shared_sds(nominal, tape).T
    return rows, independent_sd(nominal, tape)


def computed(model: Distortion, distances: Sequence[Distance], unknowns: FloatArray) -> FloatArray:
    """(m,) what each distance would be, in mm, on a cover with these unknowns."""
    moved = _ends_effect(model, distances)
    ends = np.array([distance.ends for distance in distances])
    run = ends[:, 1] - ends[:, 0] + (moved[:, 1] - moved[:, 0]) @ unknowns
    lengths: FloatArray = np.hypot(run[:, 0], run[:, 1])
    for n, distance in enumerate(distances):
        if distance.thread is not None:
            lengths[n] = _thread_row(model, distance) @ unknowns
    return lengths


def _ends_effect(model: Distortion, distances: Sequence[Distance]) -> FloatArray:
    """(m, 2 ends, 2, unknowns)."""
    points = np.array([end for distance in distances for end in distance.ends])
    patches = np.array([patch_at(model, (float(x), float(y))) for x, y in points])
    return effect(model, points, patches).reshape(len(distances), 2, 2, model.count)


def _thread_row(model: Distortion, distance: Distance) -> FloatArray:
    """How far the crossing lies from the thread between its line's ends, square to it."""
    assert distance.thread is not None
    point, (first, last) = distance.ends[0], distance.thread
    points = np.array([point, first, last])
    patches = np.array([patch_at(model, (float(px), float(py))) for px, py in points])
    away = distance.thread_axis
    own, start, end = effect(model, points, patches)[:, away]
    share = (point[1 - away] - first[1 - away]) / (last[1 - away] - first[1 - away])
    row: FloatArray = own - (1 - share) * start - share * end
    return row
