"""From imagined covers to what 95 of 100 keep within: total, square, neighbours and step.

It knows where lines ended up, not why. All is sideways, across a line: what lies off along a line
is not seen. Millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from marking.network.allowed_errors import SQUARE_OVER
from marking.ways.way import ExpectedErrors

if TYPE_CHECKING:
    from marking.arrays import FloatArray

COVERS = 2000
"""Covers imagined for each way."""
SEED = 20
SHARE = 0.95


def told(
    near: FloatArray, far: FloatArray, width: float, step: FloatArray, line: FloatArray
) -> ExpectedErrors:
    """What 95 of 100 covers keep within.

    `near` and `far` (covers, lines), the zero line first: how far along the table each cross line
    is off at its two ends, `width` mm apart; `step`, and `line` of ink that is not a cross line's
    end, (covers,): the worst of each cover.
    """
    ends = np.concatenate([near, far], axis=1)
    apart = [np.abs(np.diff(end, axis=1)).max(axis=1) for end in (near, far) if end.shape[1] > 1]
    lean = np.abs(far - near).max(axis=1) * min(SQUARE_OVER / max(width, 1.0), 1.0)
    from_zero = [np.abs(end - end[:, :1]).max(axis=1) for end in (near, far)]
    return ExpectedErrors(
        kept_within(np.maximum(np.abs(ends).max(axis=1), line)),
        kept_within(np.max(from_zero, axis=0)),
        kept_within(lean),
        kept_within(np.max(apart, axis=0)) if apart else 0.0,
        kept_within(step),
    )


def kept_within(values: FloatArray) -> float:
    """What 95 of 100 covers keep within, from the worst of each, (covers,)."""
    return float(np.quantile(values, SHARE))
