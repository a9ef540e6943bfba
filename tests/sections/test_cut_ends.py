"""Where a stroke is cut: never into a dot, at whatever place on a join it ends."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from devices.programs.files import program
from marking.layout.layout import lay_out
from marking.sections.cutting import cut
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from tests.conftest import MakeJob

JOINS_X, JOINS_Y = [100.0, 200.0], [100.0, 150.0]


@pytest.mark.parametrize("off", [0.0, 1.5e-14, -1.5e-14, 3e-10, -3e-10])
@pytest.mark.parametrize("end", [(100.0, 130.0), (130.0, 100.0), (100.0, 100.0)])
def test_a_bias_line_that_ends_on_a_join_leaves_no_dot_beyond_it(
    end: tuple[float, float], off: float
) -> None:
    run = np.array([[end[0] - 40, end[1] - 40], [end[0] + off, end[1] + off]])
    for points in (run, run[::-1]):
        pieces = [piece for _, piece in cut(points, JOINS_X, JOINS_Y)]
        assert all(math.dist(p[0], p[-1]) > 1 for p in pieces)
        assert sum(math.dist(p[0], p[-1]) for p in pieces) == pytest.approx(
            math.dist(*run.tolist())
        )


@settings(max_examples=200)
@given(
    ends=st.tuples(*[st.sampled_from([60.0, 100.0, 130.0, 150.0, 200.0, 240.0])] * 4),
    off=st.sampled_from([0.0, 2e-14, -2e-14, 5e-10, -5e-10]),
)
def test_no_piece_of_a_line_is_a_dot_and_all_of_it_is_there(
    ends: tuple[float, float, float, float], off: float
) -> None:
    x0, y0, x1, y1 = ends
    points = np.array([[x0 + off, y0 - off], [x1 - off, y1 + off]])
    whole = math.dist(*points.tolist())
    if whole < 1:
        return
    lengths = [math.dist(p[0], p[-1]) for _, p in cut(points, JOINS_X, JOINS_Y)]
    assert min(lengths) > 1e-3
    assert sum(lengths) == pytest.approx(whole, abs=1e-9)


@pytest.mark.parametrize("longest", [24, 28, 48])
def test_the_input_window_is_no_longer_than_the_machine_takes(
    make_job: MakeJob, longest: int
) -> None:
    """Counted from the middle of a large bed the window takes 30 bytes and more."""
    plotter = {
        "profile": "flatbed-24x36",
        "origin": "centre",
        "unit": "0.002 mm",
        "longest_instruction": longest,
    }
    job = make_job({"table": {"length": "30 in", "width": "20 in"}, "plotter": plotter})
    section = divide_into_sections(lay_out(job), job, job.plotter.zone).sections[0]
    written, _ = program(section, job.plotter, job.pens)
    sent = [line + b";" for line in written.replace(b"\n", b"").split(b";") if line]
    assert max(map(len, sent)) <= longest
    assert any(line.startswith(b"IW") for line in sent) == (longest == 48)
