"""Reads marks by bringing the pen over each: the arrow keys nudge it, Enter reads.

It knows where marks should lie in the bed and which key was pressed; a callable moves the pen.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from devices.bed import Bed, Point
    from marking.witness import Mark

    FloatArray = NDArray[np.float64]

STEPS = {"1": 0.1, "2": 1.0, "3": 10.0}
"""Keys and the nudge, in mm, that each sets."""
_WAYS = {"left": (-1, 0), "right": (1, 0), "down": (0, -1), "up": (0, 1)}
HELP = (
    "arrow keys move the pen (1: by 0.1 mm, 2: by 1 mm, 3: by 10 mm), Enter reads, Backspace "
    "goes back to the mark before, q gives up"
)


@dataclass(frozen=True)
class Sighted:
    """Where the pen stands over a mark."""

    mark: str
    at: Point
    """Device units."""


def sight(
    marks: Sequence[Mark],
    bed: Bed,
    go: Callable[[Point], None],
    key: Callable[[], str | None],
    say: Callable[[str], None],
) -> tuple[Sighted, ...] | None:
    """The marks as read, in order; None when the person gives up."""
    taken: list[Sighted] = []
    while len(taken) < len(marks):
        mark = marks[len(taken)]
        say(f"mark {mark.id}: bring the pen over it; {HELP}")
        read = _bring_over(mark, bed, go, key, say)
        if read == "q":
            return None
        if isinstance(read, str):
            del taken[-1:]
        else:
            taken.append(Sighted(mark.id, read))
    return tuple(taken)


def _bring_over(
    mark: Mark,
    bed: Bed,
    go: Callable[[Point], None],
    key: Callable[[], str | None],
    say: Callable[[str], None],
) -> Point | str:
    x, y = bed.units_of([_one(mark)], f"mark {mark.id}")[0][0]
    step = 1.0
    go((x, y))
    while True:
        pressed = key()
        if pressed is None:
            time.sleep(0.02)
        elif pressed == "enter":
            return x, y
        elif pressed in ("backspace", "q"):
            return pressed
        elif pressed in STEPS:
            step = STEPS[pressed]
            say(f"  by {step:g} mm")
        elif pressed in _WAYS:
            dx, dy = _WAYS[pressed]
            units = max(round(step / bed.unit), 1)
            x = min(max(x + dx * units, bed.low[0]), bed.high[0])
            y = min(max(y + dy * units, bed.low[1]), bed.high[1])
            go((x, y))


def _one(mark: Mark) -> FloatArray:
    return np.array([mark.at_table], dtype=float)
