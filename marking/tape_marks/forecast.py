"""What a plan will hold before any ink: the errors to expect at each section and each join.

Told from many covers imagined with the network's own gains, and of each section exactly. It knows
sections and sights, no device. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.measures.ties import first_of_greatest
from marking.network.confidence import radius_95
from marking.network.datum import EXACT
from marking.network.error_model import NO_ERRORS
from marking.sections.neighbours import border, butts, outermost_ink
from marking.tape_marks.figures import Figures, figures
from marking.tape_marks.imagined_covers import COVERS, WorkOnCovers, imagined

if TYPE_CHECKING:
    from collections.abc import Mapping

    from marking.arrays import FloatArray
    from marking.network.allowed_errors import Allowed
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Clamping
    from marking.sections.neighbours import Butt
    from marking.sections.plan import Plan, Section
    from marking.tape_marks.imagined_covers import InkedCovers
    from marking.tape_marks.visible import Sights

_SHARE = 0.95
"""Of covers that keep within what is told."""


class SectionForecast(Struct, frozen=True):
    """What to expect of one section's ink."""

    section: str
    readings: int
    at_table: tuple[float, float]
    """Its worst inked point."""
    error: float
    """95% of covers have less there, in mm."""
    sd: float
    """One standard deviation of the error there, both axes together, in mm."""


class JoinForecast(Struct, frozen=True):
    """What to expect where two sections butt."""

    sections: tuple[str, str]
    at_table: tuple[float, float]
    step: float
    """95% of covers have a smaller step there, sideways of the lines that cross, in mm."""


class Forecast(Struct, frozen=True):
    """A whole cover before any ink."""

    order: tuple[str, ...]
    sections: tuple[SectionForecast, ...]
    """In inking order."""
    joins: tuple[JoinForecast, ...]
    worst_line: float
    """95% of covers have no ink further from true than this anywhere, in mm."""
    worst_step: float
    """95% of covers have no larger step at any join, sideways of the line, in mm."""
    readings: int
    marks: int
    """Tape marks to set out."""
    limits: Allowed
    figures: Figures
    """What 95% of covers keep within, sideways of each line."""

    @property
    def holds(self) -> bool:
        """Whether 95 of 100 covers keep to each of the limits all over."""
        return not self.broken

    @property
    def broken(self) -> tuple[str, ...]:
        """The limits that are not kept, by the names of `Allowed`."""
        return tuple(name for name, (figure, limit) in self.against.items() if figure > limit)

    @property
    def against(self) -> dict[str, tuple[float, float]]:
        """What is told and what is allowed, by the names of `Allowed`, in mm."""
        limits, figures = self.limits, self.figures
        return {
            # Any ink within the total of true, too: so a section is judged when it is placed.
            "total": (max(self.worst_line, figures.total), limits.total),
            "square": (figures.square, limits.square),
            "neighbours": (figures.neighbours, limits.neighbours),
            "step": (figures.step, limits.step),
        }


def forecast(
    plan: Plan,
    seen: Sights,
    reading_sd: float,
    limits: Allowed,
    repeats: int = 1,
    datum: Datum = EXACT,
    *,
    errors: ErrorModel = NO_ERRORS,
    fences: Mapping[str, Clamping] | None = None,
    follow: float = 0.0,
) -> Forecast:
    """What `plan` holds with these sights, each mark read `repeats` times to `reading_sd` mm.

    `datum` is what the marks set by tape share: more marks do not lessen its errors; `errors` is
    what errs beside them. `fences` says what each section is pushed against, where anything;
    `follow` how far each meets the ink beside it, from 0, true to the table, to 1. Raises
    RefusedError naming the first section that sees too few marks to be placed.
    """
    sections = {section.id: section for section in plan.sections}
    joints = butts(plan.sections)
    sd = reading_sd / repeats**0.5
    covers = imagined(WorkOnCovers(sections, seen, sd, joints, datum, errors, fences, follow))
    found, worst_line = [], np.zeros(COVERS)
    for name in seen.order:
        points = outermost_ink(sections[name])
        spread = covers.covariance(name, points)
        radii = radius_95(spread)
        worst = first_of_greatest(radii)
        at = float(points[worst, 0]), float(points[worst, 1])
        read = len(seen.seen[name]) * repeats
        one = float(np.sqrt(np.trace(spread[worst])))
        found.append(SectionForecast(name, read, at, float(radii[worst]), one))
        worst_line = np.maximum(worst_line, _longest(covers.off(name, points)))
    kept = {name: float(np.quantile(each, _SHARE)) for name, each in figures(plan, covers).items()}
    return Forecast(
        seen.order,
        tuple(found),
        tuple(_step(covers, sections, butt) for butt in joints),
        float(np.quantile(worst_line, _SHARE)),
        kept["step"],
        sum(section.readings for section in found),
        sum(target.inked_by is None for target in seen.targets.values()),
        limits,
        Figures(**kept),
    )


def _longest(off: FloatArray) -> FloatArray:
    """(covers,): the largest displacement among points (n, 2, covers)."""
    longest: FloatArray = np.hypot(off[:, 0], off[:, 1]).max(axis=0)
    return longest


def _step(covers: InkedCovers, sections: Mapping[str, Section], butt: Butt) -> JoinForecast:
    """What to expect at the worst end of one join."""
    one, two = butt.sections
    points = butt.points_table
    join = border(sections[one], sections[two])
    sideways = 1 if join is not None and join[0] == join[2] else 0
    apart = (covers.off(one, points) - covers.off(two, points))[:, sideways]
    told = np.quantile(np.abs(apart), _SHARE, axis=1)
    most = first_of_greatest(told)
    place = float(points[most, 0]), float(points[most, 1])
    return JoinForecast(butt.sections, place, float(told[most]))
