"""Random but legal jobs: tables, surveys, grids, beds and reaches as a `job.toml` would say them.

Each can be laid out, and divided for its plotter and for an arm, so that a refusal of one is the
program's fault. It draws what a person may write and knows nothing of how the program reads or
marks it.
"""

from __future__ import annotations

import math
from typing import Any

from hypothesis import strategies as st

MOST_LINES = 110
"""Cross lines of a random table: enough for three digits, few enough to route quickly."""
AXES = [
    (first + a, second + b)
    for a, b in (("x", "y"), ("y", "x"))
    for first in "+-"
    for second in "+-"
]


def _sixteenths(low: float, high: float) -> st.SearchStrategy[str]:
    """A tape reading between `low` and `high` inches."""
    return st.integers(round(16 * low), round(16 * high)).map(lambda n: f"{n}/16 in")


def _millimetres(low: float, high: float) -> st.SearchStrategy[str]:
    return st.integers(round(low), round(high)).map(lambda n: f"{n} mm")


def in_mm(text: str) -> float:
    """The two spellings above, read without the program."""
    number, unit = text.split()
    top, _, below = number.partition("/")
    return float(top) / float(below or 1) * (25.4 if unit == "in" else 1.0)


@st.composite
def surveys(draw: st.DrawFn, length: float, width: float) -> dict[str, str]:
    """Six tape readings that close, of a top whose corners lie up to 8 mm off a rectangle's."""
    off = st.integers(-80, 80).map(lambda n: n / 10)
    near, far_x, far_y, zero_x, zero_y = (draw(off) for _ in range(5))
    corners = [
        (0.0, 0.0),
        (length + near, 0.0),
        (length + far_x, width + far_y),
        (zero_x, width + zero_y),
    ]
    ends = {
        "near": (0, 1),
        "far": (3, 2),
        "zero_end": (0, 3),
        "far_end": (1, 2),
        "diagonal_from_zero_near": (0, 2),
        "diagonal_from_zero_far": (3, 1),
    }
    return {key: f"{math.dist(corners[a], corners[b]):.4f} mm" for key, (a, b) in ends.items()}


@st.composite
def frames(draw: st.DrawFn, x_size: int, y_size: int) -> dict[str, Any]:
    """What an open frame stands on: a foot in each corner, at the sides, or none told of."""
    foot = draw(st.integers(10, 60))
    beyond_x, beyond_y = ([foot + draw(st.integers(0, 200)) for _ in range(2)] for _ in range(2))
    sides = [
        (-beyond_x[0] + foot / 2, y_size / 2),
        (x_size + beyond_x[1] - foot / 2, y_size / 2),
        (x_size / 2, -beyond_y[0] + foot / 2),
    ]
    at_sides = [[f"{x:.1f} mm", f"{y:.1f} mm"] for x, y in sides]
    return {
        "foot": f"{foot} mm",
        "beyond_x": [f"{beyond} mm" for beyond in beyond_x],
        "beyond_y": [f"{beyond} mm" for beyond in beyond_y],
        "feet": draw(st.sampled_from(["corners", at_sides, at_sides, []])),
        "weight_kg": draw(st.integers(0, 60)),
    }


@st.composite
def plotters(draw: st.DrawFn, length: float, width: float) -> dict[str, Any]:
    """A bed from a few pitches to more than the table, set down any way round, or a roll.

    A roll's carriage is as wide as the slack canvas and more, and its coordinates go as far:
    nothing narrower takes it.
    """
    axes = draw(st.sampled_from(AXES))
    roll = draw(st.booleans())
    whole_x, whole_y = roll and axes[0][1] == "y", roll and axes[0][1] == "x"
    along = length * 1.03 if whole_x else length / draw(st.integers(1, 5))
    across = width * 1.03 if whole_y else width / draw(st.integers(1, 3))
    along, across = (math.ceil(size + draw(st.integers(30, 120))) for size in (along, across))
    x_size, y_size = (along, across) if axes[0][1] == "x" else (across, along)
    unlimited = roll and draw(st.booleans())
    origin = draw(st.sampled_from(["corner", "centre"]))
    unit = draw(st.sampled_from(["0.025 mm", "0.02488 mm"]))
    reached = (1 if origin == "corner" else 2) * in_mm(unit)
    limits = [limit for limit in (32767, 8388607) if not roll or limit * reached >= y_size]
    works = (
        {"profile": "roll-36", "cloth_width": f"{y_size} mm"}
        if roll
        else {"profile": "flatbed-a3", **draw(frames(x_size, y_size))}
    )
    return {
        **works,
        "x_size": "unlimited" if unlimited else f"{x_size} mm",
        "y_size": f"{y_size} mm",
        "axes": list(axes),
        "origin": origin,
        "unit": unit,
        "coordinate_limit": draw(st.sampled_from(limits)),
        "set_down": f"{draw(st.integers(0, 6)) / 2} mm",
        "longest_instruction": draw(st.sampled_from([24, 48, 512])),
    }


