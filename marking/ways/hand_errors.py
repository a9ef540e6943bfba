"""What a cover marked by hand holds, with a tape, strips, light or panels: covers imagined.

It knows no machine. Our own assumptions, evidence of nothing: a tick set or followed by hand is
off by up to half a millimetre, evenly: half of it in finding the reading, as where a strip is slid
along the tape, half in drawing the tick, as at a strip's edge. The rule is laid to either end of a
line as `marking.ruling.errors` has it, whoever made the mark; where it is laid anew for the second
reach it slips by a standard deviation of 0.2 mm; the tape shares its scale, by class; the zero line
leans by what comparing both diagonals leaves. Paper changes with damp and printer by 0.1 %
(standard deviation, one figure for all of one printing). Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.ruling.errors import LAID
from marking.ways.kept_within import COVERS, SEED, kept_within, told

if TYPE_CHECKING:
    from marking.arrays import FloatArray
    from marking.ways.way import ExpectedErrors

PAPER = 1e-3
"""Standard deviation of printed paper's scale, mm a mm."""


class HandDoubts(Struct, frozen=True):
    """Errors of a hand at work, in mm; `tape_most` bounds its scale evenly, in mm a mm."""

    tape_most: float
    tick_most: float = 0.5
    ruled_most: float = 0.2
    """Of a printed line that is traced off its place."""
    laid: float = LAID
    """Of the rule at either end of a line."""
    slip: float = 0.2
    lean: float = 0.3 / 1600
    """Standard deviation, radians."""
    traced_most: float = 0.25
    """Of a strip's end brought to its reading, and of a tick drawn where the strip shows it."""


def by_tape(line_x: FloatArray, width: float, doubts: HandDoubts) -> ExpectedErrors:
    """Ticks by tape along both edges, each line ruled between its two."""
    rng = np.random.default_rng(SEED)
    ticks = rng.uniform(-doubts.tick_most, doubts.tick_most, (2, COVERS, len(line_x)))
    # The tape's zero lies on the zero line: there is no tick to set.
    ticks[:, :, 0] = 0.0
    return _ruled(rng, ticks, line_x, width, doubts)


def by_strips(
    line_x: FloatArray, width: float, strip: float, pitch: float, doubts: HandDoubts
) -> ExpectedErrors:
    """Printed strips `strip` long, each laid to two readings of its own; lines ruled between."""
    rng = np.random.default_rng(SEED)
    ticks = _from_strips(rng, line_x, strip, pitch, doubts)
    return _ruled(rng, ticks, line_x, width, doubts)


def strip_ticks_hold(
    line_x: FloatArray, strip: float, pitch: float, doubts: HandDoubts
) -> tuple[float, float]:
    """What 95 of 100 covers keep within before a line is ruled: any tick from where it counts to,
    and any gap between two ticks beside each other, mm."""
    rng = np.random.default_rng(SEED)
    ticks = _from_strips(rng, line_x, strip, pitch, doubts)
    shared = rng.uniform(-doubts.tape_most, doubts.tape_most, (COVERS, 1)) * (line_x - line_x[0])
    gaps = np.abs(np.diff(ticks, axis=2)).max(axis=(0, 2), initial=0.0)
    return kept_within(np.abs(ticks + shared).max(axis=(0, 2))), kept_within(gaps)


def _from_strips(
    rng: np.random.Generator, line_x: FloatArray, strip: float, pitch: float, doubts: HandDoubts
) -> FloatArray:
    """(2, covers, lines): how far a tick of either edge is off that was taken from a strip.

    A strip carries half a `pitch` before its first line. It is slid along the tape until its first
    and its last tick stand at their readings, so that both share what the paper is off by.
    """
    which = np.floor((line_x - line_x[0] + pitch / 2 + 1e-6) / strip).astype(int)
    last = int(which.max())
    first_x, last_x = (
        np.array([ends(line_x[which == n], initial=reach) for n in range(last + 1)])
        for ends, reach in ((np.min, np.inf), (np.max, -np.inf))
    )
    ends = rng.uniform(-doubts.traced_most, doubts.traced_most, (2, 2, COVERS, last + 1))
    laid = ends.mean(axis=0)
    paper = PAPER * rng.standard_normal((COVERS, 1))
    traced = rng.uniform(-doubts.traced_most, doubts.traced_most, (2, COVERS, len(line_x)))
    middle = (first_x + last_x) / 2
    off: FloatArray = laid[:, :, which] + paper * (line_x - middle[which]) + traced
    # The zero line is struck before any strip is laid.
    off[:, :, 0] = 0.0
    return off


