"""The few readings worth taking: for each section enough to place it and to show a slip in any.

A section reads the tape marks on the side where nothing is inked, and the ink it is to meet at
both ends of its join; against a fence only the ends of a clamping read. What is read beside is
what it takes for a slip of `WANTED` in any one reading to show 99 times in 100. It knows sights
and the network, no figures that were read. Table frame, millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.least_squares.least_slip import least_shown
from marking.least_squares.readings_test import checked, limit, own_blocks
from marking.network.datum import EXACT
from marking.network.error_model import NO_ERRORS
from marking.network.fence import Against
from marking.network.network import Reading, Setup, known
from marking.network.part_of_network import used
from marking.network.pose import as_planned
from marking.network.section_after_section import walk
from marking.network.worth_of_readings import gain
from marking.sections.neighbours import window_middle

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Clamping
    from marking.network.network import Network
    from marking.network.section_after_section import Walk
    from marking.network.worth_of_readings import Gain
    from marking.sections.plan import Plan, Section
    from marking.tape_marks.visible import Sights

_Places = dict[str, tuple[float, float]]
Ties = Literal["beside", "beside and few below", "beside and some below", "beside and below"]
"""Whose ink a section reads: that of the section beside it alone, or of the row below too, every
fifth or every other section one point of it or each at both ends of the join. Against a fence: that
of the row below at the row's ends alone, or of the section beside each too, as often."""
_ONE_IN: dict[Ties, int] = {"beside and few below": 5, "beside and some below": 2}
WANTED = 3.0
"""mm: the slip that must show. A pen over the wrong edge of a wide mark, or nudged once too often,
is off by about this; one on the wrong line by far more."""
_CLOSE = 1.1
"""What is told here is a bound, of a point that slips in the direction that shows least: up to so
many times what a test of each coordinate by itself needs."""
_ENOUGH = 4
"""Readings below which a slip cannot be told from the others' errors, without a fence."""


class Asking(Struct, frozen=True):
    """What readings are chosen for."""

    plan: Plan
    sights: Sights
    """All that each section can read."""
    reading_sd: float
    datum: Datum = EXACT
    errors: ErrorModel = NO_ERRORS
    ties: Ties = "beside"
    fences: Mapping[str, Clamping] | None = None
    """By section id: what it is pushed against."""

    def clamping(self, section: str) -> Clamping | None:
        """What the section is pushed against, if anything."""
        return (self.fences or {}).get(section)


class ReadingsAsked(Struct, frozen=True):
    """What each section is to read."""

    read: Mapping[str, tuple[str, ...]]
    """Mark ids by section id, in reading order."""
    slip: float
    """mm: a slip of this much in any one of the readings shows 99 times in 100."""

    @property
    def shows_slips(self) -> bool:
        """Whether every slip of `WANTED` does, as near as can be told before."""
        return self.slip <= _CLOSE * WANTED


def asked(asking: Asking) -> ReadingsAsked:
    """Which of the marks in its sight each section reads.

    A section where even all of them do not show every slip is asked for what comes nearest to it.
    """
    sections = {section.id: section for section in asking.plan.sections}
    found: dict[str, tuple[str, ...]] = {}
    slip = 0.0
    done = _begun(asking)
    for name in asking.sights.order:
        section = sections[name]
        clamping = asking.clamping(name)
        if clamping is None:
            first = _first(asking, section)
        else:
            first = _at_fence(asking, section, clamping)
        chosen, shows = _checked(asking, done.network, section, first) if first else ([], 0.0)
        slip = max(slip, shows)
        found[name] = _round(section, asking.sights, chosen)
        done = _inked(asking, done, section, chosen).onward()
    return ReadingsAsked(found, slip)


def _begun(asking: Asking) -> Walk:
    """The network before any reading."""
    sights = asking.sights
    network = known(sights.targets.values(), asking.datum, asking.errors)
    uses = [(sights.seen[name], asking.clamping(name)) for name in sights.order]
    middles = {section.id: window_middle(section) for section in asking.plan.sections}
    return walk(network, used(network, uses, middles))


def _first(asking: Asking, section: Section) -> list[str]:
    """Where to begin: the far side's tape marks and both ends of the join; else four corners."""
    places, taped, beside, below = _in_sight(asking, section)
    middle = float(window_middle(section)[0])
    if beside:
        inked_side = np.mean([at[0] for at in beside.values()]) - middle
        far = {mark: at for mark, at in taped.items() if (at[0] - middle) * inked_side < 0}
        chosen = [*_farthest(far or taped, 2, section), *_farthest(beside, 2, section)]
    else:
        chosen = _farthest(taped, _ENOUGH, section)
    if asking.ties != "beside":
        below_read = 2 if asking.ties == "beside and below" else int(_tied(asking.ties, section))
        chosen += _farthest(below, below_read, section)
    more = {mark: at for mark, at in places.items() if mark not in chosen}
    return [*chosen, *_farthest(more, max(0, _ENOUGH - len(chosen)), section)]