@st.composite
def _grids(draw: st.DrawFn, length: float, metric: bool) -> dict[str, Any]:
    choices = [12.5, 20.0, 25.0, 40.0, 50.0] if metric else [12.7, 19.05, 25.4, 38.1, 50.8]
    pitch = draw(st.sampled_from([p for p in choices if length / p <= MOST_LINES]))
    end_margin = draw(_millimetres(15, 60))
    last = int((length - 2 * in_mm(end_margin) - 20) // pitch)
    return {
        "pitch": f"{pitch} mm",
        "margin": draw(_millimetres(14, 50)),
        "end_margin": end_margin,
        "heavy_every": draw(st.integers(0, 13)),
        "half_ticks": draw(st.booleans()),
        "bias": draw(st.lists(st.integers(0, max(0, last - 1)), max_size=4)),
        "long_lines": draw(st.sampled_from(["bands", "full"])),
    }


@st.composite
def _pens(draw: st.DrawFn) -> dict[str, Any]:
    def pen(slot: int, least: int, most: int) -> dict[str, Any]:
        return {"slot": slot, "width": f"{draw(st.integers(least, most)) / 10} mm"}

    return {
        "lines": pen(1, 3, 15),
        "heavy": {**pen(1, 3, 25), "passes": draw(st.integers(1, 3))},
        "numerals": pen(draw(st.integers(1, 3)), 3, 9),
        "removable": pen(2, 3, 8),
    }


@st.composite
def jobs(draw: st.DrawFn, longest: float = 200.0, widest: float = 80.0) -> dict[str, Any]:
    """A job of a table 20 to `longest` by 12 to `widest` inches, in inches or metric."""
    metric = draw(st.booleans())
    if metric:
        length = draw(_millimetres(508, 25.4 * longest))
        width = draw(_millimetres(305, 25.4 * widest))
    else:
        length, width = draw(_sixteenths(20, longest)), draw(_sixteenths(12, widest))
    top = in_mm(length), in_mm(width)
    table: dict[str, Any] = {"length": length, "width": width}
    if draw(st.booleans()):
        table["survey"] = draw(surveys(*top))
    most = max(0.0, top[1] / 2 - 15)
    eighths = st.integers(4, 48).map(lambda n: f"{n}/8 in")
    hems = st.tuples(st.sampled_from(["single", "double"]), eighths)
    return {
        "title": "A table drawn by lot",
        "units": "mm" if metric else "in",
        "table": table,
        "grid": draw(_grids(top[0], metric)),
        "hems": {
            "depth": draw(_millimetres(0, min(most, 210))),
            "folds": [" ".join(hem) for hem in draw(st.lists(hems, max_size=4))],
            "cross_folds": draw(st.booleans()),
        },
        "numerals": {
            "every": draw(st.integers(1, 5)),
            "per_line": draw(st.sampled_from([1, 1, 2, 5])),
            "clear": f"{draw(st.integers(0, 16)) / 5} mm",
            "height": draw(st.sampled_from(["auto", "auto", "auto", "4 mm"])),
            "sides": draw(st.sampled_from([["near", "far"], ["near", "far"], ["far"], []])),
        },
        "cloth": {
            "stretch_length": f"{draw(st.integers(-4, 4)) / 2} %",
            "stretch_width": f"{draw(st.integers(-4, 4)) / 2} %",
        },
        "pens": draw(_pens()),
        "plotter": draw(plotters(*top)),
        "inking": {"drying": f"{draw(st.sampled_from([2, 2, 10, 60]))} min"},
        "reach": {
            "depth": draw(_millimetres(120, top[1] + 100)),
            "span": draw(_millimetres(200, top[0] + 100)),
        },
    }
