"""Which one mark more would help a placement most, found by trying each.

It knows the network and a section's window; the readings it tries have no figures yet, since
what they are worth does not depend on them. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.network.confidence import radius_95
from marking.network.misfits import mark_positions
from marking.network.network import TAPE_SD, KnownMark, Reading, section_effect
from marking.network.worth_of_readings import gain
from marking.placement.compromise import InkedPoints, inked, visible
from marking.record.readings import READING_SD
from marking.sections.locating_marks import Mark

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from marking.arrays import FloatArray
    from marking.network.allowed_errors import Allowed
    from marking.network.network import Network
    from marking.network.pose import Pose
    from marking.sections.plan import Section

_INSET = 3.0
"""New marks stand this far inside the window, in mm, where the pen surely reaches."""


_MOST = 0.5**0.5
"""Above this share of the tolerance, more than half of what may be off, squared, is the datum's."""
_MORE_READINGS = "read twice what is read, or more marks"


class Addition(Struct, frozen=True):
    """One reading more, and the errors it would leave."""

    mark: str | None
    """A known mark not read yet; None for a tape mark to be set anew, or for all again."""
    at_table: tuple[float, float] | None
    """None for reading all marks again."""
    error: float
    """95% at the worst inked point, in mm."""
    step: float
    """95% at the worst join, in mm."""
    message: str


def best_addition(
    network: Network,
    section: Section,
    pose: Pose,
    inking: InkedPoints,
    points: FloatArray,
    joins: Mapping[str, FloatArray],
    limits: Allowed,
) -> Addition:
    """The mark that leaves the least visible error; a mark that exists before one to be set.

    `pose` is the best estimate, which readings without figures are to leave where it is.
    """
    by_datum = _by_datum(inking, points)
    tried = [
        (
            visible(way.error, way.step, limits),
            count,
            _described(way, target, existing, limits, by_datum),
        )
        for count, (way, target, existing) in enumerate(
            _tries(network, section, pose, inking, points, joins)
        )
    ]
    best = min(tried, key=lambda trial: (round(trial[0], 6), trial[1]))
    enough = [trial for trial in tried if trial[0] <= 1]
    # Of several that suffice the first needs least work: read, read again, set a new mark.
    return enough[0][2] if enough else best[2]


def _tries(
    network: Network,
    section: Section,
    pose: Pose,
    inking: InkedPoints,
    points: FloatArray,
    joins: Mapping[str, FloatArray],
) -> Iterator[tuple[InkedPoints, KnownMark | None, bool]]:
    read = {reading.mark for reading in inking.setup.readings}
    for target in network.targets.values():
        ready = all(by in network.places for by, _ in target.inkers)
        if target.mark.id not in read and ready and _inside(target.mark.at_table, section):
            yield _with(network, pose, inking, points, joins, [target]), target, True
    again = [network.targets[reading.mark] for reading in inking.setup.readings]
    yield _with(network, pose, inking, points, joins, again), None, True
    taped = [target.sd for target in network.targets.values() if target.inked_by is None]
    for count, spot in enumerate(_new_spots(section)):
        mark = Mark(f"new tape mark {count + 1}", spot, "control")
        target = KnownMark(mark, None, max(taped, default=TAPE_SD))
        more = replace(network, targets={**network.targets, target.mark.id: target})
        yield _with(more, pose, inking, points, joins, [target]), target, False


def _with(
    network: Network,
    pose: Pose,
    inking: InkedPoints,
    points: FloatArray,
    joins: Mapping[str, FloatArray],
    more: list[KnownMark],
) -> InkedPoints:
    """The inking had `more` been read too, with figures that change no estimate."""
    setup = inking.setup
    sd = float(np.median([reading.sd for reading in setup.readings] or [READING_SD]))
    back = pose.inverse
    readings = list(setup.readings)
    for target in more:
        x, y = back(mark_positions(network, [target.mark.id], setup.pose.about)[0])
        readings.append(Reading(target.mark.id, (float(x), float(y)), sd))
    longer = replace(setup, readings=tuple(readings))
    gained = gain(network, longer.readings, setup.pose.about, setup.kind, setup.against)
    return inked(gained, longer, points, joins, inking.taken)


def _by_datum(inking: InkedPoints, points: FloatArray) -> float:
    """The 95% error, in mm, that no mark can lessen: what the datum shifts all of them by."""
    network, section = inking.network, inking.setup.section
    common = network.common[network.places[section]]
    moved = section_effect(network, section, points) @ common
    return float(radius_95(moved @ moved.transpose(0, 2, 1)).max())


def _new_spots(section: Section) -> list[tuple[float, float]]:
    """Corners and middles of the sides of the window, where it has ink to be true for."""
    x0, y0, x1, y1 = section.window
    xs = (x0 + _INSET, (x0 + x1) / 2, x1 - _INSET)
    ys = (y0 + _INSET, (y0 + y1) / 2, y1 - _INSET)
    core = section.core
    inside_x = [min(max(x, core[0]), core[2]) for x in xs]
    inside_y = [min(max(y, core[1]), core[3]) for y in ys]
    return [(x, y) for x in inside_x for y in inside_y if (x, y) != (inside_x[1], inside_y[1])]


def _inside(spot: tuple[float, float], section: Section) -> bool:
    x0, y0, x1, y1 = section.window
    return x0 <= spot[0] <= x1 and y0 <= spot[1] <= y1


def _described(
    way: InkedPoints, target: KnownMark | None, existing: bool, limits: Allowed, by_datum: float
) -> Addition:
    step = f" and the step to {way.step:.2f} mm" if way.joins else ""
    leaves = f"that would bring the error to {way.error:.2f} mm{step}"
    if visible(way.error, way.step, limits) > 1:
        leaves += ", which helps most but is not enough: "
        leaves += _beyond_marks(by_datum) if by_datum > _MOST * limits.tolerance else _MORE_READINGS
    if target is None:
        return Addition(None, None, way.error, way.step, f"Read every mark once more; {leaves}")
    x, y = target.mark.at_table
    if existing:
        text = f"Read mark {target.mark.id} too; {leaves}"
        return Addition(target.mark.id, (x, y), way.error, way.step, text)
    text = f"Set a tape mark at {x:.1f}, {y:.1f} mm by tape and read it; {leaves}"
    return Addition(None, (x, y), way.error, way.step, text)


def _beyond_marks(by_datum: float) -> str:
    return (
        f"the tape and the square alone may put it {by_datum:.2f} mm off. Compare the tape with a "
        "known length, or read it more finely, and set the tape marks out by that"
    )
