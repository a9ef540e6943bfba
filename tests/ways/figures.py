"""The figures that a cover is judged by, as the trade means them, from where its ink lies.

Sideways is across a line: x for a cross line, y for a long line. What lies off along a line is
not seen and counts nowhere. Every figure is the worst on one cover, in mm; what is told to a person
is its 95 % quantile over covers.

line        How far any inked point lies sideways of its true place on the table. It counts a shift
            of everything, which is harmless in use, so it is no limit of the trade's; it is what
            `tolerance` said before there were limits.
total       From zero, over the table: at any one height y, how far a cross line's distance from the
            zero line at that same height is from what its numeral says; along the length, how far a
            long line's distance from the first near long line is from what it should be. A shift
            and a turn of the whole marking do not count; stretch does. `along`: cross lines only.
square      Of a cross line over 54 in: between any two of its points no more than 54 in apart, how
            far one lies sideways of the perpendicular through the other to the near long line (the
            straight line that fits the whole first near long line best). A lean, a bend and a
            zigzag count alike. `square_width`: the same over the whole width.
neighbours  Two lines beside each other: how far their distance is from the pitch, anywhere along
            them, within sections and across joins; cross lines, and the long lines of one band.
step        At a join: where a line passes from one section into the next, how far its two ends
            lie apart sideways; likewise where a ruled line meets an inked end.
gap         At a join: how far apart the same two ends lie in any direction. Reported only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.ways.cover_model import INCH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.ways.cover_model import Cover, Errors, Plan

    FloatArray = NDArray[np.float64]

NAMES = ("line", "total", "along", "square", "square_width", "neighbours", "step", "gap")
OVER = 54 * INCH
_EACH = 3
"""Points followed on each piece of a line: both ends and the middle."""


def _pieces(plan: Plan, k: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Cross lines' x and the heights followed on them; long lines' y and the x followed on them."""
    x0, y0, x1, y1 = plan.sections[k].core
    cross = plan.cross_x[(plan.cross_x > x0) & (plan.cross_x < x1)]
    long = plan.long_y[(plan.long_y > y0) & (plan.long_y < y1)]
    heights = np.linspace(max(y0, plan.long_y[0]), min(y1, plan.long_y[-1]), _EACH)
    along = np.linspace(max(x0, plan.cross_x[0]), min(x1, plan.cross_x[-1]), _EACH)
    return cross, heights, long, along


def points(plan: Plan) -> list[FloatArray]:
    """The points of each section's ink to follow: (n, 2) each, table frame."""
    out = []
    for k in range(len(plan.sections)):
        cross, heights, long, along = _pieces(plan, k)
        on_cross = np.stack(np.meshgrid(cross, heights, indexing="ij"), axis=-1).reshape(-1, 2)
        on_long = np.stack(np.meshgrid(along, long, indexing="xy"), axis=-1).reshape(-1, 2)
        out.append(np.concatenate([on_cross, on_long]))
    return out


def _gathered(cover: Cover) -> tuple[FloatArray, ...]:
    """Cross lines (covers, lines, rows * 3, 2) with heights; long lines (…, columns * 3, 2), x."""
    plan = cover.plan
    rows = sorted({s.row for s in plan.sections})
    columns = sorted({s.column for s in plan.sections})
    covers = cover.displaced[0][1].shape[0]
    on_cross = np.full((covers, len(plan.cross_x), len(rows) * _EACH, 2), np.nan)
    on_long = np.full((covers, len(plan.long_y), len(columns) * _EACH, 2), np.nan)
    at_y, at_x = np.zeros(len(rows) * _EACH), np.zeros(len(columns) * _EACH)
    for k, section in enumerate(plan.sections):
        cross, heights, long, along = _pieces(plan, k)
        off = cover.displaced[k][1]
        r, c = rows.index(section.row) * _EACH, columns.index(section.column) * _EACH
        at_y[r : r + _EACH], at_x[c : c + _EACH] = heights, along
        n = np.searchsorted(plan.cross_x, cross)
        j = np.searchsorted(plan.long_y, long)
        split = len(cross) * _EACH
        on_cross[:, n, r : r + _EACH] = off[:, :split].reshape(covers, len(cross), _EACH, 2)
        on_long[:, j, c : c + _EACH] = off[:, split:].reshape(covers, len(long), _EACH, 2)
    assert not np.isnan(on_cross).any()
    assert not np.isnan(on_long).any()
    return on_cross, at_y, on_long, at_x


