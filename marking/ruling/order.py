"""The order in which lines are ruled, so that neither the rule nor the hand comes on wet ink.

It walks along the table in groups of twelve lines, or as many more as a rule and a hand take where
lines stand close, and, within a group, takes the first line that may be ruled now; where none may,
it waits. Table frame, mm; seconds from the first line on.
"""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from marking.job.keys import MarkingJob
    from marking.sections.ruled import RuledLine

Hand = Literal["right", "left"]
GROUP = 12
"""Lines that are ticked off together."""
RULE_WIDTH = 60.0
"""mm of cloth beside the line that a straightedge covers: our assumption, stated on the sheet."""
HAND_ROOM = 75.0
"""mm on the marker's side of the line that the hand comes over: our assumption likewise."""
_LONG = 2.2
"""A group is so many times as long as what rule and hand cover, so that it has a dry end."""


class LineRuled(Struct, frozen=True):
    """One line ruled."""

    line: RuledLine
    begins: float
    """When the rule is laid down."""
    ends: float
    waits: float
    """How long nothing is done before it, for ink to dry."""
    new_tip: bool
    """Whether the marker's tip has to be changed before it, or both markers' of two people."""


class WhoRules(Struct, frozen=True):
    """Who rules."""

    hand: Hand = "right"
    by_two: bool = False
    """Whether a helper at the far edge rules the far half."""

    @property
    def markers(self) -> int:
        """How many share each line, half and half."""
        return 2 if self.by_two else 1

    @property
    def rule_side(self) -> int:
        """On which side of the line the rule lies: -1 towards the zero end, 1 towards the far.

        As seen from the near edge, with the zero end at the left: away from the hand.
        """
        return -1 if self.hand == "right" else 1


def ruling_order(
    lines: Sequence[RuledLine], job: MarkingJob, manner: WhoRules, done: Collection[str] = ()
) -> tuple[LineRuled, ...]:
    """Every line once, but for those `done` before, which are dry and leave the groups as they are.

    Slanted lines come last, when what they cross has dried.
    """
    steps: list[LineRuled] = []
    clock = on_tip = 0.0
    for group in _groups(lines, manner):
        left, last = {n: line for n, line in enumerate(group) if line.id not in done}, -1
        while left:
            waits = {at: _wait(one, steps, clock, job, manner) for at, one in left.items()}
            # Of those that wait least the next on the way, or from the group's start again.
            _, _, last = min((wait, at < last, at) for at, wait in waits.items())
            line, wait = left.pop(last), waits[last]
            times = line.stroke.times(job.pens.named(line.stroke.pen))
            run = line.stroke.length * times / manner.markers
            worn = bool(steps) and on_tip + run > job.pace.tip
            on_tip = run if worn else on_tip + run
            begins = clock + wait
            clock = begins + seconds_for(line, job, manner)
            steps.append(LineRuled(line, begins, clock, wait, worn))
    return tuple(steps)


def seconds_for(line: RuledLine, job: MarkingJob, manner: WhoRules) -> float:
    """How long a line takes: the rule laid, the line drawn; drawn again for a further pass."""
    pace = job.pace
    again = line.stroke.times(job.pens.named(line.stroke.pen)) - 1
    once = pace.line_ruled_by_two if manner.by_two else pace.line_ruled
    return once + again * line.stroke.length / pace.draw_speed


def covered(line: RuledLine, manner: WhoRules) -> tuple[float, float]:
    """From where to where along the table the rule and the hand come over the cloth."""
    (x0, y0), (x1, y1) = line.points.tolist()
    # Beside a slanted line the same width reaches further along the table.
    over = math.dist((x0, y0), (x1, y1)) / abs(y1 - y0)
    sides = (RULE_WIDTH, HAND_ROOM) if manner.rule_side < 0 else (HAND_ROOM, RULE_WIDTH)
    return min(x0, x1) - sides[0] * over, max(x0, x1) + sides[1] * over


def _groups(lines: Sequence[RuledLine], manner: WhoRules) -> Iterator[Sequence[RuledLine]]:
    """Groups of neighbours from the zero end for the right hand, from the far end for the left."""
    upright = [line for line in lines if _upright(line)]
    upright.sort(key=lambda line: float(line.points[0, 0]), reverse=manner.hand == "left")
    slanted = [line for line in lines if not _upright(line)]
    for kind in (upright, slanted):
        count = _in_a_group(kind)
        for first in range(0, len(kind), count):
            yield kind[first : first + count]


def _in_a_group(lines: Sequence[RuledLine]) -> int:
    """Twelves of neighbours that are long enough together, by the room between most lines."""
    if len(lines) <= GROUP:
        return GROUP
    xs = [float(line.points[0, 0]) for line in lines]
    apart = median(abs(b - a) for a, b in pairwise(xs))
    return GROUP * math.ceil(_LONG * (RULE_WIDTH + HAND_ROOM) / (GROUP * apart) - 1e-9)


def _upright(line: RuledLine) -> bool:
    return bool(line.points[0, 0] == line.points[1, 0])


def _wait(
    line: RuledLine, steps: Sequence[LineRuled], clock: float, job: MarkingJob, manner: WhoRules
) -> float:
    """How long until nothing wet lies where the rule and the hand come."""
    low, high = covered(line, manner)
    wait = 0.0
    for step in reversed(steps):
        dry = step.ends + job.inking.drying
        if dry <= clock + wait:
            # What was ruled before it is drier still.
            break
        stroke = step.line.stroke
        half = stroke.ink_width(job.pens.named(stroke.pen)) / 2
        xs = step.line.points[:, 0]
        if float(xs.max()) + half >= low and float(xs.min()) - half <= high:
            wait = dry - clock
    return wait
