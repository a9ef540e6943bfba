"""The verdict on a finished cover, from distances measured on it and adjusted by least squares.

Table frame, millimetres. It knows the tape's own uncertainty and counts it: where the tape is too
coarse to say, it says so. It takes no placement's word for where a section lies.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.errors import BadInputError
from marking.least_squares.linear import believed
from marking.least_squares.nonlinear import gauss_newton
from marking.least_squares.readings_test import AgainstOthers, one_by_one
from marking.measures.tape import true_length
from marking.proof.distortion import WHOLE, effect, line_errors, own_rows, patch_at, whole_rows
from marking.proof.geometry import computed, design, moved_by, prior_sd, step_sd, with_steps
from marking.proof.limits import limit_rows
from marking.proof.outcome import furthest, in_doubt, many_lines

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from marking.arrays import BoolArray, FloatArray
    from marking.measures.tape import Tape
    from marking.proof.distortion import Distortion
    from marking.proof.geometry import DistanceSheet
    from marking.proof.limits import Limit, LimitRows, Limits
    from marking.proof.outcome import Furthest, ProofOutcome
    from marking.proof.places import Distance
    from marking.proof.verniers import JoinStep

AxisName = Literal["along", "across"]
TWO_SIDED = 1.96
"""Standard deviations on either side that hold 95 of 100 (NIST/SEMATECH e-Handbook 1.3.6.7.1)."""
_AXES: tuple[AxisName, AxisName] = ("along", "across")
_MISREAD = 4.5
"""Standard deviations past which a distance is misread."""


class Estimate(Struct, frozen=True):
    """A figure in mm and its standard deviation."""

    value: float
    sd: float

    def certain(self, sds: float = TWO_SIDED) -> bool:
        """Whether it differs from nothing by more than its doubt."""
        return abs(self.value) > sds * self.sd


class JudgedLine(Struct, frozen=True):
    """The line furthest off, and the section that holds it, if there are sections."""

    section: str | None
    axis: AxisName
    estimate: Estimate
    """Counted from the zero line and the near line; plus is to the far end or the far edge."""
    limits: Furthest


class Step(Struct, frozen=True):
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


class JudgedLimit(Struct, frozen=True):
    """What is told of one limit, and where."""

    limit: Limit
    outcome: ProofOutcome
    estimate: Estimate
    """At the place surest past nothing, or else where most may be off."""
    limits: Furthest
    sections: tuple[str, ...]
    """That hold this place."""
    in_doubt: tuple[str, ...]
    """Sections that neither keep nor break it by what is measured."""


class CoverVerdict(Struct, frozen=True):
    """What the measurements say of a cover."""

    outcome: ProofOutcome
    whole: Mapping[str, Estimate]
    """Each of `WHOLE`, in mm at its worst place."""
    size: tuple[float, float]
    """Along and across, first line to last, in mm."""
    limits: tuple[JudgedLimit, ...]
    """Each limit that the cover can show, those that nobody asked for too."""
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
    measured: Mapping[str, float]
    """True lengths in mm by id, and steps by theirs."""
    by_vernier: bool
    """Whether steps were read at the joins."""
    apart: tuple[str, ...] = ()
    """Lines of which a part lies in no section, ruled by hand or left undone: not judged there."""


def prove(
    sheet: DistanceSheet,
    shown: Mapping[str, float],
    tape: Tape,
    limits: Limits,
    confirmed: Collection[str] = (),
) -> CoverVerdict:
    """The verdict on what `tape` and verniers showed, in mm by id, for each of `limits`.

    Least squares with the tape's covariance and each unknown's wide prior, by Gauss-Newton. A
    section that no measured distance touches never passes. A distance that contradicts the
    others, or that alone fails the cover, is to be measured again, unless it is among the
    `confirmed`, which were. Raises BadInputError when too little is measured to say anything.
    """
    distances = [distance for distance in sheet.distances if distance.id in shown]
    steps = [step for step in sheet.steps if step.id in shown]
    if len(distances) < len(WHOLE):
        raise BadInputError(
            f"measured: {len(distances)} of the sheet's {len(sheet.distances)} distances; at "
            f"least {len(WHOLE)} are needed, and all of them to know most"
        )
    measured = np.array(
        [true_length(shown[d.id], tape) for d in distances] + [shown[s.id] for s in steps]
    )
    names = [*(d.id for d in distances), *(s.id for s in steps)]
    model = sheet.model
    solved = _solved(model, distances, steps, measured, tape)
    judged = [_judged(one, solved) for one in limit_rows(model, limits)]
    outcome = _together([one.said.outcome for one in judged if one.said.limit.asked])
    trusted = np.array([name in confirmed for name in names])
    suspects = _misread(solved, trusted)
    if outcome == "fail" and not suspects:
        suspects = _alone_against(solved, judged, trusted)
    untold = _untouched(model, distances, steps)
    if untold and outcome == "pass":
        outcome = "cannot tell"
    x0, y0, x1, y1 = model.rect
    own, joins = _own_errors(model, solved), _join_steps(model, solved)
    whole = zip(WHOLE, *map(np.ndarray.tolist, _figures(whole_rows(model), solved)), strict=True)
    doubted = dict.fromkeys(
        name for one in judged if one.said.limit.asked for name in one.said.in_doubt
    )
    asked = [*(d.id for d in sheet.distances), *(s.id for s in sheet.steps)]
    return CoverVerdict(
        "measure again" if suspects else outcome,
        {name: Estimate(value, sd) for name, value, sd in whole},
        (x1 - x0, y1 - y0),
        tuple(one.said for one in judged),
        _worst_line(model, solved),
        own,
        _worst(own),
        _worst(joins),
        tuple(patch.id for patch in model.patches if patch.id in doubted),
        untold,
        tuple(name for name in asked if name not in shown),
        tuple(names[n] for n in suspects),
        dict(zip(names, measured.tolist(), strict=True)),
        bool(steps),
        model.apart,
    )


def _together(outcomes: Sequence[ProofOutcome]) -> ProofOutcome:
    """A cover passes by every limit asked for, and fails by any."""
    if "fail" in outcomes:
        return "fail"
    return "pass" if set(outcomes) == {"pass"} else "cannot tell"


class _Judged(Struct, frozen=True):
    """A limit as judged, and by which figures."""

    said: JudgedLimit
    rows: FloatArray
    values: FloatArray
    sds: FloatArray
    many: float


def _judged(one: LimitRows, solved: _SolvedCover) -> _Judged:
    values, sds = _figures(one.rows, solved)
    many = many_lines(one.rows, solved.covariance)
    found = furthest(values, sds, many)
    allowed = one.limit.allowed
    doubted = np.flatnonzero(in_doubt(values, sds, many, allowed)).tolist()
    said = JudgedLimit(
        one.limit,
        found.outcome(allowed),
        Estimate(float(values[found.line]), float(sds[found.line])),
        found,
        tuple(name for name in one.sections[found.line] if name),
        tuple(dict.fromkeys(name for n in doubted for name in one.sections[n] if name)),
    )
    return _Judged(said, one.rows, values, sds, many)


def _worst_line(model: Distortion, solved: _SolvedCover) -> JudgedLine:
    """The line furthest off as it lies, counted along a thread through the near line's ends."""
    errors = line_errors(model)
    values, sds = _figures(errors.rows, solved)
    found = furthest(values, sds, many_lines(errors.rows, solved.covariance))
    line = found.line
    return JudgedLine(
        model.patches[errors.patch[line]].id if model.patches else None,
        _AXES[errors.axis[line]],
        Estimate(float(values[line]), float(sds[line])),
        found,
    )


