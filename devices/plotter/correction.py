"""How a device really draws: its true scale along both axes and its skew, measured and undone.

Bed frame, millimetres: nominal is what the device is told, true is what lies on the cloth. It
knows no table and no instruction.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct, field

from marking.errors import BadInputError, RefusedError
from marking.least_squares.linear import weighed, whitening
from marking.least_squares.nonlinear import gauss_newton
from marking.least_squares.readings_test import TRUST, one_by_one
from marking.measures.lengths import format_length
from marking.measures.tape import reading_covariance, true_length
from marking.record.kept import as_kept

if TYPE_CHECKING:
    from collections.abc import Mapping

    from devices.plotter.profile import Plotter
    from marking.arrays import FloatArray
    from marking.measures.lengths import Units
    from marking.measures.tape import Tape

RUNS = ("AB", "BC", "CD", "DA", "AC", "BD")
"""The test square's sides and diagonals: A at the device's zero, B along X, D along Y."""
_CORNERS = {"A": (0.0, 0.0), "B": (1.0, 0.0), "C": (1.0, 1.0), "D": (0.0, 1.0)}
_NAMES = ("scale along X", "scale along Y", "skew")
_CERTAIN = 2.0
"""Standard deviations past which a scale or a skew is the device's and not the tape's."""
_ANY_OF_THREE = 2.39
"""Standard deviations that the largest of three figures stays within 95 times in 100: Bonferroni,
the normal's 0.9917 quantile (any table of it)."""
_CLEARLY = 4.0
"""Squares of standard deviations by which figures must lie nearer to one than to another."""
_MOST = 0.05
"""More than this off, a run is taken for a slip of the tape or the unit."""
_LIKELY = 0.01
"""More than this off, a device is not corrected before a person has looked twice; our own figure,
no source."""


class Correction(Struct, frozen=True):
    """True millimetres for each nominal one along X and Y, and how far Y leans towards +X."""

    scale_x: float
    scale_y: float
    skew: float
    covariance: tuple[tuple[float, float, float], ...]

    @property
    def true_of_nominal(self) -> FloatArray:
        """(2, 2): nominal bed points to true ones. The device's X axis stays where it is."""
        return np.array([[self.scale_x, self.skew], [0.0, self.scale_y]])

    @property
    def nominal_of_true(self) -> FloatArray:
        """(2, 2): what to tell the device for a point to lie truly."""
        x, y = 1 / self.scale_x, 1 / self.scale_y
        return np.array([[x, -self.skew * x * y], [0.0, y]])

    @property
    def sd(self) -> FloatArray:
        """(3,) of scale along X, scale along Y and skew."""
        return np.sqrt(np.diag(self.covariance))


class DeviceCheck(Struct, frozen=True):
    """What the measured square says of the device."""

    correction: Correction
    measured: Mapping[str, float]
    """True lengths in mm by run, from what the tape showed."""
    residual: Mapping[str, float]
    """Measured less adjusted, mm."""
    certain: tuple[bool, bool, bool]
    """Whether scale along X, scale along Y and skew are more than the tape's own doubt."""
    verniers: Mapping[str, float] = field(default_factory=dict)
    """What the sheet's verniers showed, in mm by name; of those that were read."""

    @property
    def applied(self) -> Correction | None:
        """The correction to draw with: only what is certain, and None when nothing is."""
        if not any(self.certain):
            return None
        found, (x, y, skew) = self.correction, self.certain
        return Correction(
            found.scale_x if x else 1.0,
            found.scale_y if y else 1.0,
            found.skew if skew else 0.0,
            found.covariance,
        )


def solve_square(
    shown: Mapping[str, float], side: float, tape: Tape, units: Units = "mm"
) -> DeviceCheck:
    """The correction from what `tape` shows, in mm, on the test square of nominal `side` mm.

    Least squares of six runs for three unknowns, by Gauss-Newton, weighted with the tape's
    covariance. Raises BadInputError for a missing, unknown or impossible run, RefusedError when
    the six disagree by more than the tape explains, naming the one to measure again.
    """
    measured = np.array([true_length(v, tape) for v in _complete(shown, side, units)])
    covariance = reading_covariance(measured, tape)

    def linearised(unknowns: FloatArray, /) -> tuple[FloatArray, FloatArray]:
        computed, design = _runs(unknowns, side)
        return measured - computed, design

    true = np.array([1.0, 1.0, 0.0])
    unknowns = gauss_newton(true, linearised, whitening(covariance), np.add).state
    residual, design = linearised(unknowns)
    worth = weighed(design, covariance)
    _check_closes(measured, residual, worth.projector, covariance, units)
    found = worth.spread
    sd = np.sqrt(np.diag(found))
    certain = np.abs(unknowns - (1, 1, 0)) > _CERTAIN * sd
    rows = tuple((float(a), float(b), float(c)) for a, b, c in found)
    return DeviceCheck(
        Correction(float(unknowns[0]), float(unknowns[1]), float(unknowns[2]), rows),
        dict(zip(RUNS, measured.tolist(), strict=True)),
        dict(zip(RUNS, residual.tolist(), strict=True)),
        (bool(certain[0]), bool(certain[1]), bool(certain[2])),
    )


