"""Every reading of a job adjusted at once by least squares, and how well it all closes.

It gives the same state as taking the setups one after another with `marking.network.network.ink`;
what it adds is the closure of each reading and each tape setting. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from marking.errors import BadInputError, RefusedError
from marking.least_squares.chi_square import exceeded
from marking.least_squares.linear import Solution, solve
from marking.least_squares.readings_test import against_others
from marking.network.datum import EXACT, explained
from marking.network.network import Network, known, section_effect
from marking.network.pose import PARAMETERS, effect

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from marking.arrays import FloatArray
    from marking.network.datum import Datum
    from marking.network.network import KnownMark, Setup


@dataclass(frozen=True)
class Closure:
    """How one reading, or one tape setting of a mark, agrees with all the others."""

    mark: str
    section: str | None
    """Which section read it; None for the tape."""
    misclosure: FloatArray
    """(2,) mm: this observation less what all the others say it should be."""
    in_sds: float
    """Its length over its own standard deviation; nan where nothing else checks it."""


@dataclass(frozen=True)
class Adjusted:
    """A job's network with its closures."""

    network: Network
    closures: tuple[Closure, ...]
    variance_factor: float
    """1 is expected; nan where nothing is checked."""
    limits: tuple[float, float]
    """Between these the factor lies in 95 of 100 jobs whose standard deviations are right."""
    degrees: int


def adjust(targets: Iterable[KnownMark], setups: Sequence[Setup], datum: Datum = EXACT) -> Adjusted:
    """All `setups`, in any order, and all tape settings from `datum`, adjusted together.

    Raises BadInputError for marks unknown or inked by no setup, and RefusedError naming a
    section whose readings cannot place it.
    """
    network = _laid_out(known(targets, datum), setups)
    _check_tied(setups)
    design, observed, sd, names = _equations(network, setups)
    if not names:
        return Adjusted(network, (), float("nan"), (float("nan"), float("nan")), 0)
    solution = solve(design, observed, sd)
    # A mark's own row says that it lies at its place: what the datum moves it by breaks that.
    moves = _moves(network, names) / sd[:, None]
    placed = replace(
        network,
        mean=solution.unknowns,
        by_tape=solution.covariance,
        common=solution.covariance @ (design / sd[:, None]).T @ moves,
    )
    solution = _with_datum(solution, sd, moves)
    degrees = solution.degrees
    limits = (float("nan"), float("nan"))
    if degrees:
        low, high = (exceeded(p, degrees) / degrees for p in (0.975, 0.025))
        limits = (low, high)
    return Adjusted(
        placed, _closures(solution, sd, names), solution.variance_factor, limits, degrees
    )


def _laid_out(network: Network, setups: Sequence[Setup]) -> Network:
    """Where each block stands; the state itself is still empty."""
    inked = {setup.section: setup for setup in setups}
    if len(inked) < len(setups):
        raise BadInputError("a section is given twice; each is inked once")
    places: dict[str, slice] = {}
    size = 0
    for setup in setups:
        for reading in setup.readings:
            target = network.targets.get(reading.mark)
            if target is None or any(by not in inked for by, _ in target.inkers):
                raise BadInputError(
                    f"section {setup.section} reads mark {reading.mark}, which no section here "
                    "has inked and no tape has set"
                )
            own = f"mark {reading.mark}"
            if target.sd and own not in places:
                places[own] = slice(size, size + 2)
                size += 2
        places[setup.section] = slice(size, size + PARAMETERS[setup.kind])
        size = places[setup.section].stop
    return replace(
        network,
        setups=inked,
        places=places,
        mean=np.zeros(size),
        by_tape=np.zeros((size, size)),
        common=np.zeros((size, 2)),
    )


def _check_tied(setups: Sequence[Setup]) -> None:
    for setup in setups:
        marks = {reading.mark for reading in setup.readings}
        if 2 * len(marks) < PARAMETERS[setup.kind]:
            raise RefusedError(
                f"section {setup.section} has readings of {len(marks)} "
                f"mark{'' if len(marks) == 1 else 's'}, too few to place it"
            )


Name = tuple[str, str | None]


def _equations(
    network: Network, setups: Sequence[Setup]
) -> tuple[FloatArray, FloatArray, FloatArray, list[Name]]:
    """Design, observations and sds, two rows for each name: (mark, section or None)."""
    size = network.mean.size
    rows: list[FloatArray] = []
    observed: list[FloatArray] = []
    sds: list[float] = []
    names: list[Name] = []
    for place, block in network.places.items():
        if place in network.setups:
            continue
        mark = place.removeprefix("mark ")
        row = np.zeros((2, size))
        row[:, block] = np.eye(2)
        rows.append(row)
        observed.append(np.zeros(2))
        sds.append(network.targets[mark].sd)
        names.append((mark, None))
    for setup in setups:
        for reading in setup.readings:
            at = np.array([network.targets[reading.mark].mark.at_table])
            rows.append(_reading_row(network, setup, reading.mark, at))
            observed.append(at[0] - setup.pose(np.array(reading.at)))
            sds.append(reading.sd)
            names.append((reading.mark, setup.section))
    if not rows:
        return np.zeros((0, size)), np.zeros(0), np.zeros(0), names
    return np.concatenate(rows), np.concatenate(observed), np.repeat(sds, 2), names


def _reading_row(network: Network, setup: Setup, mark: str, at: FloatArray) -> FloatArray:
    """(2, n): how a mark less its reading moves with the section's error and the mark's."""
    row = np.zeros((2, network.mean.size))
    row[:, network.places[setup.section]] += effect(setup.kind, at, setup.pose.about)[0]
    target = network.targets[mark]
    for by, axes in target.inkers:
        row[axes, network.places[by]] -= section_effect(network, by, at)[0][axes]
    if target.sd:
        row[:, network.places[f"mark {mark}"]] -= np.eye(2)
    return row


def _moves(network: Network, names: Sequence[Name]) -> FloatArray:
    """(m, 2): how the datum's errors move each observation's truth."""
    rows = [
        _target_moves(network.datum, network.targets[mark]) if section is None else np.zeros((2, 2))
        for mark, section in names
    ]
    return np.concatenate(rows)


def _target_moves(datum: Datum, target: KnownMark) -> FloatArray:
    """(2, 2): how the datum's errors move a mark's own block; not at all if a section inked it."""
    if target.inked_by is not None:
        return np.zeros((2, 2))
    moves: FloatArray = datum.moves(np.array([target.mark.at_table]))[0]
    return moves


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


def _closures(solution: Solution, sd: FloatArray, names: Sequence[Name]) -> tuple[Closure, ...]:
    """Each observation against all the others, from the one solution."""
    over = (-solution.residuals / sd).reshape(-1, 2)
    spanned = solution.hat.reshape(len(names), 2, -1)
    blocks = np.eye(2) - spanned @ spanned.transpose(0, 2, 1)
    found = against_others(over, blocks, np.ones(len(names)))
    # A reading's equation holds the mark less the reading, so its misclosure turns about.
    signs = np.array([1.0 if section is None else -1.0 for _, section in names])
    misclosures = signs[:, None] * found.off * sd.reshape(-1, 2)
    return tuple(
        Closure(mark, section, misclosure, in_sds)
        for (mark, section), misclosure, in_sds in zip(
            names, misclosures, found.in_sds.tolist(), strict=True
        )
    )
