"""Every reading of a job adjusted at once by least squares, and how well it all closes.

It gives the same state as taking the setups one after another with `marking.network.misfits.ink`;
what it adds is the closure of each reading and each tape setting. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.errors import BadInputError, RefusedError
from marking.least_squares.chi_square import exceeded
from marking.least_squares.linear import Solution, solve
from marking.least_squares.readings_test import against_others
from marking.network.datum import EXACT, explained
from marking.network.error_model import NO_ERRORS
from marking.network.misfits import misfit
from marking.network.network import even, joined, known, unmet
from marking.network.pose import PARAMETERS
from marking.network.steps import ready, step_rows
from marking.network.worth_of_readings import equations

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from marking.arrays import FloatArray
    from marking.network.datum import Datum
    from marking.network.error_model import ErrorModel
    from marking.network.network import KnownMark, Network, Setup
    from marking.network.shared_errors import Block
    from marking.network.steps import StepRead


class Closure(Struct, frozen=True):
    """How one reading, or one tape setting of a mark, agrees with all the others."""

    mark: str
    section: str | None
    """Which section read it; None for the tape."""
    misclosure: FloatArray
    """(2,) mm: this observation less what all the others say it should be."""
    in_sds: float
    """Its length over its own standard deviation; nan where nothing else checks it."""


class Adjusted(Struct, frozen=True):
    """A job's network with its closures."""

    network: Network
    closures: tuple[Closure, ...]
    variance_factor: float
    """1 is expected; nan where nothing is checked."""
    limits: tuple[float, float]
    """Between these the factor lies in 95 of 100 jobs whose standard deviations are right."""
    degrees: int


def adjust(
    targets: Iterable[KnownMark],
    setups: Sequence[Setup],
    datum: Datum = EXACT,
    errors: ErrorModel = NO_ERRORS,
    steps: Sequence[StepRead] = (),
) -> Adjusted:
    """All `setups`, in any order, and all tape settings from `datum`, adjusted together.

    With them `steps` read between any of these, and what `errors` says. Raises BadInputError for
    marks unknown or inked by no setup, and RefusedError naming a section whose readings cannot
    place it.
    """
    network, own = _laid_out(known(targets, datum, errors), setups)
    _check_tied(setups)
    if not setups:
        return Adjusted(network, (), float("nan"), (float("nan"), float("nan")), 0)
    found = _equations(network, setups, own, ready(steps, network))
    solution = solve(found.design, found.observed, found.sd)
    # Unknowns are each block's own errors over their sizes, which move others too, then the poses.
    onto = np.eye(len(network.mean))
    onto[: len(own), : len(own)] = own
    weighed = (found.design / found.sd[:, None] ** 2).T @ found.moved
    placed = replace(
        network,
        mean=network.mean + onto @ solution.unknowns,
        by_tape=even(onto @ solution.covariance @ onto.T),
        common=network.common + onto @ solution.covariance @ weighed,
    )
    solution = _with_datum(solution, found.sd, found.moved / found.sd[:, None])
    # Each error believed before is an observation of nothing: what it adds it takes away again.
    degrees = solution.degrees
    limits = (float("nan"), float("nan"))
    if degrees:
        low, high = (exceeded(p, degrees) / degrees for p in (0.975, 0.025))
        limits = (low, high)
    return Adjusted(placed, _closures(solution, found), solution.variance_factor, limits, degrees)


def _laid_out(network: Network, setups: Sequence[Setup]) -> tuple[Network, FloatArray]:
    """The network with all blocks, nothing read yet; and how one standard deviation of each of
    their own errors moves them, (n, n)."""
    inked = {setup.section: setup for setup in setups}
    if len(inked) < len(setups):
        raise BadInputError("a section is given twice; each is inked once")
    network = replace(network, setups=inked)
    blocks: dict[str, Block] = {}
    for setup in setups:
        for reading in setup.readings:
            target = network.targets.get(reading.mark)
            if target is None or any(by not in inked for by, _ in target.inkers):
                raise BadInputError(
                    f"section {setup.section} reads mark {reading.mark}, which no section here "
                    "has inked and no tape has set"
                )
        read = [reading.mark for reading in setup.readings]
        blocks |= {block.name: block for block in unmet(network, read, setup.clamping)}
    network, by_own = joined(network, list(blocks.values()))
    places, size = dict(network.places), len(network.mean)
    for setup in setups:
        places[setup.section] = slice(size, size + PARAMETERS[setup.kind])
        size = places[setup.section].stop
    more = size - len(network.mean)
    sds = [block.sd for block in blocks.values()]
    laid_out = replace(
        network,
        places=places,
        mean=np.concatenate([network.mean, np.zeros(more)]),
        by_tape=np.zeros((size, size)),
        common=np.concatenate([network.common, np.zeros((more, 2))]),
        follows=np.zeros((size, 0)),
    )
    return laid_out, by_own * np.concatenate([np.zeros(0), *sds])


