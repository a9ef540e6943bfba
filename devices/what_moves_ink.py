"""What of a device moves ink, as plain data: that alone must stay while a section is begun.

It knows plotters, pens and corrections by their fields; no record and no bytes.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

from devices.machine_zones import corrected, stands
from marking.job.settings import changes, flat, in_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from devices.job import Job
    from devices.plotter.correction import Correction

_PLOTTER = (
    *("dialect", "kind", "unit", "x_size", "y_size", "origin", "axes", "coordinate_limit"),
    "cloth_width",
)
_PEN = ("slot", "width")
_PLOTTER_OF_0_1 = (
    *("name", "kind", "dialect", "unit", "x_size", "y_size", "origin", "axes", "coordinate_limit"),
    *("set_down", "instructions", "slots", "speeds", "forces", "draw_speed", "travel_speed"),
    *("lift_seconds", "buffer_bytes", "longest_instruction", "baud", "handshake"),
    *("pen_up", "pen_down", "homes"),
)
_PEN_OF_0_1 = ("slot", "width", "passes", "speed", "force", "ink_length")
_PENS_OF_0_1 = ("lines", "heavy", "numerals", "removable")


def device_settings(job: Job, correction: Correction | None) -> Mapping[str, Any]:
    """By dotted key: bed, units and axes of the job's plotter, its pens and what corrects it.

    How fast, by which cable and in what portions it is told does not count.
    """
    keys = job.model_dump(
        mode="json",
        include={"plotter": set(_PLOTTER), "pens": {pen: set(_PEN) for pen in _PENS_OF_0_1}},
    )
    keys["plotter"]["stands"] = stands(job.plotter)
    return flat({**keys, "correction": corrected(correction)})


def what_moves_ink(begun_by: str, job: Job, correction: Correction | None) -> str | None:
    """What has changed since a run that kept `begun_by`, in words; None where nothing has."""
    if not begun_by.startswith("{"):
        if begun_by == _digest_of_0_1(job, correction):
            return None
        return (
            "version 0.1 began it, and kept of [plotter], [pens] and the measured correction only "
            "whether they are the same: they are not"
        )
    differ = changes(json.loads(begun_by), device_settings(job, correction))
    return in_words(differ, job.units, type(job)) if differ else None


def _digest_of_0_1(job: Job, correction: Correction | None) -> str:
    """The digest by which version 0.1 told one set of all these settings from another."""
    plotter = _shown("Plotter", job.plotter, _PLOTTER_OF_0_1)
    pens = ", ".join(
        f"{name}={_shown('Pen', job.pens.named(name), _PEN_OF_0_1)}" for name in _PENS_OF_0_1
    )
    return hashlib.sha256(f"{plotter} PensTable({pens}) {correction!r}".encode()).hexdigest()


def _shown(name: str, table: Any, keys: tuple[str, ...]) -> str:
    return f"{name}({', '.join(f'{key}={getattr(table, key)!r}' for key in keys)})"
