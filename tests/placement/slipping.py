"""Slips in readings of the stock benches: how often one is found, and how often it alone is named.

Marks lie where the network believes them, off by draws from its own covariance; the readings are
made from those, one of them slips, and the program is asked what looks wrong.
"""

import math
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace

from marking.network.network import Reading, Setup, known
from marking.network.part_of_network import only_for
from marking.network.pose import as_planned, rigid
from marking.network.resection import resect
from marking.network.worth_of_readings import gain, with_inked
from marking.placement.least_slip_named import more_readings, slips
from marking.placement.slips import agrees, doubts
from marking.sections.neighbours import outermost_ink, window_middle
from tests.placement.inking import READING_SD, set_out_by_tape

SLIP = 3.0
"""mm."""
FEWEST = 6


@dataclass
class Score:
    """What became of slips in readings, and of readings without one."""

    sections: int = 0
    asked: int = 0
    """Sections that more readings were asked for."""
    slips: int = 0
    found: int = 0
    named: int = 0
    good: int = 0
    doubted: int = 0
    worst_told: float = 0.0
    """mm: the largest figure told for a slip that is named, once what was asked for is read."""


def score(profile, spacing, every, runs, *, follow=True, step=1, most=None, seed=1):
    """Every `step`-th section with six readings and more, `runs` times good and `runs` slipping.

    With `follow` the readings that the program asks for are taken as well.
    """
    plan, seen, datum = set_out_by_tape(profile, spacing, every)
    network = known(seen.targets.values(), datum)
    sections = {section.id: section for section in plan.sections}
    rng = np.random.default_rng(seed)
    told, count = Score(), 0
    for name in seen.order:
        section, marks = sections[name], list(seen.seen[name])
        planned = [Reading(m, seen.targets[m].mark.at_table, READING_SD) for m in marks]
        about = window_middle(section)
        if len(marks) >= FEWEST:
            if count % step == 0:
                _section(told, only_for(network, marks), section, planned, runs, follow, rng)
            count += 1
        gained = gain(network, planned, about, "rigid")
        setup = Setup(name, as_planned(about), tuple(planned))
        network = with_inked(gained, setup, np.zeros(2 * len(planned)))
        if most is not None and told.sections >= most:
            break
    return told


def _section(told, network, section, planned, runs, follow, rng):
    about, points = window_middle(section), outermost_ink(section)
    more = more_readings(network, planned, about, points)
    told.sections += 1
    told.asked += more is not None
    if follow and more is not None:
        targets = network.targets
        planned = planned + [Reading(m, targets[m].mark.at_table, READING_SD) for m in more.marks]
        assert slips(network, planned, about, points).worst == more.then
    told.worst_told = max(told.worst_told, slips(network, planned, about, points).worst)
    for _ in range(runs):
        readings = _read(network, planned, about, rng)
        told.good += 1
        told.doubted += not agrees(resect(network, readings, about))
        wrong, angle = int(rng.integers(len(readings))), rng.uniform(0, 2 * math.pi)
        x, y = readings[wrong].at
        at = (x + SLIP * math.cos(angle), y + SLIP * math.sin(angle))
        readings[wrong] = replace(readings[wrong], at=at)
        found = doubts(network, resect(network, readings, about), section.window[:2])
        told.slips += 1
        told.found += bool(found)
        told.named += [doubt.marks for doubt in found] == [(readings[wrong].mark,)]


def _read(network, planned, about, rng):
    """One set of readings by a device set down askew."""
    gained = gain(network, planned, about, "rigid")
    spread = gained.carrier @ gained.taken.T + gained.moved @ gained.moved.T
    values, vectors = np.linalg.eigh(spread)
    off = vectors @ (np.sqrt(np.maximum(values, 0)) * rng.standard_normal(len(values)))
    lies = np.array([reading.at for reading in planned]) + off.reshape(-1, 2)
    true = rigid(rng.uniform(-1, 1, 2), rng.uniform(-0.003, 0.003), about)
    seen = true.inverse(lies) + READING_SD * rng.standard_normal(lies.shape)
    return [
        replace(reading, at=(float(x), float(y)))
        for reading, (x, y) in zip(planned, seen, strict=True)
    ]
