"""The verdict on a finished cover, from distances measured on it and adjusted by least squares.

Table frame, millimetres. It knows the tape's own uncertainty and counts it: where the tape is too
coarse to say, it says so. It takes no placement's word for where a section lies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.errors import BadInputError
from marking.input.rows import Columns, read_rows
from marking.least_squares.linear import believed
from marking.least_squares.nonlinear import gauss_newton
from marking.least_squares.readings_test import AgainstOthers, one_by_one
from marking.measures.lengths import format_length
from marking.measures.tape import true_length
from marking.proof.distortion import WHOLE, effect, line_errors, own_rows, patch_at, whole_rows
from marking.proof.geometry import computed, design, moved_by, prior_sd
from marking.proof.outcome import furthest, in_doubt, many_lines

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from marking.arrays import FloatArray
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.geometry import DistanceSheet
    from marking.proof.outcome import Furthest, ProofOutcome
    from marking.proof.places import Distance

AxisName = Literal["along", "across"]
TWO_SIDED = 1.96
"""Standard deviations on either side that hold 95 of 100 (NIST/SEMATECH e-Handbook 1.3.6.7.1)."""
_COLUMNS = Columns("measured", ("id",), ("length",), pairs=True)
_AXES: tuple[AxisName, AxisName] = ("along", "across")
_MISREAD = 4.5
"""Standard deviations past which a distance is misread."""
_SLIP, _STRETCHED = 12.0, 0.003
"""mm, and a share of the length: further off than both, the wrong line was measured to."""
_FEW = 4
"""So many distances that cannot be are no slips of the tape."""


@dataclass(frozen=True)
class Estimate:
    """A figure in mm and its standard deviation."""

    value: float
    sd: float

    def certain(self, sds: float = TWO_SIDED) -> bool:
        """Whether it differs from nothing by more than its doubt."""
        return abs(self.value) > sds * self.sd


@dataclass(frozen=True)
class JudgedLine:
    """The line furthest off, and the section that holds it, if there are sections."""

    section: str | None
    axis: AxisName
    estimate: Estimate
    """Counted from the zero line and the near line; plus is to the far end or the far edge."""
    limits: Furthest


@dataclass(frozen=True)
class Step:
    """A section's own error, or the step at the join of two sections, along one axis."""

    sections: tuple[str, ...]
    axis: AxisName
    estimate: Estimate
    doubt: float
    """mm: as many figures of this kind as the cover has lie all within theirs, 95 times in 100."""

    @property
    def certain(self) -> bool:
        """Whether it is more than chance would show somewhere on a true cover."""
        return abs(self.estimate.value) > self.doubt


@dataclass(frozen=True)
class CoverVerdict:
    """What the measurements say of a cover."""

    outcome: ProofOutcome
    whole: Mapping[str, Estimate]
    """Each of `WHOLE`, in mm at its worst place."""
    size: tuple[float, float]
    """Along and across, first line to last, in mm."""
    worst_line: JudgedLine
    own: tuple[Step, ...]
    """Each section's own error along and across, from the common distortion of all others."""
    worst_section: Step | None
    worst_join: Step | None
    in_doubt: tuple[str, ...]
    """Sections whose lines the tape cannot pass or fail."""
    untold: tuple[str, ...]
    """Sections that no measured distance touches."""
    missing: tuple[str, ...]
    """Ids of distances on the sheet that were not measured."""
    again: tuple[str, ...]
    """Ids of distances that do not fit the others, or that alone speak against the cover."""
    tolerance: float
    measured: Mapping[str, float]
    """True lengths in mm by id."""


def read_measured(
    path: Path, sheet: DistanceSheet, units: Units, confirmed: Collection[str] = ()
) -> dict[str, float]:
    """What the tape showed, in mm by id, from a TOML or CSV file with `id` and `length`.

    TOML may also be one table `[measured]` with a line for each id. Raises BadInputError with a
    message for each fault: unknown ids, ids given twice, lengths that are no reading of theirs
    and are not among the `confirmed`; one message where the file is for another sheet.
    """
    known = {distance.id: distance for distance in sheet.distances}
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
            faults.append(f"{row.where}: {name}: not on the sheet; it has {_range(sheet)}")
        elif name in shown:
            faults.append(f"{row.where}: {name}: measured twice; keep the one you trust")
        else:
            if name not in confirmed:
                faults += _not_of(known[name], length, row.where, units)
            shown[name] = length
    if faults:
        raise BadInputError(*faults)
    return shown