def _at_fence(asking: Asking, section: Section, clamping: Clamping) -> list[str]:
    """At both ends of a clamping its tape marks, at both ends of a row the ink below; else none.

    Where a clamping goes on from another of its row, the ink beside ties the two. Without stops
    the place along is read from one point of the ink beside. The end of a join that is away from
    the rail tells most: the rail holds the other.
    """
    _, taped, beside, below = _in_sight(asking, section)
    row = [one for one in asking.plan.sections if one.row == section.row]
    here = [one for one in row if asking.clamping(one.id) == clamping]
    chosen: list[str] = []
    if section in (here[0], here[-1]):
        chosen += _farthest(taped, 2, section)
    if section == here[0] != row[0]:
        chosen += _farthest(beside, 2, section)
    if section in (row[0], row[-1]):
        # Ink of the row below it, whichever section of that row laid it.
        low = section.core[1]
        under = {mark: at for mark, at in (beside | below).items() if at[1] < low}
        chosen += [mark for mark in _farthest(under, 2, section) if mark not in chosen]
    if not chosen and (_tied(asking.ties, section) or not clamping.stopped):
        away = beside or taped
        chosen += sorted(away, key=lambda mark: (-away[mark][1], mark))[:1]
    return chosen


def _tied(ties: Ties, section: Section) -> bool:
    """Whether it is one of those that read more ink than they need to be placed."""
    if ties == "beside and below":
        return True
    one_in = _ONE_IN.get(ties)
    # Shifted from row to row, so that no column is left out.
    return one_in is not None and (section.row + section.column) % one_in == 1


def _in_sight(asking: Asking, section: Section) -> tuple[_Places, _Places, _Places, _Places]:
    """Where all marks in sight lie; then tape marks, ink beside and ink below, each by id."""
    targets = asking.sights.targets
    x0, _, x1, _ = section.core
    places = {mark: targets[mark].mark.at_table for mark in asking.sights.seen[section.id]}
    taped = {mark: at for mark, at in places.items() if targets[mark].inked_by is None}
    inked = {mark: at for mark, at in places.items() if mark not in taped}
    beside = {mark: at for mark, at in inked.items() if not x0 <= at[0] <= x1}
    below = {mark: at for mark, at in inked.items() if mark not in beside}
    return places, taped, beside, below


def _farthest(places: _Places, count: int, section: Section) -> list[str]:
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
    asking: Asking, network: Network, section: Section, chosen: Sequence[str]
) -> tuple[list[str], float]:
    """`chosen` and what it takes of the rest in sight for every slip of `WANTED` to show.

    With the slip that does.
    """
    best, worst = list(chosen), _worst_slip(asking, network, section, chosen)
    now = list(chosen)
    in_sight = asking.sights.seen[section.id]
    while worst > WANTED and (left := [mark for mark in in_sight if mark not in now]):
        then = {mark: _worst_slip(asking, network, section, [*now, mark]) for mark in left}
        # What alone does not help may with the next: all are infinite where too few are read.
        now.append(min(left, key=lambda mark: round(then[mark], 2)))
        if then[now[-1]] < worst:
            best, worst = list(now), then[now[-1]]
    return best, worst


def _worst_slip(asking: Asking, network: Network, section: Section, marks: Sequence[str]) -> float:
    if len(marks) < _ENOUGH and asking.clamping(section.id) is None:
        return math.inf
    gained = _gained(asking, network, section, marks)
    rows = 2 * len(marks)
    blocks = own_blocks(gained.projector[:rows, :rows])
    shown = least_shown(blocks, checked(blocks, gained.own), math.sqrt(limit(len(marks))))
    return float(shown.max())


def _gained(asking: Asking, network: Network, section: Section, marks: Sequence[str]) -> Gain:
    """What readings of `marks` by the section are worth."""
    clamping = asking.clamping(section.id)
    against = None if clamping is None else Against(clamping, section.window)
    readings = _readings(asking, marks)
    return gain(network, readings, window_middle(section), "rigid", against)


def _inked(asking: Asking, done: Walk, section: Section, marks: Sequence[str]) -> Walk:
    """Once the section is inked; as it was where nothing places it."""
    if len(marks) < 2 and asking.clamping(section.id) is None:
        return done
    gained = _gained(asking, done.network, section, marks)
    setup = Setup(section.id, as_planned(window_middle(section)), _readings(asking, marks))
    return done.inked(gained, setup, np.zeros(len(gained.covariance)))


def _readings(asking: Asking, marks: Sequence[str]) -> tuple[Reading, ...]:
    targets, sd = asking.sights.targets, asking.reading_sd
    return tuple(Reading(mark, targets[mark].mark.at_table, sd) for mark in marks)


def _round(section: Section, sights: Sights, marks: Sequence[str]) -> tuple[str, ...]:
    """The marks as the pen comes by them, once round the window from its corner near zero."""
    middle = window_middle(section)
    start = math.atan2(1, 1)

    def turned(mark: str) -> float:
        x, y = np.array(sights.targets[mark].mark.at_table) - middle
        return round((math.atan2(-x, -y) - start) % (2 * math.pi), 9)

    return tuple(sorted(marks, key=lambda mark: (turned(mark), mark)))
