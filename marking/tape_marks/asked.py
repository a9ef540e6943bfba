"""The few readings worth taking: for each section enough to place it and to name a slip in any.

A section reads the tape marks on the side where nothing is inked, and at both ends of the join
the ink it is to meet; what else it reads is what it takes for a slip of `WANTED` in one reading
to be named 99 times in 100. It knows sights and the network, no section's verdict. Table frame,
millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.least_squares.least_slip import least_named
from marking.network.datum import EXACT
from marking.network.network import Reading, Setup, gain, known, only, with_inked
from marking.network.pose import PARAMETERS, as_planned
from marking.sections.neighbours import border, window_middle

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.network.datum import Datum
    from marking.network.network import Network
    from marking.sections.plan import Plan, Section
    from marking.tape_marks.visible import Sights

Ties = Literal["beside", "beside and below"]
"""Whose ink a section reads: that of the section beside it alone, or of the row below too."""
WANTED = 3.0
"""mm: the slip that must be named. A pen over the wrong edge of a wide mark, or nudged once too
often, is off by about this; one on the wrong line by far more."""
_ENOUGH = 4
"""Readings below which a slip cannot be put down to its own reading, whatever their places."""
_MOST = 12
"""Readings beyond which no more are asked for: what does not show by then lies elsewhere."""


def asked(
    plan: Plan, sights: Sights, reading_sd: float, datum: Datum = EXACT, ties: Ties = "beside"
) -> dict[str, tuple[str, ...]]:
    """Which marks each section reads, by section id, in reading order; some of those in sight.

    The network is carried through the inking order and what no later section reads is left out
    of it, so that the work grows with the number of sections. A section with too little in sight
    gets all of that: `marking.tape_marks.forecast` says which section it is.
    """
    sections = {section.id: section for section in plan.sections}
    last = {mark: count for count, name in enumerate(sights.order) for mark in sights.seen[name]}
    network = known(sights.targets.values(), datum)
    found: dict[str, tuple[str, ...]] = {}
    carried: dict[str, int] = {}
    for count, name in enumerate(sights.order):
        section, in_sight = sections[name], sights.seen[name]
        first = _first(section, sections, sights, ties)
        chosen = _checked(network, section, first, in_sight, reading_sd)
        found[name] = tuple(sorted(chosen, key=lambda mark: _round(section, sights, mark)))
        if not _placed(sights, chosen):
            continue
        readings = _readings(sights, chosen, reading_sd)
        setup = Setup(name, as_planned(window_middle(section)), readings)
        gained = gain(network, readings, setup.pose.about, "rigid")
        network = with_inked(gained, setup, np.zeros(2 * len(readings)))
        for mark in in_sight:
            inker = sights.targets[mark].inked_by
            carried[inker if inker is not None else f"mark {mark}"] = last[mark]
        carried[name] = max((last[m] for m in _inked_by(sights, name)), default=count)
        network = only(network, [p for p in network.places if carried.get(p, count) > count])
    return found


def _inked_by(sights: Sights, section: str) -> list[str]:
    return _INKED.setdefault(id(sights), {}).get(section, [])


def _first(
    section: Section, sections: Mapping[str, Section], sights: Sights, ties: Ties
) -> list[str]:
    """The readings to begin with."""
    taped, beside, below = [], [], []
    for mark in sights.seen[section.id]:
        inker = sights.targets[mark].inked_by
        if inker is None:
            taped.append(mark)
        elif _is_beside(section, sections[inker]):
            beside.append(mark)
        else:
            below.append(mark)
    raise NotImplementedError
