"""How far a line that is ruled between two stubs lies off, from how far the stubs do.

It knows a rule laid to two points, no sections and no network. Errors are sideways, in mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator

    from marking.arrays import FloatArray

LAID = 0.2
"""mm: a rule is laid by hand and eye to within this of a stub or a tick, evenly, each end by
itself: the careful end of a hand's 0.2 to 0.3 mm, which is common practice, no source."""


def ruled_errors(
    near: FloatArray,
    far: FloatArray,
    shares: FloatArray,
    rng: Generator,
    *,
    laid: float = LAID,
) -> FloatArray:
    """Errors along ruled lines: (..., places) from stub errors (...) of as many runs and lines.

    `near` and `far` are the sideways errors of each line's two stubs where the rule is laid to
    them, of the same shape, run by run: stubs whose sections share an error must share it here.
    `shares` are the places along the line, 0 at the near stub's end and 1 at the far one's. The
    rule is straight, and laid to each end with an error of its own.
    """
    if near.shape != far.shape:
        raise ValueError(f"stub errors of shapes {near.shape} and {far.shape}: one for each run")
    at_near = near + rng.uniform(-laid, laid, near.shape)
    at_far = far + rng.uniform(-laid, laid, far.shape)
    along: FloatArray = at_near[..., None] * (1 - shares) + at_far[..., None] * shares
    return along


def steps_at_stubs(
    near: FloatArray, far: FloatArray, ruled: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far apart ruled line and stub lie where they meet, at the near and at the far end.

    `ruled` is what `ruled_errors` gave for places of which the first is 0 and the last is 1.
    """
    return np.abs(ruled[..., 0] - near), np.abs(ruled[..., -1] - far)
