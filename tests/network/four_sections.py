"""Four sections round one corner, their marks and readings: a network small enough to check."""

import numpy as np

from marking.network.network import KnownMark, Reading, Setup
from marking.network.pose import changed, rigid
from marking.sections.locating_marks import Mark

CENTRES = {"a": (200.0, 130.0), "b": (560.0, 130.0), "c": (200.0, 360.0), "d": (560.0, 360.0)}
SPOTS = {
    "c1": (20.0, 20.0, None),
    "c2": (180.0, 20.0, None),
    "c3": (600.0, 20.0, None),
    "c4": (20.0, 470.0, None),
    "w1": (380.0, 25.0, "a"),
    "w2": (380.0, 235.0, "a"),
    "w3": (30.0, 235.0, "a"),
    "w4": (700.0, 235.0, "b"),
    "w5": (380.0, 460.0, "c"),
}
SEEN = {
    "a": ("c1", "c2"),
    "b": ("w1", "w2", "c3"),
    "c": ("w3", "w2", "c4", "c4"),
    "d": ("w5", "w2", "w4"),
}


def targets(scatter=0.0):
    return [
        KnownMark(
            Mark(name, (x, y), "control" if by is None else "cross"),
            by,
            0.4 if by is None else scatter,
        )
        for name, (x, y, by) in SPOTS.items()
    ]


def setups(seed=1):
    """Four sections round one corner, inked with poses a little off the best estimate."""
    rng = np.random.default_rng(seed)
    made = []
    for name, marks in SEEN.items():
        about = np.array(CENTRES[name])
        true = rigid(rng.uniform(-8, 8, 2), rng.uniform(-0.05, 0.05), about)
        readings = []
        for mark in marks:
            x, y = true.inverse(np.array(SPOTS[mark][:2])) + rng.normal(0, 0.25, 2)
            readings.append(Reading(mark, (float(x), float(y)), float(rng.uniform(0.2, 0.4))))
        pose = changed(true, rng.normal(0, 1, 3) * [0.3, 0.3, 0.001])
        made.append(Setup(name, pose, tuple(readings)))
    return made
