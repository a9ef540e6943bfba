"""What each distance on a cover becomes as the cover is distorted, and how it is read by tape.

Derivatives and lengths of `marking.proof.places`' distances by `marking.proof.distortion`'s
unknowns. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.measures.tape import independent_sd, shared_sds
from marking.proof.distortion import effect, patch_at
from marking.proof.verniers import READING_SD, step_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray, IndexArray
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinStep


class DistanceSheet(Struct, frozen=True):
    """What is to be measured on a cover, and how that cover can be distorted."""

    distances: tuple[Distance, ...]
    model: Distortion
    steps: tuple[JoinStep, ...]
    """Steps to be read at the joins, where verniers are drawn over them."""


def prior_sd(model: Distortion) -> FloatArray:
    """(unknowns + 2,) of the cover's unknowns and of what all readings with the tape share."""
    return np.concatenate([model.prior_sd, [1.0, 1.0]])


class Moved(Struct, frozen=True):
    """How a cover's unknowns move what each of its distances runs between."""

    ends: FloatArray
    """(m, 2 ends, 2), on a true cover."""
    by_end: FloatArray
    """(m, 2 ends, 2, unknowns)."""
    threads: IndexArray
    """Which of the distances are offsets from a thread."""
    off_thread: FloatArray
    """(threads, unknowns): how far each of those moves away from its thread."""

    @property
    def between(self) -> FloatArray:
        """(m, 2, unknowns): how the second end moves from the first."""
        apart: FloatArray = self.by_end[:, 1] - self.by_end[:, 0]
        return apart

    def runs(self, unknowns: FloatArray) -> FloatArray:
        """(m, 2): from the first end to the second."""
        run: FloatArray = self.ends[:, 1] - self.ends[:, 0] + self.between @ unknowns
        return run


def moved_by(model: Distortion, distances: Sequence[Distance]) -> Moved:
    """How `model` moves `distances`."""
    ends = np.array([distance.ends for distance in distances])
    by_end = _effect(model, ends.reshape(-1, 2)).reshape(len(distances), 2, 2, model.count)
    threads = [n for n, distance in enumerate(distances) if distance.thread is not None]
    rows = [_thread_row(model, distances[n]) for n in threads]
    return Moved(
        ends, by_end, np.array(threads, dtype=np.intp), np.array(rows).reshape(-1, model.count)
    )


def design(
    model: Distortion,
    distances: Sequence[Distance],
    tape: Tape,
    unknowns: FloatArray | None = None,
    moved: Moved | None = None,
) -> tuple[FloatArray, FloatArray]:
    """(m, unknowns + 2) derivatives of each distance, the last two the tape's; and (m,) its sd.

    Taken at `unknowns`, or on the true cover; `moved` where it is known already.
    """
    moved = moved if moved is not None else moved_by(model, distances)
    rows = np.zeros((len(distances), model.count + 2))
    run = moved.runs(unknowns if unknowns is not None else np.zeros(model.count))
    length = np.hypot(run[:, 0], run[:, 1])
    length[moved.threads] = 1.0
    rows[:, : model.count] = np.einsum("ij,ijk->ik", run / length[:, None], moved.between)
    rows[moved.threads, : model.count] = moved.off_thread
    nominal = np.array([distance.nominal for distance in distances])
    rows[:, model.count :] = shared_sds(nominal, tape).T
    return rows, independent_sd(nominal, tape)


def observed(
    model: Distortion, distances: Sequence[Distance], steps: Sequence[JoinStep], tape: Tape
) -> tuple[FloatArray, FloatArray]:
    """`design` of distances on the true cover, and of the steps read after them."""
    rows, sd = design(model, distances, tape)
    return with_steps(model, steps, rows), np.append(sd, step_sd(steps))


def with_steps(model: Distortion, steps: Sequence[JoinStep], rows: FloatArray) -> FloatArray:
    """Derivatives of distances (m, unknowns + 2), and after them those of steps."""
    read = np.zeros((len(steps), rows.shape[1]))
    read[:, : model.count] = step_rows(model, steps)
    return np.vstack([rows, read])


def step_sd(steps: Sequence[JoinStep]) -> FloatArray:
    """(steps,) in mm, no part of it shared."""
    return np.full(len(steps), READING_SD)


def computed(moved: Moved, unknowns: FloatArray) -> FloatArray:
    """(m,) what each distance would be, in mm, on a cover with these unknowns."""
    run = moved.runs(unknowns)
    lengths: FloatArray = np.hypot(run[:, 0], run[:, 1])
    lengths[moved.threads] = moved.off_thread @ unknowns
    return lengths


def _effect(model: Distortion, points: FloatArray) -> FloatArray:
    """(n, 2, unknowns)."""
    patches = np.array([patch_at(model, (float(x), float(y))) for x, y in points])
    return effect(model, points, patches)


def _thread_row(model: Distortion, distance: Distance) -> FloatArray:
    """How far the crossing lies from the thread between its line's ends, square to it."""
    assert distance.thread is not None
    point, (first, last) = distance.ends[0], distance.thread
    away = distance.thread_axis
    own, start, end = _effect(model, np.array([point, first, last]))[:, away]
    share = (point[1 - away] - first[1 - away]) / (last[1 - away] - first[1 - away])
    row: FloatArray = own - (1 - share) * start - share * end
    return row