def _complete(shown: Mapping[str, float], side: float, units: Units) -> list[float]:
    """The six readings in the order of `RUNS`."""
    faults = [
        f"{name}: no such run; the square has {', '.join(RUNS)}"
        for name in shown
        if name not in RUNS
    ]
    for name in RUNS:
        if name not in shown:
            faults.append(f"{name}: not measured; all of {', '.join(RUNS)} are needed")
            continue
        nominal = side * float(np.hypot(*_direction(name)))
        value = shown[name]
        if not np.isfinite(value) or abs(value / nominal - 1) > _MOST:
            faults.append(
                f"{name} = {format_length(value, units) if np.isfinite(value) else value}: should "
                f"be near {format_length(nominal, units)}; measure it again, and check the unit"
            )
    if faults:
        raise BadInputError(*faults)
    return [shown[name] for name in RUNS]


def _direction(run: str) -> FloatArray:
    return np.subtract(_CORNERS[run[1]], _CORNERS[run[0]])


def _runs(unknowns: FloatArray, side: float) -> tuple[FloatArray, FloatArray]:
    """The six lengths (6,) and their derivatives (6, 3)."""
    nominal = side * np.array([_direction(run) for run in RUNS])
    scale_x, scale_y, skew = unknowns
    true = np.stack([scale_x * nominal[:, 0] + skew * nominal[:, 1], scale_y * nominal[:, 1]], 1)
    lengths = np.hypot(true[:, 0], true[:, 1])
    along = true / lengths[:, None]
    design = np.stack(
        [along[:, 0] * nominal[:, 0], along[:, 1] * nominal[:, 1], along[:, 0] * nominal[:, 1]], 1
    )
    return lengths, design


def _check_closes(
    measured: FloatArray,
    residual: FloatArray,
    projector: FloatArray,
    covariance: FloatArray,
    units: Units,
) -> None:
    """Refuses when leaving out one run shows it misread, or the six disagree altogether."""
    others = one_by_one(projector @ residual, projector, np.diag(covariance))
    tested = others.in_sds
    if tested.max() <= TRUST:
        return
    # A skew trades one diagonal for the other, so that the figures cannot tell those two apart.
    suspect = [n for n in range(len(RUNS)) if tested[n] > 0.98 * tested.max()]
    should = measured - others.off[:, 0]
    fits = [f"{RUNS[n]} {format_length(float(should[n]), units)}" for n in suspect]
    named = " and ".join(RUNS[n] for n in suspect)
    raise RefusedError(
        f"the six runs do not close: {named} {'is' if len(suspect) == 1 else 'are'} "
        f"{tested.max():.1f} times further off the others than the tape explains ({TRUST:g} is "
        f"the limit). Measure {named} again: {' or '.join(fits)} would fit. If the figures stand, "
        "the cloth moved or the device lost steps: plot the sheet again"
    )


def within_reach(plotter: Plotter, correction: Correction | None) -> Plotter:
    """`plotter` with the bed that stays usable once `correction` is applied, for sectioning.

    A true rectangle of that size, drawn as corrected, stays inside the nominal bed; and a bed
    that draws small is not trusted beyond its nominal size either.
    """
    if correction is None:
        return plotter
    width, height = plotter.bed_size
    high = height * min(1.0, correction.scale_y)
    lean = abs(correction.skew) / correction.scale_y * high
    size: dict[str, float] = {"y_size": high}
    if plotter.x_size is not None:
        size["x_size"] = min(width, correction.scale_x * width - lean)
    return plotter.model_copy(update=size)


def correction_lines(check: DeviceCheck) -> list[str]:
    """What the check found, in words with figures."""
    lines = []
    for figure, certain in zip(_figure_lines(check), check.certain, strict=True):
        what = "corrected" if certain else "no more than the tape's own doubt, so left alone"
        lines.append(f"{figure}: {what}.")
    return lines