def ruling(errors: Errors, covers: int, lines: int, rng: np.random.Generator) -> FloatArray:
    """(covers, lines, 2): how far each ruled line is set off sideways at its near and far end."""
    if np.isfinite(errors.ruled_most):
        return rng.uniform(-1, 1, (covers, lines, 2)) * errors.ruled_most
    return rng.standard_normal((covers, lines, 2)) * errors.ruled


def _worst(values: FloatArray) -> FloatArray:
    return np.abs(values).reshape(len(values), -1).max(axis=1)


def _square(x: FloatArray, heights: FloatArray, over: float) -> FloatArray:
    """Worst range of `x` (covers, lines, heights) over any part no longer than `over`."""
    worst = np.zeros(len(x))
    for i, y in enumerate(heights):
        within = (heights >= y) & (heights <= y + over + 1e-9)
        part = x[:, :, within]
        worst = np.maximum(worst, _worst(part - x[:, :, i, None]))
    return worst


def figures(cover: Cover, errors: Errors, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Each figure of NAMES for each cover: (covers,), mm."""
    plan = cover.plan
    on_cross, at_y, on_long, at_x = _gathered(cover)
    covers, lines = on_cross.shape[:2]
    x, y = on_cross[..., 0], on_long[..., 1]
    joins = [
        on_cross[:, :, i] - on_cross[:, :, i - 1]
        for i in range(_EACH, len(at_y), _EACH)
        if abs(at_y[i] - at_y[i - 1]) < 1e-6
    ]
    steps = [_worst(j[..., 0]) for j in joins]
    gaps = [_worst(np.hypot(j[..., 0], j[..., 1])) for j in joins]
    for i in range(_EACH, len(at_x), _EACH):
        across = on_long[:, :, i] - on_long[:, :, i - 1]
        steps.append(_worst(across[..., 1]))
        gaps.append(_worst(np.hypot(across[..., 0], across[..., 1])))
    if plan.ruled:
        near = int(np.flatnonzero(np.diff(at_y) > INCH * 20)[0])
        off = ruling(errors, covers, lines, rng)
        steps.append(_worst(off))
        ends = x[:, :, near : near + 2] + off
        heights = np.linspace(at_y[near], at_y[near + 1], 7)
        share = np.linspace(0, 1, 7)
        drawn = ends[..., :1] * (1 - share) + ends[..., 1:] * share
        x = np.concatenate([x[:, :, : near + 1], drawn, x[:, :, near + 1 :]], axis=2)
        at_y = np.concatenate([at_y[: near + 1], heights, at_y[near + 1 :]])
    centred = at_x - at_x.mean()
    slope = (y[:, 0] * centred).sum(axis=1) / (centred**2).sum()
    upright = x + slope[:, None, None] * at_y
    bands = np.diff(plan.long_y) < 1.5 * INCH
    return {
        "line": np.maximum(_worst(x), _worst(y)),
        "total": np.maximum(_worst(x - x[:, :1]), _worst(y - y[:, :1])),
        "along": _worst(x - x[:, :1]),
        "square": _square(upright, at_y, OVER),
        "square_width": _square(upright, at_y, np.inf),
        "neighbours": np.maximum(_worst(np.diff(x, axis=1)), _worst(np.diff(y, axis=1)[:, bands])),
        "step": np.max(steps, axis=0),
        "gap": np.max([*gaps, *steps], axis=0),
    }


def told(each: dict[str, FloatArray], share: float = 0.95) -> dict[str, float]:
    """The figure that `share` of the covers keep within."""
    return {name: float(np.quantile(values, share)) for name, values in each.items()}
