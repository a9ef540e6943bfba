"""What is wrong with readings that disagree: a misread mark, two exchanged, a bed turned over.

It knows readings and resections, no section's ink. Table frame, millimetres.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.least_squares.readings_test import agree_in_sum, as_likely, limit
from marking.network.part_of_network import only_for
from marking.network.pose import fit, turned_over
from marking.network.resection import Resection, resect

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.network.network import Network, Reading

_SECOND = 8.0
"""One blunder is likelier than two: the rest must disagree as much more clearly."""
_UNITS = {25.4: "inches", 10.0: "centimetres", 1 / 25.4: "mm for inches"}
_NEAR = 0.02
_WIDEST_TURN = np.radians(30)

Fault = Literal[
    "misread", "exchanged", "mirrored", "units", "scale", "disagree", "turned", "not at the fence"
]


class Doubt(Struct, frozen=True):
    """One thing that looks wrong, said so that a person knows what to do."""

    fault: Fault
    marks: tuple[str, ...]
    message: str


def doubts(
    network: Network, found: Resection, bed_origin: tuple[float, float]
) -> tuple[Doubt, ...]:
    """What looks wrong with the readings of `found`; nothing when they agree.

    `bed_origin` is the as-planned table point of the bed's own 0, 0, from which a figure typed
    in another unit would count.
    """
    if agrees(found):
        return _turned(found)
    clamping = found.against.clamping if found.against is not None else None
    network = only_for(network, _names(found.readings), clamping)
    structural = _units(found) or _mirrored(network, found) or _exchanged(network, found)
    if structural:
        return structural
    return _misread(network, found, bed_origin)


def agrees(found: Resection, leniency: float = 1.0) -> bool:
    """Whether no reading stands out and all together agree, as far as chance allows.

    `leniency` above 1 doubts good readings as many times more seldom.
    """
    if not found.settled:
        return False
    if found.degrees == 0:
        return True
    worst = float(np.nanmax(found.in_sds, initial=0.0))
    if found.degrees > 1 and worst**2 > limit(len(found.readings), leniency):
        return False
    return agree_in_sum(found.total, found.degrees, leniency)


def _turned(found: Resection) -> tuple[Doubt, ...]:
    if abs(found.pose.turn) <= _WIDEST_TURN:
        return ()
    marks = _names(found.readings)
    turn = np.degrees(found.pose.turn)
    return (
        Doubt(
            "turned",
            marks,
            f"the readings agree only if the device stands turned by {turn:.0f} degrees; check "
            f"which mark is which among {_listed(marks)}, and the plotter's axes",
        ),
    )


def _points(found: Resection) -> tuple[FloatArray, FloatArray]:
    return np.array([reading.at for reading in found.readings]), found.believed


def _units(found: Resection) -> tuple[Doubt, ...]:
    plan, table = _points(found)
    try:
        scale = fit(plan, table, "similarity").scale
    except RefusedError:
        return ()
    for factor, unit in _UNITS.items():
        if abs(scale / factor - 1) < _NEAR:
            return (
                Doubt(
                    "units",
                    _names(found.readings),
                    f"the readings stand {1 / scale:.3g} times as far apart as the marks: they "
                    f"look like {unit}; give them in mm",
                ),
            )
    return ()


def _mirrored(network: Network, found: Resection) -> tuple[Doubt, ...]:
    plan, table = _points(found)
    if len(found.readings) < 3 or not turned_over(plan, table):
        return ()
    for axis, flip in (("x", (-1.0, 1.0)), ("y", (1.0, -1.0))):
        about = found.pose.about
        turned = about + (plan - about) * flip
        other = _again(network, found, _moved(found.readings, turned))
        if other is not None and agrees(other) and abs(other.pose.turn) < _WIDEST_TURN:
            return (
                Doubt(
                    "mirrored",
                    _names(found.readings),
                    f"the readings agree only if the bed's {axis} runs the other way: the bed is "
                    "mirrored. Check the plotter's axes in its profile",
                ),
            )
    return ()


def _exchanged(network: Network, found: Resection) -> tuple[Doubt, ...]:
    names = _names(found.readings)
    best: tuple[float, tuple[str, str]] | None = None
    for one, two in itertools.combinations(names, 2):
        swap = {one: two, two: one}
        readings = [replace(r, mark=swap.get(r.mark, r.mark)) for r in found.readings]
        other = _again(network, found, readings)
        good = other is not None and agrees(other) and abs(other.pose.turn) < _WIDEST_TURN
        if other is not None and good and (best is None or other.total < best[0]):
            best = other.total, (one, two)
    if best is None:
        return ()
    one, two = best[1]
    return (
        Doubt(
            "exchanged",
            best[1],
            f"marks {one} and {two} look exchanged: with their names changed over, all readings "
            "agree. Check which is which",
        ),
    )


def _off_fence(network: Network, found: Resection) -> tuple[Doubt, ...]:
    """Readings that agree with each other and not with the fence."""
    names = _names(found.readings)
    if found.against is None or len(names) < 3:
        return ()
    try:
        other = resect(network, found.readings, found.pose.about, found.kind)
    except RefusedError:
        return ()
    if not agrees(other, _SECOND):
        return ()
    return (
        Doubt(
            "not at the fence",
            names,
            f"the readings of {_listed(names)} agree with each other, and not with fence "
            f"{found.against.clamping.name}: look whether the device lies against it and its stop, "
            "and whether a clamp has slipped, then read them again",
        ),
    )


def _misread(
    network: Network, found: Resection, bed_origin: tuple[float, float]
) -> tuple[Doubt, ...]:
    """Takes out the reading furthest off the others, again and again, until the rest agree."""
    left = found
    named: list[Doubt] = []
    while left.degrees > 1 and not agrees(left, _SECOND if named else 1.0):
        worst = int(np.nanargmax(left.in_sds))
        doubt = _named(left, worst, bed_origin)
        rest = [r for count, r in enumerate(left.readings) if count != worst]
        fewer = _again(network, found, rest)
        if fewer is None or fewer.degrees < 1:
            break
        rivals = _as_likely(left, worst)
        if rivals and not named and doubt.fault == "misread" and agrees(fewer, _SECOND):
            return (_either(left, (worst, *rivals)),)
        if doubt.marks not in [one.marks for one in named]:
            named.append(doubt)
        left = fewer
    # A fence speaks for the rest as one reading more.
    voices = len(found.readings) + (found.against is not None)
    if agrees(left, _SECOND) and 2 * len(named) < voices:
        return tuple(named)
    return _off_fence(network, found) or _scale(network, found) or _disagree(found)


def _as_likely(found: Resection, worst: int) -> tuple[int, ...]:
    """Readings of other marks that may be wrong almost as well as `worst`."""
    own = found.readings[worst].mark
    rivals = np.flatnonzero(as_likely(found.in_sds, worst)).tolist()
    return tuple(count for count in rivals if found.readings[count].mark != own)


def _either(found: Resection, counts: Sequence[int]) -> Doubt:
    """One slip that more than one reading may have: nobody can tell which."""
    by_mark = {found.readings[count].mark: found.off_others[count] for count in reversed(counts)}
    offs = [f"{mark} by {float(np.hypot(*off)):.1f} mm" for mark, off in reversed(by_mark.items())]
    return Doubt(
        "misread",
        tuple(reversed(by_mark)),
        f"one of these reads off the others, and they do not tell which: {' or '.join(offs)}. "
        "Read them again, and one mark more",
    )


def _named(found: Resection, worst: int, bed_origin: tuple[float, float]) -> Doubt:
    reading = found.readings[worst]
    off = float(np.hypot(*found.off_others[worst]))
    message = f"mark {reading.mark} reads {off:.1f} mm off the others: read it again"
    origin = np.array(bed_origin)
    for factor, unit in _UNITS.items():
        meant = found.pose(origin + factor * (np.array(reading.at) - origin))
        # Of a figure in another unit nothing but the unit is wrong.
        should = found.pose(np.array(reading.at)) - found.off_others[worst]
        if float(np.hypot(*(meant - should))) < min(off / 10, 5.0):
            return Doubt(
                "units",
                (reading.mark,),
                f"{message}. As {unit} it would fit: give it in mm",
            )
    return Doubt("misread", (reading.mark,), message)


def _scale(network: Network, found: Resection) -> tuple[Doubt, ...]:
    if found.kind != "rigid" or len(set(_names(found.readings))) < 3:
        return ()
    try:
        other = resect(network, found.readings, found.pose.about, "similarity", found.against)
    except RefusedError:
        return ()
    if not agrees(other):
        return ()
    percent = 100 * (1 / other.pose.scale - 1)
    return (
        Doubt(
            "scale",
            _names(found.readings),
            f"the readings agree only if the device measures {abs(percent):.2f} % too "
            f"{'long' if percent > 0 else 'short'}: check the device, or place with its scale free",
        ),
    )


def _disagree(found: Resection) -> tuple[Doubt, ...]:
    names = _names(found.readings)
    off = float(np.hypot(found.misfits[:, 0], found.misfits[:, 1]).max())
    # Two marks share a wrong distance evenly, half to each.
    off = 2 * off if len(names) == 2 else off
    return (
        Doubt(
            "disagree",
            names,
            f"the readings of {_listed(names)} disagree by {off:.1f} mm and do not tell which is "
            "wrong: read them all again, and one mark more",
        ),
    )


def _again(network: Network, found: Resection, readings: Sequence[Reading]) -> Resection | None:
    """The resection of other readings; None when they cannot give one."""
    try:
        return resect(network, readings, found.pose.about, found.kind, found.against)
    except RefusedError:
        return None


def _moved(readings: Sequence[Reading], points: FloatArray) -> list[Reading]:
    return [
        replace(reading, at=(float(x), float(y)))
        for reading, (x, y) in zip(readings, points, strict=True)
    ]


def _names(readings: Sequence[Reading]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(reading.mark for reading in readings))


def _listed(names: Sequence[str]) -> str:
    return " and ".join(names) if len(names) < 3 else ", ".join(names)