class _SolvedCover(Struct, frozen=True):
    """The unknowns and their covariance, without the tape's own, and what they were found by."""

    unknowns: FloatArray
    covariance: FloatArray
    carried: FloatArray
    """(unknowns, m): how the distances move the unknowns."""
    others: AgainstOthers
    """Each distance against all others and the priors."""


def _solved(
    model: Distortion,
    distances: Sequence[Distance],
    steps: Sequence[JoinStep],
    measured: FloatArray,
    tape: Tape,
) -> _SolvedCover:
    prior, count = prior_sd(model), model.count
    moved = moved_by(model, distances)
    start = np.zeros(len(prior))
    sd = np.append(design(model, distances, tape, start[:count], moved)[1], step_sd(steps))

    def linearised(state: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        rows, _ = design(model, distances, tape, state[:count], moved)
        shown = computed(moved, state[:count]) + rows[:, count:] @ state[count:]
        rows = with_steps(model, steps, rows)
        shown = np.append(shown, rows[len(distances) :] @ state)
        # What is believed beforehand is an observation of nothing, of each unknown.
        return np.append(measured - shown, -state), np.vstack([rows, np.eye(len(state))])

    whiten = np.diag(1 / np.append(sd, prior))
    state = gauss_newton(start, linearised, whiten, np.add).state
    misfits, rows = (found[: len(measured)] for found in linearised(state))
    found = believed(rows, prior, sd)
    pulls = found.weight @ (misfits + rows @ state)
    return _SolvedCover(
        state[:count],
        found.covariance[:count, :count],
        found.carried[:count],
        one_by_one(pulls, found.weight, found.own),
    )


def _figures(rows: FloatArray, solved: _SolvedCover) -> tuple[FloatArray, FloatArray]:
    """Values and standard deviations of functions (k, unknowns) of the unknowns."""
    variance = ((rows @ solved.covariance) * rows).sum(axis=1)
    return rows @ solved.unknowns, np.sqrt(np.maximum(variance, 0.0))


def _misread(solved: _SolvedCover, trusted: BoolArray) -> list[int]:
    """Distances that the others contradict, the worst first: Baarda's test of one blunder each."""
    tested = np.where(trusted, 0.0, solved.others.in_sds)
    order = np.argsort(-tested, kind="stable")
    return [n for n in order.tolist() if tested[n] > _MISREAD]


def _alone_against(
    solved: _SolvedCover, judged: Sequence[_Judged], trusted: BoolArray
) -> list[int]:
    """Measurements without which no limit that fails would so much as seem to.

    What one alone says that no other bears out may be a slip of the tape as well as of a section.
    """
    most = np.zeros(len(trusted))
    for one in judged:
        allowed = one.said.limit.allowed
        failing = one.rows[np.abs(one.values) - one.many * one.sds > allowed]
        if one.said.limit.asked and len(failing):
            moved = failing @ solved.carried
            without = (failing @ solved.unknowns)[:, None] - moved * solved.others.off[:, 0]
            most = np.maximum(most, np.abs(without).max(axis=0) / allowed)
    most[trusted] = np.inf
    order = np.argsort(most, kind="stable")
    return [n for n in order.tolist() if most[n] <= 1.0]


def _untouched(
    model: Distortion, distances: Sequence[Distance], steps: Sequence[JoinStep]
) -> tuple[str, ...]:
    """Sections with lines of their own at which no distance ends and no step is read."""
    places = {end for d in distances for end in (*d.ends, *(d.thread or ()))}
    touched = {patch_at(model, place) for place in places}
    touched.update(patch for step in steps for patch in step.patches)
    return tuple(
        patch.id for n, patch in enumerate(model.patches) if n not in touched and any(patch.shows)
    )


def _own_errors(model: Distortion, solved: _SolvedCover) -> tuple[Step, ...]:
    """How far each section lies off the common distortion of all others."""
    if len(model.patches) < 2:
        return ()
    own = own_rows(model)
    shown = [(n, k) for n, patch in enumerate(model.patches) for k in (0, 1) if patch.shows[k]]
    named = [((model.patches[n].id,), _AXES[k]) for n, k in shown]
    return _steps(named, np.array([own[n, k] for n, k in shown]), solved)


def _join_steps(model: Distortion, solved: _SolvedCover) -> tuple[Step, ...]:
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
    named: Sequence[tuple[tuple[str, ...], AxisName]], rows: FloatArray, solved: _SolvedCover
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
