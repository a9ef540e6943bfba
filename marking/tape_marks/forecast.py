"""What a plan will hold before any ink: the errors to expect at each section and each join.

The network's own propagation, run over the inking order with readings that have a standard
deviation and no figures yet. It knows sections and sights, no device. Table frame, mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marking.errors import RefusedError
from marking.measures.ties import first_of_greatest
from marking.network.datum import EXACT
from marking.network.network import Reading, Setup, gain, known, only, with_inked
from marking.network.pose import as_planned, effect
from marking.network.regions import radius_95
from marking.sections.neighbours import Butt, butts, outermost_ink, window_middle

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.network.allowed import Allowed
    from marking.network.datum import Datum
    from marking.network.network import Network
    from marking.sections.plan import Plan, Section
    from marking.tape_marks.visible import Sights

_COVERS = 2000
_SEED = 20


@dataclass(frozen=True)
class SectionForecast:
    """What to expect of one section's ink."""

    section: str
    readings: int
    at_table: tuple[float, float]
    """Its worst inked point."""
    error: float
    """95% of covers have less there, in mm."""
    sd: float
    """One standard deviation of the error there, both axes together, in mm."""


@dataclass(frozen=True)
class JoinForecast:
    """What to expect where two sections butt."""

    sections: tuple[str, str]
    at_table: tuple[float, float]
    step: float
    """95% of covers have a smaller step there, in mm."""


@dataclass(frozen=True)
class Forecast:
    """A whole cover before any ink."""

    order: tuple[str, ...]
    sections: tuple[SectionForecast, ...]
    """In inking order."""
    joins: tuple[JoinForecast, ...]
    worst_line: float
    """95% of covers have no ink further from true than this anywhere, in mm."""
    worst_step: float
    """95% of covers have no larger step at any join, in mm."""
    readings: int
    marks: int
    """Tape marks to set out."""
    limits: Allowed

    @property
    def holds(self) -> bool:
        """Whether 95 of 100 covers keep to both limits all over."""
        return self.worst_line <= self.limits.tolerance and self.worst_step <= self.limits.step


@dataclass(frozen=True)
class Errors:
    """The joint normal distribution of every section's ink error; its mean is zero."""

    places: Mapping[str, slice]
    centres: Mapping[str, FloatArray]
    covariance: FloatArray
    """(3 sections, 3 sections), before anyone knows what will be read."""


def forecast(
    plan: Plan,
    seen: Sights,
    reading_sd: float,
    limits: Allowed,
    repeats: int = 1,
    datum: Datum = EXACT,
) -> Forecast:
    """What `plan` holds with these sights, each mark read `repeats` times to `reading_sd` mm.

    `datum` is what the marks set by tape share: more marks do not lessen its errors.
    Raises RefusedError naming the first section that sees too few marks to be placed.
    """
    errors = ink_errors(plan, seen, reading_sd / repeats**0.5, datum)
    sections = {section.id: section for section in plan.sections}
    drawn = _covers(errors)
    found, worst_line = [], np.zeros(_COVERS)
    for name in seen.order:
        points = outermost_ink(sections[name])
        at, spread = _at(errors, name, points)
        radii = radius_95(spread)
        worst = first_of_greatest(radii)
        sd = float(np.sqrt(np.trace(spread[worst])))
        place = float(points[worst, 0]), float(points[worst, 1])
        read = len(seen.seen[name]) * repeats
        found.append(SectionForecast(name, read, place, float(radii[worst]), sd))
        worst_line = np.maximum(worst_line, _longest(drawn[:, errors.places[name]], at))
    joints, worst_step = _joins(errors, butts(plan.sections), drawn)
    return Forecast(
        seen.order,
        tuple(found),
        joints,
        float(np.quantile(worst_line, 0.95)),
        worst_step,
        sum(section.readings for section in found),
        sum(target.inked_by is None for target in seen.targets.values()),
        limits,
    )