def _check_tied(setups: Sequence[Setup]) -> None:
    for setup in setups:
        marks = {reading.mark for reading in setup.readings}
        held = 0 if setup.clamping is None else 2 + setup.clamping.stopped
        if 2 * len(marks) + held < PARAMETERS[setup.kind]:
            raise RefusedError(
                f"section {setup.section} has readings of {len(marks)} "
                f"mark{'' if len(marks) == 1 else 's'}, too few to place it"
            )


Name = tuple[str, str | None]


class _JobEquations(Struct, frozen=True):
    """All there is to adjust: what is believed of each own error, then readings and fences."""

    design: FloatArray
    observed: FloatArray
    sd: FloatArray
    moved: FloatArray
    """(rows, 2): how the datum's errors move what each observation should be."""
    points: Sequence[tuple[Name, int, FloatArray]]
    """Of each point observed: mark and section, None for the tape; its first row; mm to the unit
    of x and y (2,), negative where the row holds the mark less the reading."""


def _equations(
    network: Network, setups: Sequence[Setup], own: FloatArray, steps: Sequence[StepRead]
) -> _JobEquations:
    count, size = len(own), len(network.mean)
    designs = [np.eye(count, size)]
    observed, sds, moved = [np.zeros(count)], [np.ones(count)], [np.zeros((count, 2))]
    points: list[tuple[Name, int, FloatArray]] = []
    for place, block in network.places.items():
        mark = place.removeprefix("mark ")
        if mark != place and network.targets[mark].inked_by is None:
            points.append(((mark, None), block.start, np.diag(own)[block]))
    row = count
    for setup in setups:
        about, against = setup.pose.about, setup.against
        rows = equations(network, setup.readings, about, setup.kind, against)
        design = -rows.carrier
        design[:, :count] = design[:, :count] @ own
        design[:, network.places[setup.section]] += rows.design
        designs.append(design)
        observed.append(misfit(network, setup))
        sds.append(np.sqrt(rows.variances))
        moved.append(rows.moved)
        for number, reading in enumerate(setup.readings):
            points.append(((reading.mark, setup.section), row + 2 * number, -np.ones(2)))
        row += len(design)
    if steps:
        told = step_rows(network, steps)
        design = told.by_state.copy()
        design[:, :count] = design[:, :count] @ own
        designs.append(design)
        observed.append(told.off)
        sds.append(np.sqrt(told.variances))
        moved.append(np.zeros((len(steps), 2)))
    return _JobEquations(
        np.concatenate(designs),
        np.concatenate(observed),
        np.concatenate(sds),
        np.concatenate(moved),
        points,
    )


def _with_datum(solution: Solution, sd: FloatArray, moves: FloatArray) -> Solution:
    """The fit judged with the datum's errors, `moves` (m, 2) over `sd`, among its reasons.

    The unknowns stay the tape's.
    """
    over = solution.residuals / sd
    datums = explained(moves - solution.hat @ (solution.hat.T @ moves), moves)
    part = datums.T @ over
    total = float(over @ over - part @ part)
    return replace(
        solution,
        residuals=(over - datums @ part) * sd,
        hat=np.concatenate([solution.hat, datums], axis=1),
        variance_factor=total / solution.degrees if solution.degrees else float("nan"),
    )


def _closures(solution: Solution, found: _JobEquations) -> tuple[Closure, ...]:
    """Each point observed against all the others, from the one solution."""
    rows = np.array([[row, row + 1] for _, row, _ in found.points], dtype=int)
    over = (-solution.residuals / found.sd)[rows]
    spanned = solution.hat[rows]
    blocks = np.eye(2) - spanned @ spanned.transpose(0, 2, 1)
    told = against_others(over, blocks, np.ones(len(rows)))
    # A reading's equation holds the mark less the reading, so its misclosure turns about.
    units = np.array([unit for _, _, unit in found.points])
    misclosures = units * told.off * found.sd[rows]
    return tuple(
        Closure(mark, section, misclosure, in_sds)
        for ((mark, section), _, _), misclosure, in_sds in zip(
            found.points, misclosures, told.in_sds.tolist(), strict=True
        )
    )
