"""True-ups as a person makes them with a real tape, drawn at random: what is told of them, and met.

By itself: what a tape shows is worked out here from the published limits, not by the program.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from devices.projector.trueup.calibration import Landing
from devices.projector.trueup.points import by_tape
from devices.projector.trueup.result import solved
from devices.projector.trueup.targets import suggest
from marking.errors import RefusedError
from tests.projector.browsers import hung_crooked

if TYPE_CHECKING:
    from devices.projector.desk.work import BeamWork

CLASS_II = (0.3, 0.2)
"""mm, and mm per metre begun, that a tape of class II may be wrong by (UK SI 2016/1153, schedule
1I). Half of what is allowed is taken for one standard deviation, as the README says."""
STEEL = 11.6e-6
WARMTH_SD = 2.0
SET_SD = 0.5 / math.sqrt(2)
"""mm each way of a light and a mark brought onto each other: half a millimetre in all."""


class Tape(Struct, frozen=True):
    """One tape on one day."""

    class_error: float
    """Standard deviations by which it is long or short."""
    warmer: float
    """Degrees above what it is taken to have."""
    division: float

    def off(self, places, rng):
        """How much longer than it shows a length is, for places (n,) in mm, marks and eye too."""
        fixed, per_metre = CLASS_II
        begun = per_metre * np.ceil(places / 1000)
        own = np.hypot(self.division / 2, np.sqrt((fixed + begun) ** 2 - begun**2) / 2)
        shared = begun / 2 * self.class_error + places * STEEL * self.warmer
        return shared + rng.normal(0, own)


def tape(rng, division):
    """A tape out of a shop."""
    return Tape(rng.normal(), rng.normal(0, WARMTH_SD), division)


def landings(work: BeamWork, section: str, rng, *, typed: bool) -> list[Landing]:
    """All targets of a section, landed with one tape: typed where they fell, or nudged onto points
    that the tape gave."""
    real = hung_crooked(work, section)
    shown_by = tape(rng, work.tape.division)
    found: list[Landing] = []
    marks: dict[tuple[float, float], np.ndarray] = {}
    for target in suggest(work.section(section).window, work.expected(section), work.by_tape):
        if typed:
            fell = real.to_table(np.array([target.at_px]))[0] + rng.normal(0, SET_SD, 2)
            shows = fell - shown_by.off(fell, rng)
            point = by_tape(shows[0], shows[1], work.tape)
            found.append(Landing(target.name, target.at_px, point.at, point.sd, rounded=False))
        else:
            # A corner's mark is set once and landed on twice.
            wanted = np.array(target.at_table)
            mark = marks.setdefault(target.at_table, wanted + shown_by.off(wanted, rng))
            there = mark + rng.normal(0, SET_SD, 2)
            px = np.round(real.to_px(there[None])[0])
            found.append(Landing(target.name, (px[0], px[1]), target.at_table, target.sd))
    return found


def held(
    work: BeamWork, section: str, count: int, seed: int, *, typed: bool
) -> tuple[float, float]:
    """Of `count` true-ups: the share that held what was told of the worst place, and the errors
    met there over those told, root mean square."""
    rng, real = np.random.default_rng(seed), hung_crooked(work, section)
    x0, y0, x1, y1 = work.section(section).core
    ys, xs = np.linspace(y1, y0, 4), np.linspace(x0, x1, 7)
    inside, ratios = 0, []
    while len(ratios) < count:
        try:
            trued = solved(work.aim(section), landings(work, section, rng, typed=typed))
        except RefusedError:
            continue  # a false alarm, which eight in a thousand may be: it is landed again
        told = np.array(trued.error_map)
        row, column = np.unravel_index(told.argmax(), told.shape)
        spot = np.array([[xs[column], ys[row]]])
        met = float(np.linalg.norm(real.to_table(trued.mapping.to_px(spot)) - spot))
        inside += met <= trued.worst_mm
        ratios.append(met / trued.worst_mm)
    return inside / count, float(np.sqrt(np.mean(np.square(ratios))))