def ink_errors(plan: Plan, seen: Sights, reading_sd: float, datum: Datum = EXACT) -> Errors:
    """How every section's ink will err, each inked where the readings until then place it.

    Later readings tell more of ink that lies already, but do not move it: of each pair of
    sections the covariance is taken when the second is inked. The datum shifts ink as it did
    when that was laid.
    """
    sections = {section.id: section for section in plan.sections}
    last = {mark: count for count, name in enumerate(seen.order) for mark in seen.seen[name]}
    network = known(seen.targets.values(), datum)
    places: dict[str, slice] = {}
    covariance = np.zeros((3 * len(sections), 3 * len(sections)))
    common = np.zeros((3 * len(sections), 2))
    for count, name in enumerate(seen.order):
        network = _inked(network, sections[name], seen.seen[name], reading_sd)
        places[name] = slice(3 * count, 3 * count + 3)
        kept = np.r_[tuple(network.places[other] for other in places)]
        row = network.by_tape[network.places[name]][:, kept]
        common[places[name]] = network.common[network.places[name]]
        covariance[places[name], : 3 * count + 3] = row
        covariance[: 3 * count + 3, places[name]] = row.T
        done = {f"mark {mark}" for mark in last if last[mark] <= count}
        network = only(network, [place for place in network.places if place not in done])
    centres = {name: window_middle(section) for name, section in sections.items()}
    return Errors(places, centres, covariance + common @ common.T)


def _inked(network: Network, section: Section, marks: Sequence[str], reading_sd: float) -> Network:
    at = np.array([network.targets[mark].mark.at_table for mark in marks])
    if len(at) < 2 or float(np.ptp(at, axis=0).max()) < 1.0:
        raise RefusedError(
            f"section {section.id} sees {len(marks) or 'no'} mark{'' if len(marks) == 1 else 's'} "
            "when its turn comes, too few to place it; set tape marks inside its window"
        )
    readings = tuple(
        Reading(mark, (float(x), float(y)), reading_sd)
        for mark, (x, y) in zip(marks, at, strict=True)
    )
    setup = Setup(section.id, as_planned(window_middle(section)), readings)
    gained = gain(network, readings, setup.pose.about, "rigid")
    return with_inked(gained, setup, np.zeros(2 * len(readings)))


def _at(errors: Errors, name: str, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How a section's error moves its points (n, 2, 3), and their covariance (n, 2, 2)."""
    by_point = effect("rigid", points, errors.centres[name])
    block = errors.places[name]
    return by_point, by_point @ errors.covariance[block, block] @ by_point.transpose(0, 2, 1)


def _covers(errors: Errors) -> FloatArray:
    """Errors of all sections of many imagined covers (covers, 3 sections)."""
    values, vectors = np.linalg.eigh(errors.covariance)
    normal = np.random.default_rng(_SEED).standard_normal((_COVERS, len(values)))
    # The symmetric root is the covariance's alone. Eigenvectors by themselves may point either
    # way, or anywhere where values are equal: another processor would imagine other covers.
    drawn: FloatArray = normal @ ((vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
    return drawn


def _longest(drawn: FloatArray, by_point: FloatArray) -> FloatArray:
    """The largest displacement of each cover (covers,) over points."""
    moved = np.einsum("rk,nik->rni", drawn, by_point)
    longest: FloatArray = np.hypot(moved[..., 0], moved[..., 1]).max(axis=1)
    return longest


def _joins(
    errors: Errors, joints: Sequence[Butt], drawn: FloatArray
) -> tuple[tuple[JoinForecast, ...], float]:
    found, worst = [], np.zeros(len(drawn))
    for butt in joints:
        one, two = butt.sections
        points = butt.points_table
        index = np.r_[errors.places[one], errors.places[two]]
        both = np.concatenate(
            [
                effect("rigid", points, errors.centres[one]),
                -effect("rigid", points, errors.centres[two]),
            ],
            axis=2,
        )
        spread = both @ errors.covariance[np.ix_(index, index)] @ both.transpose(0, 2, 1)
        radii = radius_95(spread)
        most = first_of_greatest(radii)
        place = float(points[most, 0]), float(points[most, 1])
        found.append(JoinForecast(butt.sections, place, float(radii[most])))
        worst = np.maximum(worst, _longest(drawn[:, index], both))
    return tuple(found), float(np.quantile(worst, 0.95))
