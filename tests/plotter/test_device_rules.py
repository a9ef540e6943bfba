"""What is sent to a plotter, read back from the bytes, over random but legal jobs and beds."""

from __future__ import annotations

import itertools
import re
from typing import TYPE_CHECKING

import numpy as np
from hypothesis import given, settings

from devices.programs.files import program
from tests.driving.side_by_side import way
from tests.sections.random_jobs import in_mm, jobs
from tests.sections.records import (
    Record,
    axes_of,
    planned,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from marking.job.keys import Pen
    from marking.layout.layout import Stroke
    from tests.conftest import MakeJob


_COORDINATES = re.compile(rb"(PU|PD|IW)(-?\d+(?:,-?\d+)+);")
Points = list[tuple[int, int]]


def pen_down_points(written: bytes) -> tuple[Points, Points, Points]:
    """All coordinates, those of the input window, and the pen-down path, straight from the text."""
    everywhere: Points = []
    window: Points = []
    path: Points = []
    waiting: Points = []
    for word, numbers in _COORDINATES.findall(written):
        values = list(map(int, numbers.split(b",")))
        pairs = list(zip(values[::2], values[1::2], strict=True))
        everywhere += pairs
        if word == b"IW":
            window = pairs
        elif word == b"PU":
            waiting = pairs[-1:]
        else:
            path += waiting + pairs
            waiting = []
    return everywhere, window, path


@settings(max_examples=40)
@given(tables=jobs())
def test_nothing_sent_to_a_plotter_leaves_its_usable_area(
    make_job: MakeJob, tables: Record
) -> None:
    job, _, _, plan = planned(make_job, tables, "plotter")
    plotter = tables["plotter"]
    unit = in_mm(plotter["unit"])
    limit = plotter["coordinate_limit"]
    for section in plan.sections:
        everywhere, stated, _ = pen_down_points(program(section, job.plotter, job.pens)[0])
        # An IW longer than the machine takes is not sent; its area is kept all the same.
        assert len(stated) == 2 or plotter["longest_instruction"] < 41
        sizes = [section.window[k + 2] - section.window[k] for k in (0, 1)]
        for device, (axis, _) in enumerate(axes_of(tables, turned=section.turned)):
            size = sizes[axis]
            low, high = (0.0, size) if plotter["origin"] == "corner" else (-size / 2, size / 2)
            for pair in everywhere:
                assert low - 1e-6 <= pair[device] * unit <= high + 1e-6
                assert abs(pair[device]) <= limit
                if stated:
                    assert stated[0][device] <= pair[device] <= stated[1][device]


@settings(max_examples=40)
@given(tables=jobs())
def test_the_pen_goes_where_the_section_says_within_half_a_plotter_unit(
    make_job: MakeJob, tables: Record
) -> None:
    job, _, _, plan = planned(make_job, tables, "plotter")
    unit = in_mm(tables["plotter"]["unit"])
    for section in plan.sections:
        written, bed = program(section, job.plotter, job.pens)
        columns, signs = zip(*axes_of(tables, turned=section.turned), strict=True)
        wanted = np.concatenate(
            [drawn(piece.stroke, job.pens.named(piece.stroke.pen)) for piece in section.pieces]
        )
        exact = ((wanted - bed.origin_table)[:, list(columns)] * signs / unit).tolist()
        sent = [point for point, _ in itertools.groupby(pen_down_points(written)[2])]
        at = 0
        for place in exact:
            if not close(place, sent[at]):
                at += 1
                assert at < len(sent)
                assert close(place, sent[at]), section.id
        assert at == len(sent) - 1, "more was sent than the section inks"


def close(exact: list[float], sent: tuple[int, int]) -> bool:
    return all(abs(a - b) <= 0.5 + 1e-6 for a, b in zip(exact, sent, strict=True))


def drawn(stroke: Stroke, pen: Pen) -> NDArray[np.float64]:
    """A line's passes side by side; a numeral there, back and there again."""
    if stroke.layer != "numeral":
        return way(stroke.points, pen.passes, pen.width)
    return np.concatenate([stroke.points[:: 1 if n % 2 == 0 else -1] for n in range(pen.passes)])
