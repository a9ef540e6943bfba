"""The choice between meeting the last section's ink and being where the table says.

The best estimate of where a device stands does not settle with which pose to ink: earlier ink
is known to lie a little wrong, and a section can be inked to meet it or to be true. It knows the
network and the points that count. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.measures.ties import first_of_greatest
from marking.network.confidence import radius_95
from marking.network.inked import ink_error, join_step
from marking.network.misfits import misfit
from marking.network.pose import PARAMETERS, changed, effect
from marking.network.steps import with_steps
from marking.network.worth_of_readings import with_inked

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.network.allowed_errors import Allowed
    from marking.network.network import Network, Setup
    from marking.network.steps import StepsTaken
    from marking.network.worth_of_readings import Gain

WEIGHTS = tuple(np.linspace(0.0, 1.0, 21).tolist())
"""What is tried between the table, 0, and the join, 1."""

FOLLOW = 0.3
"""How far a section meets the ink beside it where marks were chosen so: of what was tried on covers
imagined, what leaves steps and gaps between neighbours least before lines lean."""


class JoinError(Struct, frozen=True):
    """The step to expect where a section butts against earlier ink."""

    beside: str
    at_table: tuple[float, float]
    """Where along the join it is worst."""
    expected: tuple[float, float]
    """mm: this section's ink less the earlier, as far as the readings tell."""
    error: float
    """95% have less, in mm."""


class InkedPoints(Struct, frozen=True):
    """A section as it is inked, and how far its ink is to be trusted."""

    setup: Setup
    network: Network
    """With the section inked so."""
    worst_at: tuple[float, float]
    error: float
    """95% have less at the worst inked point, in mm from true."""
    joins: tuple[JoinError, ...]
    taken: StepsTaken | None = None
    """Steps read at its joins before its ink."""

    @property
    def step(self) -> float:
        """The worst join's 95% step, in mm; 0 where nothing lies beside it."""
        return max((join.error for join in self.joins), default=0.0)


class Between(Struct, frozen=True):
    """One choice between the two wishes, and what each of them gets."""

    weight: float
    """0 for the table, 1 for the join."""
    change: FloatArray
    """(k,): how far from true the ink is meant to lie, as a small change of the pose."""
    error: float
    """95% at the worst inked point, in mm from true."""
    step: float
    """95% at the worst join, in mm; 0 where nothing lies beside it."""


def visible(error: float, step: float, limits: Allowed) -> float:
    """The larger of two errors, each over its limit: above 1 it shows."""
    return max(error / limits.tolerance, step / limits.step)


def inked(
    gained: Gain,
    setup: Setup,
    points: FloatArray,
    joins: Mapping[str, FloatArray],
    taken: StepsTaken | None = None,
) -> InkedPoints:
    """What comes of inking `setup`, whose readings `gained` is of.

    `points` (n, 2) are of its ink, `joins` (m, 2) of the lines it shares, by neighbour; `taken`
    are steps that its halves of verniers showed before.
    """
    after = with_inked(gained, setup, misfit(gained.network, setup))
    after = with_steps(after, () if taken is None else taken.as_inked(setup))
    mean, spread = ink_error(after, setup.section, points)
    radii = radius_95(spread, mean)
    worst = first_of_greatest(radii)
    found = []
    for beside, crossings in joins.items():
        mean, spread = join_step(after, setup.section, beside, crossings)
        steps = radius_95(spread, mean)
        most = first_of_greatest(steps)
        found.append(
            JoinError(beside, _pair(crossings[most]), _pair(mean[most]), float(steps[most]))
        )
    worst_at = _pair(points[worst])
    return InkedPoints(setup, after, worst_at, float(radii[worst]), tuple(found), taken)


def trade_off(
    settled: InkedPoints,
    points: FloatArray,
    joins: Mapping[str, FloatArray],
    weights: Sequence[float] = WEIGHTS,
) -> tuple[Between, ...]:
    """What lies between the table and the join; `settled` is inked with the best estimate.

    For each weight w the choice that makes (1 - w) times the mean squared error of the ink plus w
    times the mean squared step at its joins least.
    """
    setup, network = settled.setup, settled.network
    if not joins:
        return (Between(0.0, np.zeros(PARAMETERS[setup.kind]), settled.error, 0.0),)
    crossings = np.concatenate(list(joins.values()))
    steps = [join_step(network, setup.section, beside, at) for beside, at in joins.items()]
    apart = np.concatenate([mean for mean, _ in steps])
    step_spread = np.concatenate([spread for _, spread in steps])
    off, spread = ink_error(network, setup.section, points)
    at_ink = effect(setup.kind, points, setup.pose.about)
    at_join = effect(setup.kind, crossings, setup.pose.about)
    ways = []
    for weight in weights:
        change = wanted_change(at_ink, at_join, -apart, weight)
        error = radius_95(spread, off + at_ink @ change).max()
        step = radius_95(step_spread, apart + at_join @ change).max()
        ways.append(Between(weight, change, float(error), float(step)))
    return tuple(ways)


def least_visible(ways: Sequence[Between], limits: Allowed) -> Between:
    """The way whose larger error, each over its limit, is least; nearest the table of equals."""
    return min(ways, key=lambda way: (round(visible(way.error, way.step, limits), 9), way.weight))


def set_back(setup: Setup, way: Between) -> Setup:
    """`setup` with the pose that makes its ink lie as `way` means it to.

    Ink that is to lie off true is inked as if the device stood as much the other way.
    """
    return replace(setup, pose=changed(setup.pose, -way.change))


def wanted_change(
    at_ink: FloatArray, at_join: FloatArray, earlier: FloatArray, weight: float
) -> FloatArray:
    """The change (k,) of the ink from true that balances both wishes.

    `at_ink` (n, 2, k) and `at_join` (m, 2, k) say what a change does; `earlier` (m, 2) or
    (m, 2, runs) is how far the ink beside lies from true.
    """
    table = np.einsum("nik,nil->kl", at_ink, at_ink) * (1 - weight) / len(at_ink)
    join = np.einsum("nik,nil->kl", at_join, at_join) * weight / len(at_join)
    pull = np.einsum("nik,ni...->k...", at_join, earlier) * weight / len(at_join)
    # At the join's own end its few points may leave a turn open; the least change is meant.
    wanted: FloatArray = np.linalg.lstsq(table + join, pull, rcond=1e-12)[0]
    return wanted


def _pair(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])
