"""The written HP-GL, read by interpreters that no one here wrote, against the marking.

hp2xx and ezdxf's HPGL/2 add-on (`interpreters.py`) read it. Where the lines must lie comes from
`section --json` and `layout --json`, and where the device stands from the `origin` of
`write --json`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.dialects.interpreters import ARITHMETIC, HALF_UNIT, differences, ezdxf_draws, hp2xx_draws
from tests.driving.machines import MACHINES, Plot, command_json, segments, write_plots
from tests.driving.side_by_side import parallels, way

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from tests.driving.machines import Drawn, FloatArray

    Written = Callable[[str], tuple[Path, list[Plot]]]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    """The job's folder and the plots in it for the machine of this name, written once."""
    seen: dict[str, tuple[Path, list[Plot]]] = {}

    def write(name: str) -> tuple[Path, list[Plot]]:
        if name not in seen:
            folder = tmp_path_factory.mktemp("machine")
            seen[name] = folder, write_plots(name, folder)
        return seen[name]

    return write


@pytest.fixture(scope="module", params=MACHINES, ids=lambda name: name.replace(" ", "-"))
def plots(request: pytest.FixtureRequest, written: Written) -> list[Plot]:
    """Every section of the Millrace bench for one machine."""
    return written(request.param)[1]


def by_hp2xx(plot: Plot, folder: Path) -> Drawn:
    """What hp2xx draws, clipped to the program's own IW window."""
    return hp2xx_draws(plot.program, plot.usable, folder)


def by_ezdxf(plot: Plot) -> Drawn:
    """What ezdxf's HPGL/2 add-on records."""
    return ezdxf_draws(plot.program)


@pytest.mark.parametrize("interpreter", ["hp2xx", "ezdxf"])
def test_every_section_is_drawn_line_for_line_to_half_a_plotter_unit(
    plots: list[Plot], interpreter: str, tmp_path: Path
) -> None:
    for plot in plots:
        wanted = plot.wanted()
        drawn = by_hp2xx(plot, tmp_path) if interpreter == "hp2xx" else by_ezdxf(plot)
        assert set(drawn) == set(wanted), f"{plot.id}: pens"
        for pen in wanted:
            found = differences(wanted[pen], drawn[pen], HALF_UNIT + ARITHMETIC)
            assert not found, f"{plot.id}, pen {pen}: {found[:5]}"


@pytest.mark.parametrize(
    "machine", ["a3 desk plotter", "turned a quarter, with every kind of line"]
)
def test_all_sections_together_draw_the_whole_marking_and_nothing_else(
    written: Written, machine: str, tmp_path: Path
) -> None:
    """hp2xx's lines, put where each section's device stands, against `layout --json`.

    Pieces of a line butt at the joins: each is rounded to half a unit in its own section, so
    neighbours agree to one unit along each axis.
    """
    folder, plots = written(machine)
    layout = command_json("layout", "--job", str(folder))
    drawn = np.concatenate(
        [plot.on_table(lines) for plot in plots for lines in by_hp2xx(plot, tmp_path).values()]
    )
    half = HALF_UNIT * plots[0].unit + ARITHMETIC
    # Over the ends of lines the pen steps from pass to pass, some along a line that crosses there.
    for step in np.concatenate([_steps(piece, plot) for plot in plots for piece in plot.strokes]):
        off = np.abs(np.sort(drawn, axis=1) - np.sort(step, axis=0)).max((1, 2))
        assert off.min() <= half, f"no step from pass to pass at {step.tolist()}"
        drawn = np.delete(drawn, off.argmin(), axis=0)
    left = np.ones(len(drawn), dtype=bool)
    whole = []
    for stroke in layout["strokes"]:
        points = np.array(stroke["points"])
        _, passes, width = plots[0].pens[stroke["pen"]]
        if stroke["layer"] == "numeral":
            whole += [segments(points)] * passes
            continue
        for line in parallels(points, passes, width):
            on_it, ends, room = _pieces_along(line, drawn, half)
            assert left[on_it].all(), f"{stroke['id']}: drawn over another line"
            left[on_it] = False
            assert abs(ends[0, 0]) <= room, stroke["id"]
            assert abs(ends[-1, 1] - math.dist(*points)) <= room, stroke["id"]
            gaps = ends[1:, 0] - ends[:-1, 1]
            assert (np.abs(gaps) <= 2 * room).all(), f"{stroke['id']}: {gaps}"
    ticks = [
        segments(np.array(stroke["points"]))
        for plot in plots
        for stroke in plot.strokes
        if stroke["layer"] == "witness"
    ]
    assert not differences(np.concatenate(whole + ticks), drawn[left], half)


def _steps(piece: dict[str, Any], plot: Plot) -> FloatArray:
    """What the pen draws of a piece besides its passes: from each to the next, and to the line."""
    _, passes, width = plot.pens[piece["pen"]]
    drawn = segments(way(piece["points"], passes, width))
    return drawn[::2] if passes > 1 else drawn[:0]


def _pieces_along(
    points: FloatArray, drawn: FloatArray, half: float
) -> tuple[NDArray[np.intp], FloatArray, float]:
    """Which drawn segments lie on a line, where along it each starts and ends (n, 2), in order.

    Last comes how far a point may be off along or across the line, when it may be off by `half`
    along each axis: more for a slanting line.
    """
    run = points[1] - points[0]
    length = np.linalg.norm(run)
    along, off = run / length, np.array([-run[1], run[0]]) / length
    room = half * float(np.abs(along).sum())
    places = np.sort((drawn - points[0]) @ along, axis=1)
    on_line = (np.abs((drawn - points[0]) @ off) <= room).all(axis=1)
    on_it = np.flatnonzero(on_line & (places[:, 0] >= -room) & (places[:, 1] <= length + room))
    on_it = on_it[np.argsort(places[on_it, 0], kind="stable")]
    return on_it, places[on_it], room


def _upright_x(plot: Plot, cross_line: str) -> set[float]:
    """Device coordinates, along the table, of a cross line as ezdxf's interpreter reads it."""
    (stroke,) = [s for s in plot.strokes if s["of"] == cross_line]
    lines = np.concatenate(list(by_ezdxf(plot).values()))
    exact = (plot.device_mm(stroke["points"]) / plot.unit)[0]
    axis = [axis[1] for axis in plot.axes].index("x")
    near = (np.abs(lines[:, :, axis] - exact[axis]) <= 1).all(axis=1)
    return set(lines[near][:, :, axis].ravel().tolist())


def test_one_inch_is_1016_units_of_a_fortieth_of_a_millimetre(
    written: Written,
) -> None:
    """ezdxf's HPGL/2 add-on: "1 plot unit (plu) = 0.025mm, 1016 plu = 1 inch"."""
    plot = written("a3 desk plotter")[1][0]
    (first,), (second,) = _upright_x(plot, "cross-1"), _upright_x(plot, "cross-2")
    assert second - first == 1016


def test_twelve_inches_are_12251_units_of_0_02488_mm(written: Written) -> None:
    """By hand: 12 x 25.4 / 0.02488 = 12250.80; at 0.025 mm they would be 12192."""
    plot = written("units of 0.02488 mm and four pens")[1][0]
    (zero,), (twelve,) = _upright_x(plot, "cross-0"), _upright_x(plot, "cross-12")
    assert abs(twelve - zero) == pytest.approx(12250.80, abs=2 * HALF_UNIT)
