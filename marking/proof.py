"""The verdict on a finished cover, from distances measured on it and adjusted by least squares.

Table frame, millimetres. It knows the tape's own uncertainty and counts it: where the tape is too
coarse to say, it says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.distortion import WHOLE, effect, line_errors
from marking.entries import Columns, read_rows
from marking.errors import BadInputError
from marking.lengths import format_length
from marking.proofplan import SURE, computed, design
from marking.tape import true_length

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from marking.distortion import Distortion
    from marking.lengths import Units
    from marking.proofplan import Distance, ProofPlan
    from marking.tape import Tape

    FloatArray = NDArray[np.float64]

AxisName = Literal["along", "across"]
Outcome = Literal["pass", "fail", "cannot tell", "measure again"]
_COLUMNS = Columns("measured", ("id",), ("length",), pairs=True)
_AXES: tuple[AxisName, AxisName] = ("along", "across")
_MISREAD = 4.5
"""Standard deviations past which a distance is misread."""
_MISPLACED = 4.0
"""Standard deviations past which a section lies outside all that its placement allows."""
_CLEARLY = 4.0
"""How much more, in squares of standard deviations, a misplaced section must explain than a
misread distance before it is believed; one distance alone cannot tell the two apart."""
_SLIP, _STRETCHED = 12.0, 0.003
"""mm, and a share of the length: further off than both, the wrong line was measured to."""
_ANYWHERE = 25.0
"""mm: the prior of a section that is known to be misplaced."""
_FEW = 4
"""So many distances that cannot be are no slips of the tape."""


_Row = tuple[tuple[str, ...], AxisName, "FloatArray"]


@dataclass(frozen=True)
class Estimate:
    """A figure in mm and its standard deviation."""

    value: float
    sd: float

    def certain(self, sds: float = SURE) -> bool:
        """Whether it differs from nothing by more than its doubt."""
        return abs(self.value) > sds * self.sd


@dataclass(frozen=True)
class Step:
    """A section's own error, or the step at the seam of two sections, along one axis."""

    sections: tuple[str, ...]
    axis: AxisName
    estimate: Estimate
    certain: bool


@dataclass(frozen=True)
class Verdict:
    """What the measurements say of a cover."""

    outcome: Outcome
    whole: Mapping[str, Estimate]
    """Each of `WHOLE`, in mm at its worst place."""
    size: tuple[float, float]
    """Along and across, first line to last, in mm."""
    worst_line: Step
    """The line error nearest to, or furthest past, the tolerance."""
    worst_section: Step | None
    worst_seam: Step | None
    in_doubt: tuple[str, ...]
    """Sections whose lines the tape cannot pass or fail."""
    again: tuple[str, ...]
    """Ids of distances that do not fit the others."""
    tolerance: float
    measured: Mapping[str, float]
    """True lengths in mm by id."""


def read_measured(
    path: Path, plan: ProofPlan, units: Units, confirmed: Collection[str] = ()
) -> dict[str, float]:
    """What the tape showed, in mm by id, from a TOML or CSV file with `id` and `length`.

    TOML may also be one table `[measured]` with a line for each id. Raises BadInputError with a
    message for each fault: unknown ids, ids given twice, lengths that are no reading of theirs
    and are not among the `confirmed`; one message where the file is for another sheet.
    """
    known = {distance.id: distance for distance in plan.distances}
    shown: dict[str, float] = {}
    faults = []
    rows = read_rows(path, _COLUMNS)
    strangers = [
        row
        for row in rows
        if row.text["id"] not in known
        or _not_of(known[row.text["id"]], row.lengths["length"], row.where, units)
    ]
    if len(strangers) >= _FEW and len(strangers) > len(rows) / 3:
        first = strangers[0]
        raise BadInputError(
            f"{path}: {len(strangers)} of its {len(rows)} figures are not near what the last proof "
            f"sheet asks for under their names (the first at {first.where}: {first.text['id']}). "
            "It is for another sheet, or in another unit: measure the sheet that was written "
            "last, or write that sheet again, with the --distances and --slack it had"
        )
    for row in rows:
        name, length = row.text["id"], row.lengths["length"]
        if name not in known:
            faults.append(f"{row.where}: {name}: not on the sheet; it has {_range(plan)}")
        elif name in shown:
            faults.append(f"{row.where}: {name}: measured twice; keep the one you trust")
        else:
            if name not in confirmed:
                faults += _not_of(known[name], length, row.where, units)
            shown[name] = length
    if faults:
        raise BadInputError(*faults)
    return shown


