"""From readings to where a section's device stands, how surely, and whether to ink.

The one place where resection, blunders, blend and re-cutting meet. It knows a section and the
network, no machine and no file. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import BadInputError, RefusedError
from marking.network.datum import EXACT
from marking.network.error_model import NO_ERRORS
from marking.network.network import Setup, drawing
from marking.network.part_of_network import concerning
from marking.network.pose import FEWEST_MARKS, changed
from marking.network.resection import resect
from marking.network.shared_errors import PLOTTER
from marking.network.steps import misread
from marking.placement.compromise import (
    WEIGHTS,
    Between,
    InkedPoints,
    inked,
    least_visible,
    set_back,
    trade_off,
    visible,
)
from marking.placement.laid_ink import section_of
from marking.placement.one_more_mark import Addition, best_addition
from marking.placement.recut import NeededMove, carried, needed_move
from marking.placement.slips import Doubt, doubts
from marking.sections.mended import section_mended
from marking.sections.neighbours import outermost_ink, window_middle

if TYPE_CHECKING:
    from collections.abc import Container, Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.network.allowed_errors import Allowed
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.fence import Against
    from marking.network.network import KnownMark, Network, Reading
    from marking.network.pose import Pose, PoseKind
    from marking.network.resection import Resection
    from marking.network.steps import StepRead, StepsTaken
    from marking.sections.neighbours import Butt
    from marking.sections.plan import Section

PlacementVerdict = Literal["ink", "read again", "move the device", "add a mark"]
_EDGE = 1e-6
_ROUNDS = 3
"""After which a pose that steps have improved is at rest to 1e-6 mm."""
_NEARBY = 100.0
"""How far outside its planned window, in mm, a device badly set down may still read a mark."""


class Residual(Struct, frozen=True):
    """How one reading agrees with the placement and with the other readings."""

    mark: str
    misfit: tuple[float, float]
    """mm: the mark as believed, less where this reading puts it."""
    off_others: float
    """mm from where all the others put the mark; nan where they cannot."""
    in_sds: float
    """The same over its standard deviation."""


class Placement(Struct, frozen=True):
    """Where a device stands, and what may be done there."""

    section: Section
    pose: Pose
    """The best estimate, from the plan to the table."""
    covariance: FloatArray
    """(k, k) of a small change of it on the table: shift x, shift y in mm, turn in radians…"""
    residuals: tuple[Residual, ...]
    doubts: tuple[Doubt, ...]
    move: NeededMove | None
    """How the device must be moved before the section fits."""
    inking: InkedPoints
    """The pose to ink with, its errors and the network it leaves."""
    way: Between
    """The choice between table and join that it is inked with."""
    ways: tuple[Between, ...]
    """What other weights would give, from the table to the join."""
    addition: Addition | None
    """The one mark more that helps most, where one is needed."""
    verdict: PlacementVerdict
    advice: str

    @property
    def recut(self) -> Section:
        """The section as the device must draw it.

        Raises RefusedError when readings are in doubt or the device must be moved.
        """
        if self.verdict in ("read again", "move the device"):
            raise RefusedError(f"section {self.section.id} is not to be inked: {self.advice}")
        return carried(self.section, self.inking.setup.pose)


def place(
    network: Network,
    section: Section,
    readings: Sequence[Reading],
    joints: Sequence[Butt],
    limits: Allowed,
    *,
    kind: PoseKind = "rigid",
    weight: float | None = None,
    follow: float | None = None,
    bed_origin: tuple[float, float] | None = None,
    against: Against | None = None,
    taken: StepsTaken | None = None,
) -> Placement:
    """Where the device of `section` stands, from what is known so far and its `readings`.

    `weight` runs from 0, true to the table, to 1, meeting the join; the least visible error
    chooses it unless given, or `follow` is, and what it gives does not show. `bed_origin` is the
    as-planned table point of the bed's 0, 0, the window's low corner unless given; `against` is
    what the device was pushed against, `taken` what verniers at joins to earlier ink showed once
    this section had drawn its halves. It is inked for the plotter's scale and skew as they are
    known by then. Raises BadInputError for readings that cannot be, and RefusedError when they
    cannot tell where the device stands.
    """
    _check(network, section, readings, kind, weight, against)
    found = resect(network, readings, window_middle(section), kind, against)
    setup, pose, spread = _setup(section.id, found), found.pose, found.gain.spread
    joins = _earlier_joins(network, section, joints)
    ink_points = outermost_ink(section)
    settled = inked(found.gain, setup, ink_points, joins)
    unsure = _steps_in_doubt(settled, taken)
    if taken is not None and unsure:
        # They place nothing; its halves lie where they were drawn, to be read again.
        settled = replace(settled, taken=replace(taken, steps=()))
    elif taken is not None:
        settled = _by_steps(found, settled, ink_points, joins, taken)
        setup, pose = settled.setup, settled.setup.stands
        spread = settled.network.spread_of(np.r_[settled.network.places[section.id]])
    ways = trade_off(settled, ink_points, joins, WEIGHTS if weight is None else (weight,))
    way = least_visible(ways, limits)
    if weight is None and follow is not None and joins:
        (as_planned,) = trade_off(settled, ink_points, joins, (follow,))
        way = as_planned if visible(as_planned.error, as_planned.step, limits) <= 1 else way
    inking = settled
    if way.weight:
        inking = inked(found.gain, set_back(setup, way), ink_points, joins, settled.taken)
    origin = (section.window[0], section.window[1]) if bed_origin is None else bed_origin
    doubted = (*doubts(network, found, origin), *unsure)
    move = needed_move(section, inking.setup.pose)
    shows = visible(inking.error, inking.step, limits) > 1
    addition = None
    if shows and not doubted and move is None:
        addition = best_addition(network, section, pose, inking, ink_points, joins, limits)
    verdict, advice = _verdict(section, inking, limits, doubted, move, addition)
    return Placement(
        section,
        pose,
        spread,
        _residuals(found),
        doubted,
        move,
        inking,
        way,
        ways,
        addition,
        verdict,
        advice,
    )


def _by_steps(
    found: Resection,
    settled: InkedPoints,
    points: FloatArray,
    joins: Mapping[str, FloatArray],
    taken: StepsTaken,
) -> InkedPoints:
    """`settled` inked with the estimate that `taken` leaves."""
    setup = settled.setup
    for _ in range(_ROUNDS):
        settled = inked(found.gain, setup, points, joins, taken)
        stood = settled.network.mean[settled.network.places[setup.section]]
        setup = replace(setup, pose=changed(setup.pose, stood))
    return inked(found.gain, setup, points, joins, taken)


def _steps_in_doubt(settled: InkedPoints, taken: StepsTaken | None) -> tuple[Doubt, ...]:
    wrong = None if taken is None else misread(settled.network, taken.as_inked(settled.setup))
    if wrong is None or taken is None:
        return ()
    shown = next(step for step in taken.steps if step.id == wrong.step.id)
    meant = shown.step - wrong.step.step + wrong.expected.step
    others = f", or it is {' or '.join(wrong.rivals)} that is wrong" if wrong.rivals else ""
    return (
        Doubt(
            "misread",
            (shown.id, *wrong.rivals),
            f"vernier {shown.id} was read as {shown.step:+.2f} mm, and all else says "
            f"{meant:+.2f} mm, to {1.96 * wrong.expected.sd:.2f}{others}: look on which side of "
            "the long lines they meet, and read it again",
        ),
    )


def _setup(section: str, found: Resection) -> Setup:
    """The section inked from where it stands, for the plotter as it is known by now."""
    network = found.gain.network
    plain = Setup(section, found.pose, found.readings, found.kind, against=found.against)
    if PLOTTER not in network.places:
        return plain
    block = network.places[PLOTTER]
    told = network.mean[block] + found.gain.correction[block] @ found.left
    along, across, skew = (float(part) for part in told)
    pose = replace(found.pose, matrix=found.pose.matrix @ drawing((along, across, skew)))
    return replace(plain, pose=pose, drawn_for=(along, across, skew))


def network_for(
    section: Section,
    targets: Sequence[KnownMark],
    setups: Sequence[Setup],
    joints: Sequence[Butt],
    datum: Datum = EXACT,
    unreadable: Container[str] = (),
    *,
    errors: ErrorModel = NO_ERRORS,
    against: Against | None = None,
    steps: Sequence[StepRead] = (),
) -> Network:
    """The network that `place` needs for `section`, from a job's `setups` as they were inked.

    It knows the marks in and near the section's window, and the ink the section butts against,
    its own among it where it was begun from another place.
    """
    x0, y0, x1, y1 = section.window
    inked = {setup.section for setup in setups}
    near = [
        target.mark.id
        for target in targets
        if x0 - _NEARBY <= target.mark.at_table[0] <= x1 + _NEARBY
        and y0 - _NEARBY <= target.mark.at_table[1] <= y1 + _NEARBY
        and target.mark.id not in unreadable
    ]
    beside = [name for butt in joints if section.id in butt.sections for name in butt.sections]
    own = [name for name in inked if section_of(name) == section.id]
    wanted = [*own, *(name for name in beside if name in inked)]
    clamping = against.clamping if against is not None else None
    return concerning(targets, setups, near, wanted, datum, errors, clamping, steps)


def _check(
    network: Network,
    section: Section,
    readings: Sequence[Reading],
    kind: PoseKind,
    weight: float | None,
    against: Against | None,
) -> None:
    if section.id in network.setups:
        raise BadInputError(
            f"section {section.id} is inked already; readings for it would place nothing"
        )
    if weight is not None and not 0 <= weight <= 1:
        raise BadInputError(f"a weight of {weight:g} is not between 0 (table) and 1 (join)")
    for count, reading in enumerate(readings):
        _check_reading(network, section, reading)
        if any((reading.mark, reading.at) == (r.mark, r.at) for r in readings[:count]):
            raise BadInputError(
                f"mark {reading.mark} is given twice with the very same figures; a second reading "
                "has to be taken anew, so leave one of them out"
            )
    if against is not None:
        return
    marks = len({reading.mark for reading in readings})
    fewest = FEWEST_MARKS[kind] + (kind != "rigid")
    if marks < fewest:
        raise RefusedError(
            f"section {section.id}: readings of {marks} mark{'' if marks == 1 else 's'} are too "
            f"few for a{'n' if kind == 'affine' else ''} {kind} placement; read at least {fewest}"
            + ("" if kind == "rigid" else ", so that one checks the scale")
        )


def _check_reading(network: Network, section: Section, reading: Reading) -> None:
    x, y = reading.at
    if not np.isfinite([x, y, reading.sd]).all():
        raise BadInputError(f"mark {reading.mark}: a reading must be finite numbers; read it again")
    if reading.sd <= 0:
        raise BadInputError(
            f"mark {reading.mark}: a standard deviation of {reading.sd:g} mm cannot be; a pen "
            "point brought onto a mark by eye is good to about 0.25 mm"
        )
    target = network.targets.get(reading.mark)
    x0, y0, x1, y1 = section.window
    if not (x0 - _EDGE <= x <= x1 + _EDGE and y0 - _EDGE <= y <= y1 + _EDGE):
        raise BadInputError(
            f"mark {reading.mark} is read at {x - x0:.1f}, {y - y0:.1f} mm from the low corner of "
            f"the bed of {section.id}, which is {x1 - x0:.1f} by {y1 - y0:.1f} mm: no pen can "
            f"stand there. {_why_outside(reading, section, target)}"
        )
    if target is not None and target.inked_by == section.id:
        raise BadInputError(
            f"mark {reading.mark} is inked by section {section.id} itself and cannot place it"
        )


def _why_outside(reading: Reading, section: Section, target: KnownMark | None) -> str:
    """What may have gone wrong with a reading that no pen can have given."""
    (x, y), (x0, y0) = reading.at, section.window[:2]
    if target is not None:
        exchanged = (x0 + y - y0, y0 + x - x0)
        if float(np.hypot(*np.subtract(exchanged, target.mark.at_table))) < _NEARBY:
            return (
                "With x and y exchanged it would stand where the mark is: look whether the two "
                "columns are under the right names"
            )
    return "Check the figures and their unit"


def _earlier_joins(
    network: Network, section: Section, joints: Sequence[Butt]
) -> dict[str, FloatArray]:
    """Where the section's lines meet ink that lies already, by the section that inked it."""
    joins: dict[str, FloatArray] = {}
    for butt in joints:
        if section.id in butt.sections:
            one, two = butt.sections
            beside = two if one == section.id else one
            if beside in network.places:
                before = joins.get(beside, np.zeros((0, 2)))
                joins[beside] = np.concatenate([before, butt.points_table])
    return joins


