"""Slips of 3 mm in the readings that `control` asks for: named, put down to others, or missed.

What each section's readings miss by is drawn from all that errs (the tape, rows and graduations,
the plotter, the pointer, the cloth, fence and stops, earlier ink), its device set down askew; the
program is asked what looks wrong. The draws are the network's own, which `tests/ways` holds to a
model that knows nothing of it.
"""

import math
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace

from marking.network.error_model import ErrorModel
from marking.network.fence import Against, seat_of
from marking.network.network import Reading, Setup, known, only
from marking.network.part_of_network import last_uses, only_for
from marking.network.pose import as_planned, rigid
from marking.network.resection import resect
from marking.network.worth_of_readings import equations, gain, with_inked
from marking.placement.slips import doubts
from marking.sections.neighbours import window_middle
from marking.tape_marks.marks import tape_datum
from marking.tape_marks.visible import sights
from tests.placement.inking import READING_SD

SLIP = 3.0
"""mm."""


@dataclass
class Outcome:
    """What became of slips, and of readings without one."""

    readings: int = 0
    """That are asked for on the whole cover."""
    slips: int = 0
    named: int = 0
    """Put down to the reading that slipped, and to no other."""
    again: int = 0
    """Told as one of two or three, and put down to it alone once these are read once more."""
    between: int = 0
    """Told as one of several then as well, or with others."""
    wrongly: int = 0
    """Put down to others alone."""
    good: int = 0
    """Sections read without a slip."""
    doubted: int = 0

    def add(self, other):
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)


def score_asked(task, done, runs, *, step=1, seed=1):
    """Every `step`-th section that reads anything, `runs` times good and `runs` times slipping."""
    marks = [one.mark for one in done.tape_marks.marks]
    seen = sights(task.plan, task.layout.grid, marks, read=dict(done.tape_marks.read))
    own = {mark.mark.id: mark.sd for mark in done.tape_marks.marks}
    targets = {name: replace(t, sd=own.get(name, t.sd)) for name, t in seen.targets.items()}
    network = known(targets.values(), tape_datum(done.tape_marks), task.errors or ErrorModel())
    sections = {section.id: section for section in task.plan.sections}
    clampings = {name: (done.fences or {}).get(name) for name in seen.order}
    uses = [(seen.seen[name], clampings[name]) for name in seen.order]
    last = last_uses(network, uses, {n: window_middle(sections[n]) for n in seen.order})
    rng, told, count = np.random.default_rng(seed), Outcome(), 0
    for place, name in enumerate(seen.order):
        section, read = sections[name], seen.seen[name]
        about = window_middle(section)
        clamping = clampings[name]
        against = None if clamping is None else Against(clamping, section.window)
        planned = [Reading(m, targets[m].mark.at_table, READING_SD) for m in read]
        told.readings += len(planned)
        if planned:
            if count % step == 0:
                here = only_for(network, list(read), clamping)
                told.add(_section(here, section, planned, against, runs, rng))
            count += 1
        gained = gain(network, planned, about, "rigid", against)
        setup = Setup(name, as_planned(about), tuple(planned), against=against)
        network = with_inked(gained, setup, np.zeros(len(gained.covariance)))
        network = only(network, [p for p in network.places if last.get(p, -1) > place])
    return told


def _section(network, section, planned, against, runs, rng):
    told, about = Outcome(), window_middle(section)
    for _ in range(runs):
        device = _set_down(network, planned, about, against, rng)
        readings = [device(reading, rng) for reading in planned]
        told.good += 1
        told.doubted += bool(_doubts(network, readings, section, against))
        wrong, angle = int(rng.integers(len(readings))), rng.uniform(0, 2 * math.pi)
        x, y = readings[wrong].at
        at = (x + SLIP * math.cos(angle), y + SLIP * math.sin(angle))
        readings[wrong] = replace(readings[wrong], at=at)
        found = [doubt.marks for doubt in _doubts(network, readings, section, against)]
        told.slips += 1
        mark = readings[wrong].mark
        among = any(mark in marks for marks in found)
        if found == [(mark,)]:
            told.named += 1
        elif among and len(found) == 1:
            asked = [reading for reading in planned if reading.mark in found[0]]
            more = [*readings, *(device(reading, rng) for reading in asked)]
            then = [doubt.marks for doubt in _doubts(network, more, section, against)]
            told.again += then == [(mark,)]
            told.between += then != [(mark,)]
        else:
            told.between += among
            told.wrongly += bool(found) and not among
    return told


def _doubts(network, readings, section, against):
    found = resect(network, readings, window_middle(section), "rigid", against)
    return doubts(network, found, section.window[:2])


def _set_down(network, planned, about, against, rng):
    """A device set down askew, or pushed against its fence: what it reads of one of `planned`."""
    rows = equations(network, planned, about, "rigid", against)
    spread = rows.carrier @ rows.network.by_tape @ rows.carrier.T + rows.moved @ rows.moved.T
    values, vectors = np.linalg.eigh(spread)
    off = vectors @ (np.sqrt(np.maximum(values, 0)) * rng.standard_normal(len(values)))
    count = 2 * len(planned)
    stands = np.array([*rng.uniform(-1, 1, 2), rng.uniform(-0.003, 0.003)])
    if against is not None:
        # It stands as rail and stop have it; along a rail without a stop, anywhere.
        seat = seat_of(against, network.errors, network.datum)
        held = off[count:] + seat.sd * rng.standard_normal(len(seat.sd))
        stands += np.linalg.lstsq(seat.design, held - seat.design @ stands, rcond=None)[0]
    true = rigid(stands[:2], stands[2], about)
    lies = dict(zip([reading.mark for reading in planned], off[:count].reshape(-1, 2), strict=True))

    def read(reading, rng):
        noise = math.hypot(reading.sd, network.errors.cloth) * rng.standard_normal(2)
        x, y = true.inverse(np.array(reading.at) + lies[reading.mark] + noise)
        return replace(reading, at=(float(x), float(y)))

    return read