def by_panels(line_x: FloatArray, width: float, doubts: HandDoubts) -> ExpectedErrors:
    """Full-size panels laid from the zero line and traced."""
    rng = np.random.default_rng(SEED)
    paper = PAPER * rng.standard_normal((COVERS, 1))
    traced = rng.uniform(-doubts.ruled_most, doubts.ruled_most, (2, COVERS, len(line_x)))
    laid = rng.uniform(-doubts.tick_most, doubts.tick_most, (2, COVERS, 1))
    # Two panels side by side meet along the middle of the table.
    off = paper * (line_x - line_x[0]) + traced + laid
    step = np.abs(laid[0] - laid[1])[:, 0]
    return told(off[0], off[1], width, step, np.abs(off).max(axis=(0, 2)))


def by_stretched_cloth(line_x: FloatArray, width: float, stretch: float) -> ExpectedErrors:
    """Loose cloth marked true and stretched on, its stretch known to `stretch`, a ratio (sd)."""
    rng = np.random.default_rng(SEED)
    along, across = stretch * rng.standard_normal((2, COVERS, 1))
    off = along * (line_x - line_x[0])
    none = np.zeros(COVERS)
    return told(off, off, width, none, np.abs(across[:, 0] * width))


def by_light(
    line_x: FloatArray,
    width: float,
    columns: int,
    light: float,
    traced: float,
    doubts: HandDoubts,
    *,
    ruled: bool,
) -> ExpectedErrors:
    """Lines of light traced, in `columns` sections along and one along each edge.

    `light`: standard deviation, each way, of light anywhere in a section, apart from what the
    tape shares; `traced`: of the hand that follows it. `ruled`: only line ends are traced.
    """
    rng = np.random.default_rng(SEED)
    share = (line_x - line_x[0]) / max(float(np.ptp(line_x)), 1e-9)
    place = np.minimum(share * columns, columns - 1e-9)
    which = place.astype(int)
    inside = place - which
    # Each section is off by one figure at its zero side and one at its far side, at both edges.
    ends = light * rng.standard_normal((2, COVERS, columns, 2))
    lit = ends[:, :, which, 0] * (1 - inside) + ends[:, :, which, 1] * inside
    hand = traced * rng.standard_normal((2, COVERS, len(line_x)))
    tape = rng.uniform(-doubts.tape_most, doubts.tape_most, (COVERS, 1)) * line_x
    off = lit + hand + tape
    if ruled:
        laid = rng.uniform(-doubts.laid, doubts.laid, off.shape)
        off = off + laid
        step = np.abs(laid).max(axis=(0, 2))
    else:
        # Where the light from either edge meets, a cross line is traced on from another section.
        meet = light * rng.standard_normal((2, COVERS, columns, 2))
        met = meet[:, :, which, 0] * (1 - inside) + meet[:, :, which, 1] * inside
        met = met + traced * rng.standard_normal(met.shape)
        step = np.abs(met[0] - met[1]).max(axis=1)
    across = light * rng.standard_normal((COVERS, columns))
    line = np.abs(across).max(axis=1)
    return told(off[0], off[1], width, step, line)


def _ruled(
    rng: np.random.Generator,
    ticks: FloatArray,
    line_x: FloatArray,
    width: float,
    doubts: HandDoubts,
) -> ExpectedErrors:
    """Ticks (2, covers, lines) of both edges, joined by a rule in two reaches."""
    shared = rng.uniform(-doubts.tape_most, doubts.tape_most, (COVERS, 1)) * line_x
    lean = doubts.lean * rng.standard_normal((COVERS, 1)) * width
    slips = rng.uniform(-doubts.laid, doubts.laid, ticks.shape)
    near = ticks[0] + slips[0] + shared
    far = ticks[1] + slips[1] + shared + lean
    step = np.abs(doubts.slip * rng.standard_normal((COVERS, len(line_x)))).max(axis=1)
    # A long line is ruled from tick to tick as well, one at either end.
    line = doubts.tick_most + np.zeros(COVERS)
    return told(near, far, width, step, line)
