"""Reads marks by bringing the pen over each: the arrow keys nudge it, Enter reads.

It knows where marks should lie in the bed and which key was pressed; a callable moves the pen.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from typing import Any

    from devices.plotter.bed import Bed, UnitPoint
    from marking.sections.locating_marks import Mark

STEPS = {"1": 0.1, "2": 1.0, "3": 10.0}
"""Keys and the nudge, in mm, that each sets."""
_LOOK_SECONDS = 0.02
_WAYS = {"left": (-1, 0), "right": (1, 0), "down": (0, -1), "up": (0, 1)}
HELP = (
    "arrow keys move the pen (1: by 0.1 mm, 2: by 1 mm, 3: by 10 mm), Enter reads, r reads and "
    "brings the pen back to read it once more, Backspace goes back to the mark before, q gives up"
)
LAST = "it is the last one: once it is read and all fit, ink begins"


class Sighted(Struct, frozen=True):
    """Where the pen stands over a mark."""

    mark: str
    at: UnitPoint
    """Device units."""


def sight(
    marks: Sequence[Mark],
    bed: Bed,
    go: Callable[[UnitPoint], None],
    key: Callable[[], str | None],
    say: Callable[[str], None],
    shows: Callable[[str, Mapping[str, Any]], None],
    *,
    ink_follows: bool = False,
) -> tuple[Sighted, ...] | None:
    """The marks as read, in order; None when the person gives up.

    `go` returns once the pen stands at the point, and `key` gives the next key pressed, or None.
    `shows` is told, of each "mark", where the pen stands beside it, and each "reading" taken. Where
    `ink_follows` on the last one, that is said at it.
    """
    taken: list[Sighted] = []
    to_read = list(marks)
    while len(taken) < len(to_read):
        mark = to_read[len(taken)]
        last = ink_follows and len(taken) == len(to_read) - 1

        def stands(off: tuple[float, float], step: float) -> None:
            shows("mark", _mark_record(to_read, len(taken), bed, off, step, follows=ink_follows))

        say(f"mark {mark.id}: the pen goes to where it was planned")
        read = _bring_over(mark, bed, go, key, say, stands, f"{HELP}; {LAST}" if last else HELP)
        if read == "q":
            return None
        if isinstance(read, str):
            del taken[-1:]
            continue
        at, again = read
        taken.append(Sighted(mark.id, at))
        off = _off(at, _planned(mark, bed), bed.unit)
        shows("reading", {"mark": mark.id, "number": len(taken), "off_mm": list(off)})
        if again:
            to_read.insert(len(taken), mark)
    return tuple(taken)


def _bring_over(
    mark: Mark,
    bed: Bed,
    go: Callable[[UnitPoint], None],
    key: Callable[[], str | None],
    say: Callable[[str], None],
    stands: Callable[[tuple[float, float], float], None],
    keys: str,
) -> tuple[UnitPoint, bool] | str:
    """Where the pen was read and whether it is to be read again, or the key that left it."""
    planned = at = _planned(mark, bed)
    step = 1.0
    pressed = _arrived(at, go, [], key, say)
    say(f"mark {mark.id}: bring the pen over it; {keys}")
    stands((0.0, 0.0), step)
    while True:
        if not pressed:
            time.sleep(_LOOK_SECONDS)
            pressed = _waiting(key)
            continue
        first, *pressed = pressed
        if first in ("enter", "r"):
            return at, first == "r"
        if first in ("backspace", "q"):
            return first
        if first in STEPS:
            step = STEPS[first]
            say(f"  by {step:g} mm")
            stands(_off(at, planned, bed.unit), step)
        elif first in _WAYS:
            at = _nudged(at, first, step, bed)
            if not pressed or pressed[0] not in _WAYS:
                # Several nudges that came together are one move.
                pressed = _arrived(at, go, pressed, key, say)
                off = _off(at, planned, bed.unit)
                say(f"  x {off[0]:+.1f}, y {off[1]:+.1f} mm from where it was planned")
                stands(off, step)


def _nudged(at: UnitPoint, way: str, step: float, bed: Bed) -> UnitPoint:
    """One nudge further, but never off the bed. Units."""
    dx, dy = _WAYS[way]
    units = max(round(step / bed.unit), 1)
    return (
        min(max(at[0] + dx * units, bed.low[0]), bed.high[0]),
        min(max(at[1] + dy * units, bed.low[1]), bed.high[1]),
    )


def _arrived(
    at: UnitPoint,
    go: Callable[[UnitPoint], None],
    before: list[str],
    key: Callable[[], str | None],
    say: Callable[[str], None],
) -> list[str]:
    """Goes there, and returns what still counts of the keys pressed before it stood there.

    Enter, r and Backspace do not: whoever pressed them saw the pen elsewhere, or pressed twice.
    """
    go(at)
    pressed = [*before, *_waiting(key)]
    if "enter" in pressed:
        say("  that Enter came before the pen stood: look where it stands, then press it again")
    return [one for one in pressed if one not in ("enter", "r", "backspace")]


def _waiting(key: Callable[[], str | None]) -> list[str]:
    """The keys pressed and not yet taken, in order."""
    return list(iter(key, None))


def _off(at: UnitPoint, planned: UnitPoint, unit: float) -> tuple[float, float]:
    """How far beside its planned place the pen stands, mm in the device's axes."""
    return (at[0] - planned[0]) * unit, (at[1] - planned[1]) * unit


def _planned(mark: Mark, bed: Bed) -> UnitPoint:
    """Where the mark should be. Units."""
    at = np.array([mark.at_table], dtype=float)
    return bed.units_of([at], f"mark {mark.id}")[0][0]


def _mark_record(
    to_read: Sequence[Mark],
    read: int,
    bed: Bed,
    off: tuple[float, float],
    step: float,
    *,
    follows: bool,
) -> dict[str, Any]:
    """The mark that is read now, `read` of them behind it; places in mm on the table.

    `keys` says which way along the table each arrow key moves the pen, `ink_follows` whether ink
    is laid once this one is read, where it `follows` on the last.
    """
    return {
        "mark": to_read[read].id,
        "number": read + 1,
        "of": len(to_read),
        "step_mm": step,
        "off_mm": list(off),
        "ink_follows": follows and read == len(to_read) - 1,
        "keys": {key: np.round(np.array(way) @ bed.to_bed).tolist() for key, way in _WAYS.items()},
        "marks": [
            {"id": one.id, "at": list(one.at_table), "read": count < read}
            for count, one in enumerate(to_read)
        ],
    }
