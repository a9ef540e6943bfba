"""The top as it looks by what is measured so far, drawn before a job can be laid out by it.

It knows six lengths, and no job; nothing is marked by it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from marking.job.keys import AgainTable
from marking.measures.lengths import parse_length

if TYPE_CHECKING:
    from collections.abc import Mapping

_OPPOSITE = {"near": "far", "far": "near", "zero_end": "far_end", "far_end": "zero_end"}
_SD = 1.0
"""mm, of each alike: they only share out what does not close."""


def sketch(typed: Mapping[str, str], length: float, width: float) -> list[list[float]] | None:
    """The four corners by the measurements `typed`, by their keys of [table.survey]; mm, table.

    What is not measured yet is taken for as long as its opposite, or as the size by name, and a
    diagonal for that of a square corner. None where nothing is typed, or no figure closes.
    """
    import numpy as np

    from marking.errors import CanvasruleError
    from marking.layout.survey import adjust

    known = {}
    for side in AgainTable.model_fields:
        try:
            known[side] = parse_length(typed[side])
        except (KeyError, ValueError):
            continue
    if not known:
        return None
    named = {"near": length, "far": length, "zero_end": width, "far_end": width}
    sides = {
        side: known.get(side) or known.get(_OPPOSITE[side]) or size for side, size in named.items()
    }
    across = math.hypot(
        (sides["near"] + sides["far"]) / 2, (sides["zero_end"] + sides["far_end"]) / 2
    )
    six = [sides.get(side) or known.get(side) or across for side in AgainTable.model_fields]
    try:
        corners, _ = adjust(np.array(six), np.full(len(six), _SD))
    except (CanvasruleError, np.linalg.LinAlgError):
        return None
    found: list[list[float]] = corners.tolist()
    return found if np.isfinite(corners).all() else None