def _range(plan: ProofPlan) -> str:
    return f"{plan.distances[0].id} to {plan.distances[-1].id}"


def _not_of(distance: Distance, length: float, where: str, units: Units) -> list[str]:
    off = length - distance.nominal
    if abs(off) <= _SLIP + _STRETCHED * distance.nominal:
        return []
    return [
        f"{where}: {distance.id} = {format_length(length, units)}: {' to '.join(distance.between)} "
        f"should be near {format_length(distance.nominal, units)}. Count the lines and measure "
        f"again; check the unit. If it stands, --confirmed {distance.id} says so"
    ]


def prove(
    plan: ProofPlan,
    shown: Mapping[str, float],
    tape: Tape,
    tolerance: float,
    confirmed: Collection[str] = (),
) -> Verdict:
    """The verdict on what `tape` showed, in mm by id.

    Least squares with the tape's covariance and each unknown's prior, by Gauss-Newton. A section
    that lies where no placement would leave it is set free; a distance that nothing else bears
    out is to be measured again, unless it is among the `confirmed`, which were. Raises
    BadInputError when too little is measured to say anything.
    """
    distances = [distance for distance in plan.distances if distance.id in shown]
    if len(distances) < len(WHOLE):
        raise BadInputError(
            f"measured: {len(distances)} of the sheet's {len(plan.distances)} distances; at "
            f"least {len(WHOLE)} are needed, and all of them to know most"
        )
    measured = np.array([true_length(shown[d.id], tape) for d in distances])
    model = plan.model
    unknowns, covariance, again = _adjusted(model, distances, measured, tape, confirmed)
    whole = {
        name: Estimate(float(unknowns[n]), float(np.sqrt(covariance[n, n])))
        for n, name in enumerate(WHOLE)
    }
    errors = line_errors(model)
    values = errors.rows @ unknowns
    sds = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", errors.rows, covariance, errors.rows), 0.0))
    outcome, worst, doubted = _judged(values, sds, tolerance)
    ids = [patch.id for patch in model.patches]
    named = [ids[n] for n in errors.patch[doubted]] if ids else []
    x0, y0, x1, y1 = model.rect
    return Verdict(
        "measure again" if again else outcome,
        whole,
        (x1 - x0, y1 - y0),
        Step(
            (ids[errors.patch[worst]],) if ids else (),
            "across" if errors.axis[worst] else "along",
            Estimate(float(values[worst]), float(sds[worst])),
            bool(abs(values[worst]) > SURE * sds[worst]),
        ),
        _worst_section(model, unknowns, covariance),
        _worst_seam(model, unknowns, covariance),
        tuple(dict.fromkeys(named)),
        again,
        tolerance,
        dict(zip([d.id for d in distances], measured.tolist(), strict=True)),
    )


@dataclass(frozen=True)
class _Solution:
    """Unknowns, the last two the tape's; what was to be explained, and its covariance."""

    unknowns: FloatArray
    covariance: FloatArray
    rows: FloatArray
    reduced: FloatArray
    weight: FloatArray


def _adjusted(
    model: Distortion,
    distances: list[Distance],
    measured: FloatArray,
    tape: Tape,
    confirmed: Collection[str],
) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    """Unknowns and their covariance, without the tape's own; ids of misread distances."""
    prior = np.concatenate([model.prior_sd, [1.0, 1.0]])
    trusted = np.array([distance.id in confirmed for distance in distances])
    for _ in range(2 * len(model.patches) + 1):
        solved = _solved(model, distances, measured, tape, prior)
        single = _explained(solved, np.eye(len(distances)))
        single[trusted] = 0.0
        sections = _explained(solved, solved.rows[:, : model.count])
        sections[prior[: model.count] >= _ANYWHERE] = 0.0
        worst = int(sections.argmax())
        if sections[worst] < max(_MISPLACED**2, single.max() + _CLEARLY):
            break
        prior[worst] = _ANYWHERE
    n = model.count
    order = np.argsort(-single, kind="stable")
    again = tuple(distances[k].id for k in order.tolist() if single[k] > _MISREAD**2)
    return solved.unknowns[:n], solved.covariance[:n, :n], again


