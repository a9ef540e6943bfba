"""One order of pieces for files and runs: what is driven is what is written, in either dialect.

The words are read back here by what the standards say of them: HP PCL/PJL Reference, Technical
Reference Manual part II, p. 17-7 (instructions part by semicolons), NISTIR 6556 (a line a block).
"""

from __future__ import annotations

import re
from math import inf, nan
from typing import TYPE_CHECKING

import numpy as np
import pytest

from devices.driving.machine import setting
from devices.driving.program import Script
from devices.programs.files import program
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from devices.job import Job
    from marking.sections.plan import Section
    from tests.conftest import MakeJob

Place = tuple[float, float]
STOCK = ["flatbed-a3", "flatbed-a4", "flatbed-24x36", "roll-36", "gantry-gcode"]
TABLE = {"length": "60 in", "width": "30 in"}


def sections(job: Job) -> tuple[Section, ...]:
    return divide_into_sections(lay_out(job), job, job.plotter.zone).sections


def driven(section: Section, job: Job) -> bytes:
    """All that a run of one section says but what it asks."""
    made = setting(section, job.plotter, job.pens)
    script = Script(made.writer, made.dialect, made.room, made.nudge)
    stretches = (script.opening(), script.ink(made.strokes), script.closing())
    return b"".join(say.data for says in stretches for say in says if say.checkpoint is None)


def drawn(data: bytes) -> list[tuple[Place, Place]]:
    """Every move of a lowered pen, in order: from where, and where to."""
    found: list[tuple[Place, Place]] = []
    at = (nan, nan)
    for word in re.split(r"[;\n]", data.decode()):
        to: list[Place] = []
        if word.startswith(("PD", "PU")):
            numbers = [float(number) for number in word[2:].split(",") if number]
            to = list(zip(numbers[::2], numbers[1::2], strict=True))
        elif told := re.match(r"G[01]X([-\d.]+)Y([-\d.]+)", word):
            to = [(float(told[1]), float(told[2]))]
        for place in to:
            if word.startswith(("PD", "G1")):
                found.append((at, place))
            at = place
    return found


def beside(place: Place, start: Place, end: Place) -> float:
    """How far `place` lies from the line between two others, and not past either of them."""
    along = np.subtract(end, start)
    off = np.subtract(place, start)
    assert 0 < off @ along < along @ along
    return float(abs(along[0] * off[1] - along[1] * off[0]) / np.hypot(*along))


@pytest.mark.parametrize("profile", STOCK)
def test_a_run_draws_point_for_point_what_the_file_does(make_job: MakeJob, profile: str) -> None:
    """A plotter that cannot brake is driven with points on the way besides: whole units."""
    job = make_job({"table": TABLE, "plotter": {"profile": profile}})
    brakes = profile == "gantry-gcode"
    for section in sections(job):
        written, _ = program(section, job.plotter, job.pens)
        run = iter([place for _, place in drawn(driven(section, job))])
        for start, end in drawn(written):
            for place in run:
                if place == end:
                    break
                assert not brakes
                assert beside(place, start, end) <= 0.5
            else:
                pytest.fail(f"{section.id}: {end} is not drawn")
        assert next(run, None) is None


@pytest.mark.parametrize("profile", [one for one in STOCK if one != "gantry-gcode"])
def test_points_on_the_way_lift_the_pen_out_of_hardly_any_line(
    make_job: MakeJob, profile: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it is asked how far it is, the answer has to be told apart; a lifted pen leaves a dot.

    The hardest case: a slow pen that draws there and back, and the least buffer there is.
    """
    slow = {"slot": 1, "width": "0.7 mm", "speed": "20 mm/s", "passes": 2}
    keys = {"table": TABLE, "plotter": {"profile": profile}, "pens": {"lines": slow}}
    job = make_job(keys)

    def lifts() -> int:
        return sum(driven(section, job).count(b"PU") for section in sections(job)[:4])

    in_legs = lifts()
    assert in_legs > 0
    monkeypatch.setattr("devices.driving.program._LEG_MM", inf)
    assert in_legs <= 1.3 * lifts()


@pytest.mark.parametrize("profile", STOCK)
def test_a_file_lowers_the_pen_as_often_as_its_route_counts(
    make_job: MakeJob, profile: str
) -> None:
    """One pen goes on with a heavy line where another one ended: it is the same pen."""
    job = make_job({"table": TABLE, "plotter": {"profile": profile}})
    joined_to_another = False
    for section in sections(job):
        written, _ = program(section, job.plotter, job.pens)
        lowered, down = 0, False
        for line in written.decode().splitlines():
            if line.startswith(("PD", "G0Z0")):
                lowered, down = lowered + (not down), True
            elif line.startswith(("PU", "G0Z")):
                down = False
        assert lowered == section.route.lifts
        pens = [piece.stroke.pen for piece in section.pieces]
        joined_to_another |= any(
            leg.joined and before != pen
            for leg, before, pen in zip(section.route.legs[1:], pens, pens[1:], strict=False)
        )
    assert joined_to_another


def test_a_gantry_draws_with_each_pen_at_the_speed_that_the_route_counts_with(
    make_job: MakeJob,
) -> None:
    """F is millimetres a minute (NISTIR 6556, 3.6.3, from memory)."""
    pens = {"numerals": {"speed": "40 mm/s"}, "heavy": {"speed": "300 mm/s", "passes": 2}}
    job = make_job({"table": TABLE, "plotter": {"profile": "gantry-gcode"}, "pens": pens})
    wanted = {"lines": 80, "numerals": 40, "heavy": 80}
    for section in sections(job)[:2]:
        used = {piece.stroke.pen for piece in section.pieces} - {"removable"}
        assert {"lines", "numerals"} <= used
        expected = [
            60 * wanted[piece.stroke.pen]
            for piece in section.pieces
            if piece.stroke.pen != "removable"
            for _ in range(len(piece.stroke.path) - 1)
        ]
        written, _ = program(section, job.plotter, job.pens)
        for data in (written, driven(section, job)):
            feeds = [int(word) for word in re.findall(rb"F(\d+)", data)]
            assert feeds[: len(expected)] == expected


def test_the_pen_is_parked_once_at_the_end_of_a_run(make_job: MakeJob) -> None:
    job = make_job({"table": TABLE, "plotter": {"profile": "flatbed-a3"}})
    section = sections(job)[0]
    park = "PU{},{};".format(*setting(section, job.plotter, job.pens).bed.park).encode()
    before, _, after = driven(section, job).partition(b"SP0;")
    assert before.endswith(park)
    assert not before.removesuffix(park).endswith(park)
    assert after.startswith(b"PU")