def _range(sheet: DistanceSheet) -> str:
    return f"{sheet.distances[0].id} to {sheet.distances[-1].id}"


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
    sheet: DistanceSheet,
    shown: Mapping[str, float],
    tape: Tape,
    tolerance: float,
    confirmed: Collection[str] = (),
) -> CoverVerdict:
    """The verdict on what `tape` showed, in mm by id.

    Least squares with the tape's covariance and each unknown's wide prior, by Gauss-Newton. A
    section that no measured distance touches never passes. A distance that contradicts the
    others, or that alone fails the cover, is to be measured again, unless it is among the
    `confirmed`, which were. Raises BadInputError when too little is measured to say anything.
    """
    distances = [distance for distance in sheet.distances if distance.id in shown]
    if len(distances) < len(WHOLE):
        raise BadInputError(
            f"measured: {len(distances)} of the sheet's {len(sheet.distances)} distances; at "
            f"least {len(WHOLE)} are needed, and all of them to know most"
        )
    measured = np.array([true_length(shown[d.id], tape) for d in distances])
    model = sheet.model
    solved = _solved(model, distances, measured, tape)
    errors = line_errors(model)
    values, sds = _figures(errors.rows, solved)
    many = many_lines(errors.rows, solved.covariance)
    limits = furthest(values, sds, many)
    outcome = limits.outcome(tolerance)
    trusted = np.array([distance.id in confirmed for distance in distances])
    suspects = _misread(solved, trusted)
    if outcome == "fail" and not suspects:
        suspects = _alone_against(solved, errors.rows, (values, sds, many), trusted, tolerance)
    untold = _untouched(model, distances)
    if untold and outcome == "pass":
        outcome = "cannot tell"
    ids = [patch.id for patch in model.patches]
    doubted = np.flatnonzero(in_doubt(values, sds, many, tolerance)).tolist()
    x0, y0, x1, y1 = model.rect
    own, joins = _own_errors(model, solved), _join_steps(model, solved)
    line = limits.line
    whole = zip(WHOLE, *map(np.ndarray.tolist, _figures(whole_rows(model), solved)), strict=True)
    return CoverVerdict(
        "measure again" if suspects else outcome,
        {name: Estimate(value, sd) for name, value, sd in whole},
        (x1 - x0, y1 - y0),
        JudgedLine(
            ids[errors.patch[line]] if ids else None,
            _AXES[errors.axis[line]],
            Estimate(float(values[line]), float(sds[line])),
            limits,
        ),
        own,
        _worst(own),
        _worst(joins),
        tuple(dict.fromkeys(ids[errors.patch[n]] for n in doubted)) if ids else (),
        untold,
        tuple(distance.id for distance in sheet.distances if distance.id not in shown),
        tuple(distances[n].id for n in suspects),
        tolerance,
        dict(zip([d.id for d in distances], measured.tolist(), strict=True)),
    )


@dataclass(frozen=True)
class _Solution:
    """The unknowns and their covariance, without the tape's own, and what they were found by."""

    unknowns: FloatArray
    covariance: FloatArray
    carried: FloatArray
    """(unknowns, m): how the distances move the unknowns."""
    others: AgainstOthers
    """Each distance against all others and the priors."""