def _solved(
    model: Distortion,
    distances: list[Distance],
    measured: FloatArray,
    tape: Tape,
    prior_sd: FloatArray,
) -> _Solution:
    prior = prior_sd**2
    state = np.zeros(len(prior))
    for _ in range(6):
        rows, sd = design(model, distances, tape, state[: model.count])
        expected = computed(model, distances, state[: model.count])
        reduced = measured - expected + rows[:, : model.count] @ state[: model.count]
        spread = (rows * prior) @ rows.T + np.diag(sd**2)
        weight = np.linalg.inv(spread).astype(np.float64)
        state = prior * (rows.T @ (weight @ reduced))
    gain = rows * prior
    return _Solution(state, np.diag(prior) - gain.T @ weight @ gain, rows, reduced, weight)


def _explained(solved: _Solution, columns: FloatArray) -> FloatArray:
    """(k,): by how much the sum of squares falls if each of `columns` (m, k) is set free.

    One column at a time: the square of Baarda's standardised test of that one blunder.
    """
    pull = columns.T @ (solved.weight @ solved.reduced)
    hold = np.einsum("ij,ik,kj->j", columns, solved.weight, columns)
    free = hold > 1e-9
    return np.where(free, pull**2 / np.where(free, hold, 1.0), 0.0)


def _judged(
    values: FloatArray, sds: FloatArray, tolerance: float
) -> tuple[Outcome, int, NDArray[np.bool_]]:
    """The outcome, which error is worst, and which can be neither passed nor failed.

    A failure is said only if it would be one in 20 covers that are true everywhere; a line
    passes if 39 times in 40 it lies within the tolerance.
    """
    surely = NormalDist().inv_cdf(1 - 0.025 / len(values))
    size = np.abs(values)
    failed = size - surely * sds > tolerance
    passed = size + SURE * sds <= tolerance
    worst = int(np.where(failed, size + 1e6, size).argmax())
    if failed.any():
        return "fail", worst, ~(passed | failed)
    return "pass" if passed.all() else "cannot tell", worst, ~passed


def _worst_section(model: Distortion, unknowns: FloatArray, covariance: FloatArray) -> Step | None:
    """The section furthest off its neighbours' common distortion, in doubts of its own."""
    steps: list[_Row] = []
    for index, patch in enumerate(model.patches):
        for axis, name in enumerate(_AXES):
            if patch.shows[axis]:
                row = np.zeros(model.count)
                row[len(WHOLE) + 3 * index + axis] = 1.0
                steps.append(((patch.id,), name, row))
    return _worst(steps, unknowns, covariance)


def _worst_seam(model: Distortion, unknowns: FloatArray, covariance: FloatArray) -> Step | None:
    """The largest step between two sections at the middle of their seam."""
    at = {(patch.row, patch.column): n for n, patch in enumerate(model.patches)}
    steps: list[_Row] = []
    for (row, column), first in at.items():
        for neighbour in ((row, column + 1), (row + 1, column)):
            second = at.get(neighbour)
            if second is None:
                continue
            one, two = model.patches[first], model.patches[second]
            middle = np.array(
                [
                    [
                        (max(one.core[k], two.core[k]) + min(one.core[k + 2], two.core[k + 2])) / 2
                        for k in (0, 1)
                    ]
                ]
                * 2
            )
            moved = effect(model, middle, np.array([first, second]))
            for axis, name in enumerate(_AXES):
                if one.shows[axis] and two.shows[axis]:
                    steps.append(((one.id, two.id), name, moved[1, axis] - moved[0, axis]))
    return _worst(steps, unknowns, covariance)


def _worst(
    steps: list[_Row],
    unknowns: FloatArray,
    covariance: FloatArray,
) -> Step | None:
    """The one most certainly not nothing."""
    if not steps:
        return None
    rows = np.array([row for _, _, row in steps])
    values = rows @ unknowns
    sds = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    worst = int((np.abs(values) / sds).argmax())
    surely = NormalDist().inv_cdf(1 - 0.025 / len(steps))
    estimate = Estimate(float(values[worst]), float(sds[worst]))
    return Step(steps[worst][0], steps[worst][1], estimate, estimate.certain(surely))
