"""Whole covers of an independent model, each section placed by `place` as a person would have it.

`tests.ways.cover_model` draws what really is, from a description of the work, and knows no
estimator; what it reads goes to `place`, and what `place` says is inked.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from marking.network.allowed_errors import Allowed
from marking.network.fence import Against
from marking.network.misfits import ink
from marking.network.network import Reading, known
from marking.placement.compromise import FOLLOW
from marking.placement.placement import place
from marking.sections.neighbours import butts
from tests.network.as_the_oracle import clampings_of, model_of, name_of, targets_of
from tests.ways import figures
from tests.ways.cover_model import _give, marked, onto_bed, onto_table, truth

if TYPE_CHECKING:
    from marking.network.datum import Datum
    from marking.network.network import Network
    from marking.placement.placement import Placement
    from marking.sections.plan import Plan
    from tests.ways import cover_model

LIMITS = Allowed(50.0, 50.0)
"""Nothing shows: every section is inked as it is planned to follow."""


@dataclass
class ByPlace:
    """Readings in, poses out, cover by cover."""

    model: cover_model.Plan
    plan: Plan
    errors: cover_model.Errors
    datum: Datum
    placed: list[list[Placement]] = field(default_factory=list)
    """By section, of each cover."""
    read: list[list[tuple[Network, list[Reading], Against | None]]] = field(default_factory=list)
    """What each was placed by."""

    def __post_init__(self):
        self.joints = butts(self.plan.sections)
        self.clampings = clampings_of(self.model)
        self.networks = []

    def __call__(self, k, read, sent):
        if k == 0:
            targets = targets_of(self.model).values()
            start = known(targets, self.datum, model_of(self.errors))
            self.networks = [start] * len(read)
        self.read.append([])
        self.placed.append([self._one(k, cover, read[cover]) for cover in range(len(read))])
        setups = [one.inking.setup for one in self.placed[-1]]
        return np.array([[*s.pose.shift, s.stands.turn, *s.drawn_for] for s in setups])

    def _one(self, k, cover, read):
        section, middle = self.plan.sections[k], np.array(self.model.sections[k].centre)
        readings = []
        for i, reading in enumerate(self.model.readings):
            if reading.section == k:
                at = middle + read[i]
                spot = float(at[0]), float(at[1])
                readings.append(Reading(name_of(self.model, i), spot, self.errors.reading))
        fence = self.model.sections[k].fence
        against = None if fence is None else Against(self.clampings[fence], section.window)
        self.read[-1].append((self.networks[cover], readings, against))
        placed = self.place(section, *self.read[-1][-1])
        self.networks[cover] = ink(self.networks[cover], placed.inking.setup)
        return placed

    def place(self, section, network, readings, against):
        """As the verb would."""
        return place(
            network, section, readings, self.joints, LIMITS, follow=FOLLOW, against=against
        )


def slipped(by_place, size, rng, most):
    """Of at most so many readings that slip by `size` mm: whether it is named, and it alone."""
    cases = [
        (section, case, i)
        for section, of_one in zip(by_place.plan.sections, by_place.read, strict=True)
        for case in of_one
        for i in range(len(case[1]))
    ]
    named = []
    for number in rng.permutation(len(cases))[:most]:
        section, (network, readings, against), i = cases[number]
        angle = rng.uniform(0, 2 * np.pi)
        x, y = np.array(readings[i].at) + size * np.array([np.cos(angle), np.sin(angle)])
        wrong = [*readings[:i], replace(readings[i], at=(float(x), float(y))), *readings[i + 1 :]]
        placed = by_place.place(section, network, wrong, against)
        named.append([doubt.marks for doubt in placed.doubts] == [(readings[i].mark,)])
    return named


def placed_covers(model, plan, errors, datum, covers, seed):
    """The covers, and how `place` placed each section of them."""
    by_place = ByPlace(model, plan, errors, datum)
    rng = np.random.default_rng(seed)
    return marked(model, errors, covers, rng, by_place, figures.points(model)), by_place


def within_told(model, errors, by_place, covers, seed):
    """(sections, covers): whether the ink lies as near true as `place` told, at its worst point."""
    real = truth(model, errors, covers, np.random.default_rng(seed))
    found = np.zeros((len(model.sections), covers), dtype=bool)
    for k, section in enumerate(model.sections):
        centre = np.array(section.centre)
        for cover, placed in enumerate(by_place.placed[k]):
            setup, at = placed.inking.setup, np.array(placed.inking.worst_at)
            pose = np.array([*setup.pose.shift, setup.stands.turn, *setup.drawn_for])
            bed = onto_bed(pose, centre, at)
            give = _give(section, real.give[cover : cover + 1, k], at[None])[0, 0]
            lies = onto_table(real.poses[cover, k], centre, bed) - give
            found[k, cover] = np.hypot(*(lies - at)) <= placed.inking.error
    return found
