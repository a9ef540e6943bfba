"""The few readings worth taking: for each section enough to place it and to name a slip in any.

A section reads the tape marks on the side where nothing is inked, and the ink it is to meet at
both ends of its join; what it reads beside is what it takes for a slip of `WANTED` in any one
reading to be named 99 times in 100. It knows sights and the network, no figures that were read.
Table frame, millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.least_squares.least_slip import least_shown
from marking.least_squares.readings_test import checked, limit, own_blocks
from marking.network.datum import EXACT
from marking.network.network import Reading, Setup, gain, known, only, with_inked
from marking.network.pose import as_planned
from marking.sections.neighbours import window_middle

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

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
"""Readings below which no slip can be put down to its own reading, wherever they lie."""


def asked(
    plan: Plan, sights: Sights, reading_sd: float, datum: Datum = EXACT, ties: Ties = "beside"
) -> dict[str, tuple[str, ...]]:
    """Which of the marks in its sight each section reads, by section id, in reading order.

    A section where even all of them do not name every slip is asked for what comes nearest to it.
    What no later section can read is left out of the network as it goes, so that the work grows
    with the number of sections and no faster.
    """
    sections = {section.id: section for section in plan.sections}
    last = _last_use(sights)
    network = known(sights.targets.values(), datum)
    found: dict[str, tuple[str, ...]] = {}
    for count, name in enumerate(sights.order):
        section = sections[name]
        chosen = _first(section, sights, ties)
        chosen = _checked(network, section, chosen, sights.seen[name], reading_sd)
        found[name] = _round(section, sights, chosen)
        if len(chosen) > 1:
            readings = _readings(network, chosen, reading_sd)
            setup = Setup(name, as_planned(window_middle(section)), readings)
            gained = gain(network, readings, setup.pose.about, "rigid")
            network = with_inked(gained, setup, np.zeros(2 * len(readings)))
        network = only(network, [p for p in network.places if last.get(p, -1) > count])
    return found


def worst_slips(
    plan: Plan, sights: Sights, reading_sd: float, datum: Datum = EXACT
) -> dict[str, float]:
    """mm: by section, the slip that is surely named in whichever of its readings is slipped."""
    sections = {section.id: section for section in plan.sections}
    last = _last_use(sights)
    network = known(sights.targets.values(), datum)
    found: dict[str, float] = {}
    for count, name in enumerate(sights.order):
        readings = _readings(network, sights.seen[name], reading_sd)
        found[name] = _worst_slip(network, sections[name], sights.seen[name], reading_sd)
        setup = Setup(name, as_planned(window_middle(sections[name])), readings)
        gained = gain(network, readings, setup.pose.about, "rigid")
        network = with_inked(gained, setup, np.zeros(2 * len(readings)))
        network = only(network, [p for p in network.places if last.get(p, -1) > count])
    return found


def _last_use(sights: Sights) -> dict[str, int]:
    """The count of the last section that may read of each block of the network."""
    last: dict[str, int] = {}
    for count, name in enumerate(sights.order):
        for mark in sights.seen[name]:
            last[f"mark {mark}"] = count
            for by, _ in sights.targets[mark].inkers:
                last[by] = count
    return last


def _first(section: Section, sights: Sights, ties: Ties) -> list[str]:
    """Where to begin: the far side's tape marks and both ends of the join; else four corners."""
    x0, _, x1, _ = section.core
    middle = float(window_middle(section)[0])
    places = {mark: sights.targets[mark].mark.at_table for mark in sights.seen[section.id]}
    inked = [mark for mark in places if sights.targets[mark].inked_by is not None]
    taped = {mark: at for mark, at in places.items() if mark not in inked}
    beside = {mark: places[mark] for mark in inked if not x0 <= places[mark][0] <= x1}
    below = {mark: places[mark] for mark in inked if mark not in beside}
    if beside:
        inked_side = np.mean([at[0] for at in beside.values()]) - middle
        far = {mark: at for mark, at in taped.items() if (at[0] - middle) * inked_side < 0}
        chosen = [*_farthest(far or taped, 2, section), *_farthest(beside, 2, section)]
    else:
        chosen = _farthest(taped, _ENOUGH, section)
    if ties == "beside and below":
        chosen += _farthest(below, 2, section)
    more = {mark: at for mark, at in places.items() if mark not in chosen}
    return [*chosen, *_farthest(more, max(0, _ENOUGH - len(chosen)), section)]


def _farthest(places: Mapping[str, tuple[float, float]], count: int, section: Section) -> list[str]:
    """At most `count` marks, each as far as can be from those taken; the first from the middle."""
    taken: list[str] = []
    middle = tuple(window_middle(section).tolist())
    while len(taken) < min(count, len(places)):
        from_these = [places[mark] for mark in taken] or [middle]
        left = [mark for mark in places if mark not in taken]
        taken.append(
            max(left, key=lambda m: round(min(math.dist(places[m], at) for at in from_these), 6))
        )
    return taken


def _checked(
    network: Network,
    section: Section,
    chosen: Sequence[str],
    in_sight: Sequence[str],
    reading_sd: float,
) -> list[str]:
    """`chosen` and what it takes of the rest in sight for every slip of `WANTED` to be named."""
    best, worst = list(chosen), _worst_slip(network, section, chosen, reading_sd)
    now = list(chosen)
    while worst > WANTED and (left := [mark for mark in in_sight if mark not in now]):
        then = {mark: _worst_slip(network, section, [*now, mark], reading_sd) for mark in left}
        # What alone does not help may with the next: all are infinite where too few are read.
        now.append(min(left, key=lambda mark: round(then[mark], 2)))
        if then[now[-1]] < worst:
            best, worst = list(now), then[now[-1]]
    return best


def _worst_slip(
    network: Network, section: Section, marks: Sequence[str], reading_sd: float
) -> float:
    if len(marks) < _ENOUGH:
        return math.inf
    gained = gain(network, _readings(network, marks, reading_sd), window_middle(section), "rigid")
    blocks = own_blocks(gained.projector)
    shown = least_shown(blocks, checked(blocks, gained.own), math.sqrt(limit(len(marks))))
    return float(shown.max())


def _readings(network: Network, marks: Sequence[str], sd: float) -> tuple[Reading, ...]:
    return tuple(Reading(mark, network.targets[mark].mark.at_table, sd) for mark in marks)


def _round(section: Section, sights: Sights, marks: Sequence[str]) -> tuple[str, ...]:
    """The marks as the pen comes by them, once round the window from its corner near zero."""
    middle = window_middle(section)

    def turned(mark: str) -> float:
        x, y = np.array(sights.targets[mark].mark.at_table) - middle
        return round(math.atan2(-x, -y) % (2 * math.pi), 9)

    start = math.atan2(1, 1)
    return tuple(sorted(marks, key=lambda mark: ((turned(mark) - start) % (2 * math.pi), mark)))
