"""After a bump: whether the table still lies under the light as it was trued up, and if not, how.

Two targets far apart say it; landed a second time, so that a slip is not taken for a move. It
knows mappings and landings, no page. Table frame, millimetres and radians.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from devices.projector.light.mapping import inverse
from marking.errors import BadInputError
from marking.least_squares.chi_square import of_a_point

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.projector.light.mapping import LightMapping
    from devices.projector.trueup.calibration import Landing
    from devices.projector.trueup.targets import LightTarget
    from marking.arrays import FloatArray

_SEEN = math.sqrt(of_a_point(0.01))
"""Standard deviations that two coordinates together exceed once in 100 times."""
_NEVER = math.sqrt(of_a_point(0.001))
"""The same once in 1,000 times."""
_LEAST_APART = 100.0


class TableMove(Struct, frozen=True):
    """How the table lies under the light now, against the last true-up: a shift and a turn."""

    shift: tuple[float, float]
    """In mm, at the middle of the landings."""
    turn: float
    """Radians, counter-clockwise."""
    middle: tuple[float, float]
    half_chord: float
    """In mm: half the distance of the two targets."""
    count: int
    """How many landings say so."""
    matrix: FloatArray
    """(3, 3): table points as the old true-up had them, to where they are now."""

    def variance(self, points_table: FloatArray, sd: float) -> FloatArray:
        """(n,) in mm^2 per axis: what landings of `sd` mm leave uncertain at points (n, 2)."""
        far2 = ((points_table - self.middle) ** 2).sum(axis=1)
        result: FloatArray = sd**2 / self.count * (1 + far2 / self.half_chord**2)
        return result


def check_targets(targets: Sequence[LightTarget]) -> tuple[LightTarget, ...]:
    """The two targets farthest apart on the table, and the second landing of each."""
    first, second = max(
        itertools.combinations(targets, 2), key=lambda pair: math.dist(*(t.at_table for t in pair))
    )
    ends = [first.at_table, second.at_table]
    once = [next(target for target in targets if target.at_table == end) for end in ends]
    again = [target for target in targets if target.at_table in ends and target not in once]
    return (*once, *again)


def far_apart(landings: Sequence[Landing]) -> bool:
    """Whether two different targets are among the landings."""
    return any(
        math.dist(one.at_table, other.at_table) >= _LEAST_APART
        for one, other in itertools.combinations(landings, 2)
    )


def stirred(mapping: LightMapping, landings: Sequence[Landing], sd: float) -> float:
    """The greatest distance in mm that a landing fell from where it should; 0 when no more than
    landings of `sd` mm each way and a true-up by such landings explain."""
    off = _new(landings) - _old(mapping, landings)
    farthest = float(np.hypot(off[:, 0], off[:, 1]).max())
    return farthest if farthest > _SEEN * math.sqrt(2) * sd else 0.0


def moved(mapping: LightMapping, landings: Sequence[Landing], sd: float) -> TableMove:
    """The shift and turn since `mapping` was solved, by two targets landed twice.

    Raises BadInputError for landings that do not agree with each other, or with a table and a
    projector that have only moved.
    """
    pairs = [
        (one, other)
        for one, other in itertools.combinations(landings, 2)
        if math.dist(one.at_table, other.at_table) < _LEAST_APART
    ]
    if len(landings) != 4 or len(pairs) != 2:
        raise BadInputError(
            "land both check targets twice, each on its own point, at least "
            f"{_LEAST_APART:.0f} mm apart; a slip in one would else be taken for a move"
        )
    old, new = _old(mapping, landings), _new(landings)
    off = {landing.name: one for landing, one in zip(landings, new - old, strict=True)}
    for one, other in pairs:
        apart = math.dist(off[one.name], off[other.name])
        if apart > _NEVER * math.sqrt(2) * sd:
            raise BadInputError(
                f"the two landings of target {one.name} differ by {apart:.1f} mm, so one of them "
                "is a slip; land both again"
            )
    middle_old, middle_new = old.mean(axis=0), new.mean(axis=0)
    z_old, z_new = ((points - points.mean(axis=0)) @ (1, 1j) for points in (old, new))
    turn = complex(np.vdot(z_old, z_new))
    stretched = float(np.abs(z_new).mean() - np.abs(z_old).mean()) * 2
    # The chord hangs on the old true-up as much as on the landings now.
    if abs(stretched) > _NEVER * 2 * sd:
        raise BadInputError(
            f"by these landings the two targets are {abs(stretched):.1f} mm "
            f"{'farther from' if stretched > 0 else 'nearer to'} each other than before, which no "
            "bump does: the projector's height or zoom has changed, or a reading is wrong. True "
            "up anew"
        )
    unit = turn / abs(turn)
    linear = np.array([[unit.real, -unit.imag], [unit.imag, unit.real]])
    matrix = np.eye(3)
    matrix[:2, :2], matrix[:2, 2] = linear, middle_new - linear @ middle_old
    shift = middle_new - middle_old
    return TableMove(
        (float(shift[0]), float(shift[1])),
        math.atan2(unit.imag, unit.real),
        (float(middle_new[0]), float(middle_new[1])),
        float(np.abs(z_new).mean()),
        len(landings),
        matrix,
    )


def _old(mapping: LightMapping, landings: Sequence[Landing]) -> FloatArray:
    """(n, 2): where the true-up puts the pixels that were lit."""
    return mapping.to_table(np.array([landing.at_px for landing in landings]))


def _new(landings: Sequence[Landing]) -> FloatArray:
    """(n, 2): where they fell."""
    return np.array([landing.at_table for landing in landings], dtype=float)


def retrued(mapping: LightMapping, move: TableMove) -> LightMapping:
    """`mapping` after a move: what lies at a place now is lit where its old place was."""
    matrix = mapping.matrix @ inverse(move.matrix)
    return replace(mapping, matrix=matrix / np.linalg.norm(matrix))
