"""How large a slip in one reading would be named, and which readings more would make it smaller.

Told of readings to come as well as of those taken, since it does not depend on their figures:
what Baarda's reliability theory calls the least detectable bias, here of a slip that is also put
down to its own reading and no other. It knows the network and readings, no section's ink. Table
frame, millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.least_squares.least_slip import least_named
from marking.network.network import Reading
from marking.network.pose import PARAMETERS, effect
from marking.network.worth_of_readings import gain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.network.fence import Against
    from marking.network.network import Network
    from marking.network.pose import PoseKind
    from marking.network.worth_of_readings import Gain

WANTED = 3.0
"""mm: the slip that should be named. A pen on the wrong line is off by a pitch, which is far more;
one over the wrong edge of a wide mark, or nudged once too often, by about this."""
_ROUNDS = 3


class Slips(Struct, frozen=True):
    """What a slip must come to in each reading, to be named 99 times in 100."""

    marks: tuple[str, ...]
    """The mark of each reading."""
    named: FloatArray
    """(m,) mm, in the direction that shows least; infinite where the others do not tell."""
    shifts: float
    """mm: how much further off the worst point a slip just too small to be named may put."""

    @property
    def worst(self) -> float:
        """mm: a slip of this much in any one reading would be named."""
        return float(self.named.max(initial=0.0))

    @property
    def worst_mark(self) -> str:
        """The mark whose slip shows least."""
        return self.marks[int(self.named.argmax())]


def slips(
    network: Network,
    readings: Sequence[Reading],
    about: FloatArray,
    points: FloatArray,
    kind: PoseKind = "rigid",
    against: Against | None = None,
) -> Slips:
    """What a slip in each of `readings` must come to; `points` (n, 2) are of the section's ink."""
    gained = gain(network, readings, about, kind, against)
    marks = tuple(reading.mark for reading in readings)
    rows = 2 * len(marks)
    if len(gained.carrier) <= PARAMETERS[kind] or not marks:
        return Slips(marks, np.full(len(marks), np.inf), math.inf if marks else 0.0)
    projector = gained.projector[:rows, :rows]
    named = np.array([least_named(one, marks, projector, gained.own) for one in range(len(marks))])
    return Slips(marks, named, _shifted(gained, named, effect(kind, points, about)))


class MoreReadings(Struct, frozen=True):
    """What else to read, and what a slip must then come to."""

    marks: tuple[str, ...]
    """One where one is enough to name a slip of `WANTED`; read already, or in sight."""
    then: float
    """mm: a slip of this much in any one reading would be named; infinite where none would."""


def more_readings(
    network: Network,
    readings: Sequence[Reading],
    about: FloatArray,
    points: FloatArray,
    in_sight: Sequence[str] = (),
    kind: PoseKind = "rigid",
    against: Against | None = None,
) -> MoreReadings | None:
    """The readings that make a slip of `WANTED` named; None where it is, or nothing more helps.

    The one that is enough, where there is one: of a mark in sight and not read yet, or once more
    of one that was. Else those whose slips show least are read once more.
    """
    now = slips(network, readings, about, points, kind, against)
    if now.worst <= WANTED:
        return None
    sd = float(np.median([reading.sd for reading in readings]))

    def with_more(marks: Sequence[str]) -> Slips:
        added = [Reading(mark, network.targets[mark].mark.at_table, sd) for mark in marks]
        return slips(network, [*readings, *added], about, points, kind, against)

    unread = [mark for mark in in_sight if mark not in now.marks and mark in network.targets]
    single = [now.worst_mark, *unread]
    found = [MoreReadings((mark,), with_more([mark]).worst) for mark in single]
    if unread and not any(one.then <= WANTED for one in found):
        found.append(MoreReadings(tuple(unread), with_more(unread).worst))
    again: list[str] = []
    after = now
    for _ in range(_ROUNDS):
        if any(one.then <= WANTED for one in found):
            break
        weak = {mark for mark, size in zip(after.marks, after.named, strict=True) if size > WANTED}
        again += [mark for mark in dict.fromkeys(now.marks) if mark in weak]
        after = with_more(again)
        found.append(MoreReadings(tuple(again), after.worst))
    enough = [one for one in found if one.then <= WANTED]
    best = min(enough or found, key=lambda one: (one.then, len(one.marks)))
    return best if best.then < now.worst else None


def _shifted(gained: Gain, named: FloatArray, by_point: FloatArray) -> float:
    """The most, in mm, that slips just too small to be named move any of the points."""
    worst = 0.0
    for count, size in enumerate(named):
        moved = by_point @ gained.change[:, 2 * count : 2 * count + 2]
        turned = moved.transpose(0, 2, 1) @ moved
        furthest = math.sqrt(float(np.linalg.eigvalsh(turned)[:, -1].max()))
        worst = max(worst, size * furthest if furthest > 1e-12 else 0.0)
    return worst