def _residuals(found: Resection) -> tuple[Residual, ...]:
    off = np.hypot(found.off_others[:, 0], found.off_others[:, 1])
    return tuple(
        Residual(
            reading.mark,
            (float(found.misfits[count, 0]), float(found.misfits[count, 1])),
            float(off[count]),
            float(found.in_sds[count]),
        )
        for count, reading in enumerate(found.readings)
    )


def _verdict(
    section: Section,
    inking: InkedPoints,
    limits: Allowed,
    doubted: Sequence[Doubt],
    move: NeededMove | None,
    addition: Addition | None,
) -> tuple[PlacementVerdict, str]:
    if doubted:
        return "read again", "; ".join(doubt.message for doubt in doubted)
    if move is not None:
        return (
            "move the device",
            f"section {section.id} does not fit the bed where the device stands: {move}, then "
            "read the marks again",
        )
    figures = _figures(section, inking, limits)
    if addition is not None:
        return "add a mark", f"{figures}. {addition.message}"
    return "ink", f"{figures}. Ink"


def _figures(section: Section, inking: InkedPoints, limits: Allowed) -> str:
    of_what = "true" if section_mended(section.id) is None else "what lies around it"
    true = (
        f"95 in 100 such placements keep all ink within {inking.error:.2f} mm of {of_what} "
        f"({limits.tolerance:.2f} mm allowed)"
    )
    if not inking.joins:
        return true
    worst = max(inking.joins, key=lambda join: join.error)
    return (
        f"{true} and the step to {worst.beside} within {worst.error:.2f} mm "
        f"({limits.step:.2f} mm allowed)"
    )
