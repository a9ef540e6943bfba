"""What is known of a plotter's own errors before its marks are read, in the table's directions.

Its correction and the doubt of it come in the device's axes; the network counts scale along and
across the table. It knows profiles and checks, no placement.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from marking.network.error_model import Trial

if TYPE_CHECKING:
    from devices.plotter.correction import Correction, DeviceCheck
    from devices.plotter.profile import Plotter
    from marking.arrays import FloatArray
    from marking.network.error_model import ErrorModel

PlotterFigures = tuple[float, float, float]
"""Scale along and across the table, less 1, and skew."""


def drawn_with(plotter: Plotter, correction: Correction | None, *, turned: bool) -> PlotterFigures:
    """What every section is drawn for by the plotter's correction."""
    if correction is None:
        return 0.0, 0.0, 0.0
    return _figures(_onto_table(plotter, turned) @ _of(correction))


def with_plotter(
    errors: ErrorModel, plotter: Plotter, check: DeviceCheck | None, *, turned: bool
) -> ErrorModel:
    """`errors` with what a trial left of this plotter; without a trial, what its profile says."""
    told = replace(errors, pointer=plotter.pointer_doubt)
    if check is None:
        return replace(told, scale=plotter.scale_doubt)
    onto = _onto_table(plotter, turned)
    found = check.correction
    applied = np.zeros(3) if check.applied is None else _of(check.applied)
    spread = onto @ np.array(found.covariance) @ onto.T
    rows = tuple(_figures(row) for row in spread)
    return replace(told, trial=Trial(_figures(onto @ (_of(found) - applied)), rows))


def _of(correction: Correction) -> FloatArray:
    return np.array([correction.scale_x - 1, correction.scale_y - 1, correction.skew])


def _onto_table(plotter: Plotter, turned: bool) -> FloatArray:
    """(3, 3): from scale along X, along Y and skew of the device to those along the table.

    Axes that lean towards each other leave a turn besides, which is the placement's.
    """
    axes = np.zeros((2, 2))
    for device, axis in enumerate(plotter.standing(turned=turned).axes):
        axes["xy".index(axis[1]), device] = 1.0 if axis[0] == "+" else -1.0
    columns = []
    for x, y, skew in np.eye(3):
        on_table = axes @ np.array([[x, skew], [0.0, y]]) @ axes.T
        columns.append([on_table[0, 0], on_table[1, 1], on_table[0, 1] + on_table[1, 0]])
    return np.array(columns).T


def _figures(three: FloatArray) -> PlotterFigures:
    along, across, skew = (float(one) for one in three)
    return along, across, skew