def _solved(
    model: Distortion, distances: Sequence[Distance], measured: FloatArray, tape: Tape
) -> _Solution:
    prior, count = prior_sd(model), model.count
    moved = moved_by(model, distances)
    start = np.zeros(len(prior))
    sd = design(model, distances, tape, start[:count], moved)[1]

    def linearised(state: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        rows, _ = design(model, distances, tape, state[:count], moved)
        shown = computed(moved, state[:count]) + rows[:, count:] @ state[count:]
        # What is believed beforehand is an observation of nothing, of each unknown.
        return np.append(measured - shown, -state), np.vstack([rows, np.eye(len(state))])

    whiten = np.diag(1 / np.append(sd, prior))
    state = gauss_newton(start, linearised, whiten, np.add).state
    misfits, rows = (found[: len(measured)] for found in linearised(state))
    found = believed(rows, prior, sd)
    pulls = found.weight @ (misfits + rows @ state)
    return _Solution(
        state[:count],
        found.covariance[:count, :count],
        found.carried[:count],
        one_by_one(pulls, found.weight, found.own),
    )


def _figures(rows: FloatArray, solved: _Solution) -> tuple[FloatArray, FloatArray]:
    """Values and standard deviations of functions (k, unknowns) of the unknowns."""
    variance = ((rows @ solved.covariance) * rows).sum(axis=1)
    return rows @ solved.unknowns, np.sqrt(np.maximum(variance, 0.0))


def _misread(solved: _Solution, trusted: NDArray[np.bool_]) -> list[int]:
    """Distances that the others contradict, the worst first: Baarda's test of one blunder each."""
    tested = np.where(trusted, 0.0, solved.others.in_sds)
    order = np.argsort(-tested, kind="stable")
    return [n for n in order.tolist() if tested[n] > _MISREAD]


def _alone_against(
    solved: _Solution,
    rows: FloatArray,
    found: tuple[FloatArray, FloatArray, float],
    trusted: NDArray[np.bool_],
    tolerance: float,
) -> list[int]:
    """Distances without which no line that fails would so much as seem to.

    What one distance says that no other bears out may be a slip of the tape as well as of a
    section.
    """
    values, sds, many = found
    failing = rows[np.abs(values) - many * sds > tolerance]
    moved = failing @ solved.carried
    without = (failing @ solved.unknowns)[:, None] - moved * solved.others.off[:, 0]
    most = np.abs(without).max(axis=0)
    most[trusted] = np.inf
    order = np.argsort(most, kind="stable")
    return [n for n in order.tolist() if most[n] <= tolerance]


def _untouched(model: Distortion, distances: Sequence[Distance]) -> tuple[str, ...]:
    """Sections with lines of their own at which no distance ends."""
    places = {end for d in distances for end in (*d.ends, *(d.thread or ()))}
    touched = {patch_at(model, place) for place in places}
    return tuple(
        patch.id for n, patch in enumerate(model.patches) if n not in touched and any(patch.shows)
    )


def _own_errors(model: Distortion, solved: _Solution) -> tuple[Step, ...]:
    """How far each section lies off the common distortion of all others."""
    if len(model.patches) < 2:
        return ()
    own = own_rows(model)
    shown = [(n, k) for n, patch in enumerate(model.patches) for k in (0, 1) if patch.shows[k]]
    named = [((model.patches[n].id,), _AXES[k]) for n, k in shown]
    return _steps(named, np.array([own[n, k] for n, k in shown]), solved)


def _join_steps(model: Distortion, solved: _Solution) -> tuple[Step, ...]:
    """The steps between sections, each at the middle of its join."""
    at = {(patch.row, patch.column): n for n, patch in enumerate(model.patches)}
    named: list[tuple[tuple[str, ...], AxisName]] = []
    rows: list[FloatArray] = []
    for (row, column), first in at.items():
        for neighbour in ((row, column + 1), (row + 1, column)):
            second = at.get(neighbour)
            if second is None:
                continue
            one, two = model.patches[first], model.patches[second]
            middle = [
                (max(one.core[k], two.core[k]) + min(one.core[k + 2], two.core[k + 2])) / 2
                for k in (0, 1)
            ]
            moved = effect(model, np.array([middle] * 2), np.array([first, second]))
            for axis, name in enumerate(_AXES):
                if one.shows[axis] and two.shows[axis]:
                    named.append(((one.id, two.id), name))
                    rows.append(moved[1, axis] - moved[0, axis])
    return _steps(named, np.array(rows), solved)


def _steps(
    named: Sequence[tuple[tuple[str, ...], AxisName]], rows: FloatArray, solved: _Solution
) -> tuple[Step, ...]:
    if not named:
        return ()
    values, sds = _figures(rows, solved)
    many = many_lines(rows, solved.covariance)
    return tuple(
        Step(sections, axis, Estimate(value, sd), many * sd)
        for (sections, axis), value, sd in zip(named, values.tolist(), sds.tolist(), strict=True)
    )


def _worst(steps: Sequence[Step]) -> Step | None:
    """The one most certainly not nothing."""
    return max(steps, key=lambda step: abs(step.estimate.value) / step.doubt, default=None)