def _figure_lines(check: DeviceCheck) -> list[str]:
    """Scale along X, scale along Y and skew, each with its doubt."""
    lines = []
    figures = zip(_NAMES, _figures(check.correction), check.correction.sd, strict=True)
    for name, value, sd in figures:
        figure = (
            f"{round(value * 1000, 2) + 0.0:+.2f} mm in a metre"
            if name == "skew"
            else f"{value:+.2%}"
        )
        doubt = f"{sd * 1000:.2f} mm" if name == "skew" else f"{sd:.2%}"
        lines.append(f"{name[0].upper()}{name[1:]} {figure}, give or take {doubt}")
    return lines


def still_off(check: DeviceCheck, kept: DeviceCheck) -> tuple[bool, bool, bool]:
    """Which of scale along X, scale along Y and skew a sheet drawn as `kept` corrects still shows.

    What it shows by chance is both measurings' doubt, and the largest of three. Figures that are
    clearly nearer to those of the uncorrected sheet than to nothing are the error itself.
    """
    found, nothing = _figures(check.correction), np.zeros(3)
    before = np.where(kept.certain, _figures(kept.correction), nothing)
    spread = np.array(check.correction.covariance) + np.array(kept.correction.covariance)
    doubt = _ANY_OF_THREE * np.sqrt(np.diag(spread))
    uncorrected = _distance(found - before, spread) + _CLEARLY < _distance(found, spread)
    shown = (np.abs(found) > doubt) | (uncorrected & np.array(kept.certain))
    return bool(shown[0]), bool(shown[1]), bool(shown[2])


def corrected_lines(check: DeviceCheck, kept: DeviceCheck) -> list[str]:
    """What a sheet drawn with the kept correction still shows, in words with figures."""
    lines = []
    for figure, off in zip(_figure_lines(check), still_off(check, kept), strict=True):
        what = "still there on the corrected sheet" if off else "no more than chance would show"
        lines.append(f"{figure}: {what}.")
    return lines


def _figures(correction: Correction) -> FloatArray:
    """(3,): scale along X and along Y less 1, and skew."""
    return np.array([correction.scale_x - 1, correction.scale_y - 1, correction.skew])


def _distance(figures: FloatArray, spread: FloatArray) -> float:
    """How far figures lie from nothing, in squares of standard deviations."""
    return float(figures @ np.linalg.solve(spread, figures))


def correction_said(correction: Correction | None) -> str:
    """A correction in a few words: what the device draws that is not as it is told."""
    if correction is None:
        return "none: the device is taken to draw true"
    parts = [
        f"{name} {value - 1:+.2%}"
        for name, value in zip(_NAMES, (correction.scale_x, correction.scale_y), strict=False)
        if value != 1.0
    ]
    if correction.skew:
        parts.append(f"skew {correction.skew * 1000:+.2f} mm in a metre")
    return ", ".join(parts)


def suspicion(check: DeviceCheck) -> str | None:
    """Why a person should look again before such a check is kept; None when it is likely."""
    found = check.correction
    sizes = (abs(found.scale_x - 1), abs(found.scale_y - 1), abs(found.skew))
    largest = max(range(3), key=lambda n: sizes[n])
    if sizes[largest] <= _LIKELY:
        return None
    value = (found.scale_x - 1, found.scale_y - 1, found.skew)[largest]
    return (
        f"{_NAMES[largest]} {value:+.2%}: few plotters are {_LIKELY:.0%} off. Check `unit` under "
        "[plotter]; that the sheet was plotted at 100 % and not fitted to a page; that the tape "
        "was read from a printed mark and not from its hook; and that no figure is from another "
        "sheet"
    )


def check_record(check: DeviceCheck) -> dict[str, Any]:
    """The check as plain data, to keep in the job's record."""
    found = check.correction
    return {
        "scale_x": found.scale_x,
        "scale_y": found.scale_y,
        "skew": found.skew,
        "covariance": [list(row) for row in found.covariance],
        "certain": list(check.certain),
        "measured": dict(check.measured),
        "residual": dict(check.residual),
        "verniers": dict(check.verniers),
    }


def check_from(record: Mapping[str, Any]) -> DeviceCheck:
    """A check from what `check_record` made of it. Raises BadInputError for anything else."""
    with as_kept(record, "a check of the device", "or check the device again"):
        rows = tuple((float(a), float(b), float(c)) for a, b, c in record["covariance"])
        x, y, skew = (bool(sure) for sure in record["certain"])
        return DeviceCheck(
            Correction(
                float(record["scale_x"]), float(record["scale_y"]), float(record["skew"]), rows
            ),
            {name: float(record["measured"][name]) for name in RUNS},
            {name: float(record["residual"][name]) for name in RUNS},
            (x, y, skew),
            # Version 0.1 and 0.2 before it kept none.
            {str(name): float(read) for name, read in record.get("verniers", {}).items()},
        )
