"""The written HP-GL as a plotter's parser takes it, instruction by instruction.

The reading here is our own, written from HP's description of the syntax; what the instructions
draw is checked beside this by interpreters that no one here wrote.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

from devices.programs.files import program
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from tests.driving.machines import MACHINES, Plot, write_plots

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.conftest import MakeJob


@pytest.fixture(scope="module", params=MACHINES, ids=lambda name: name.replace(" ", "-"))
def plots(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Plot]:
    """Every section of the Millrace bench for one machine."""
    return write_plots(request.param, tmp_path_factory.mktemp("machine"))


INSTRUCTION = re.compile(rb"([A-Z]{2})(-?\d+(?:,-?\d+)*)?;")
"""HP PCL/PJL Reference, Technical Reference Manual part II, p. 17-7, "HP-GL/2 commands and syntax"
(looked up): a two-letter mnemonic, parameters parted by commas, a semicolon. Plotters take whole
units, and a line feed between instructions is white space."""


def instructions(program: bytes) -> Iterator[tuple[str, list[int], int]]:
    """Each instruction's mnemonic, parameters and length in bytes; no byte may be left over."""
    at = 0
    while at < len(program):
        if program[at : at + 1] == b"\n":
            at += 1
            continue
        found = INSTRUCTION.match(program, at)
        assert found, f"not HP-GL at byte {at}: {program[at : at + 40]!r}"
        parameters = [int(number) for number in (found[2] or b"").split(b",") if number]
        yield found[1].decode(), parameters, len(found[0])
        at = found.end()


def test_only_instructions_that_the_machine_has_are_sent_and_none_is_too_long(
    plots: list[Plot],
) -> None:
    for plot in plots:
        for name, _, length in instructions(plot.program):
            assert name in plot.facts["instructions"], f"{plot.id}: {name}"
            assert length <= plot.facts["longest_instruction"], f"{plot.id}: {name} {length} bytes"


def test_no_coordinate_lies_outside_the_usable_area(plots: list[Plot]) -> None:
    for plot in plots:
        low, high = np.array(plot.usable)
        limit = plot.facts.get("coordinate_limit", 32767)
        for name, parameters, _ in instructions(plot.program):
            if name in ("IW", "PU", "PD", "PA"):
                points = np.reshape(parameters, (-1, 2))
                assert ((points >= low) & (points <= high)).all(), f"{plot.id}: {name} {points}"
                assert (np.abs(points) <= limit).all(), f"{plot.id}: {name} {points}"


def test_the_area_that_the_programs_use_is_no_larger_than_the_profile_says(
    plots: list[Plot],
) -> None:
    for plot in plots:
        low, high = np.array(plot.usable)
        most = np.array([_size_mm(plot.facts[key]) for key in ("x_size", "y_size")])
        assert ((high - low) * plot.unit <= most + 1e-9).all(), plot.id


def _size_mm(text: str) -> float:
    if text == "unlimited":
        return math.inf
    number, unit = text.split()
    return float(number) * {"mm": 1.0, "in": 25.4}[unit]


def test_velocity_and_force_are_steps_that_the_machine_has(plots: list[Plot]) -> None:
    for plot in plots:
        for name, parameters, _ in instructions(plot.program):
            if name in ("VS", "FS"):
                least, most = plot.facts["speeds" if name == "VS" else "forces"]
                assert len(parameters) == 1
                assert least <= parameters[0] <= most, f"{plot.id}: {name}{parameters}"


FOUR_PENS_DRAW = {1: (8, 3), 2: (6, 2), 3: (6, 4), 4: (12, 1)}
"""By hand: cm/s and force step by holder; the 24 by 36 in flat bed draws at 120 mm/s at most."""


def test_each_pen_draws_at_its_own_speed_and_with_no_other_pens_force(
    tmp_path: Path,
) -> None:
    """Without a pen number FS is for every pen, so each pen has to be given its own anew.

    HP-GL's FS force,pen and VS velocity,pen: programmer's reference of a drafting plotter, p. 10-9
    and 10-20 (looked up in a paraphrase).
    """
    for plot in write_plots("units of 0.02488 mm and four pens", tmp_path):
        now: dict[str, int | None] = {"SP": None, "VS": None, "FS": None}
        for name, parameters, _ in instructions(plot.program):
            if name in now:
                now[name] = parameters[0] if parameters else None
            elif name == "PD":
                assert (now["VS"], now["FS"]) == FOUR_PENS_DRAW[now["SP"]], f"{plot.id}: {now}"


def test_a_pen_without_a_force_beside_one_that_has_it_is_refused(
    make_job: MakeJob,
) -> None:
    """What a machine does without a step of its own is not the same everywhere."""
    job = make_job(
        {
            "table": {"length": "30 in", "width": "20 in"},
            "plotter": {"profile": "flatbed-24x36"},
            "pens": {"heavy": {"slot": 3, "width": "2 mm", "force": 4}},
        }
    )
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    with pytest.raises(RefusedError, match=r"pens\.lines has no force and pens\.heavy has one"):
        program(plan.sections[0], job.plotter, job.pens)


def test_the_pen_only_travels_raised_and_with_a_pen_in_the_holder_it_is_put_down(
    plots: list[Plot],
) -> None:
    """PU has to come first: whether every machine raises the pen at IN is not known."""
    for plot in plots:
        pen, absolute, held = "unknown", False, 0
        for name, parameters, _ in instructions(plot.program):
            if name in ("PU", "PD"):
                pen = "up" if name == "PU" else "down"
                assert len(parameters) % 2 == 0, plot.id
                assert absolute or not parameters, f"{plot.id}: moved before PA"
                assert pen == "up" or held, f"{plot.id}: pen down with none in the holder"
            elif name == "PA":
                absolute = True
                assert not parameters, f"{plot.id}: PA moves with the pen {pen}"
            elif name == "SP":
                held = parameters[0]


def test_the_pen_is_raised_before_it_is_changed(plots: list[Plot]) -> None:
    """HP PCL/PJL Reference, part II, p. 17-21, "Pen status" (looked up): once lowered, a pen stays
    down until PU or IN; SP is not among what raises it."""
    for plot in plots:
        raised = False
        for name, parameters, _ in instructions(plot.program):
            if name in ("PU", "PD"):
                raised = name == "PU"
            assert name != "SP" or raised, f"{plot.id}: SP{parameters[0]} with the pen on the cloth"


def test_at_the_end_the_pen_is_parked_in_the_corner_of_least_coordinates_and_put_away(
    plots: list[Plot],
) -> None:
    for plot in plots:
        *_, parked, put_away = instructions(plot.program)
        assert parked[:2] == ("PU", list(plot.usable[0])), plot.id
        assert put_away[:2] == ("SP", [0]), plot.id


def test_the_window_limit_is_set_after_the_plotter_is_initialised(plots: list[Plot]) -> None:
    """HP 7470A manual, IW: an IN sets the window back to its default."""
    for plot in plots:
        (first, _, _), (second, window, _), *rest = instructions(plot.program)
        assert (first, second) == ("IN", "IW"), plot.id
        assert window == [*plot.usable[0], *plot.usable[1]], plot.id
        assert not {"IN", "IW"} & {name for name, _, _ in rest}, plot.id


def test_the_device_counts_from_the_corner_or_the_centre_of_its_window(plots: list[Plot]) -> None:
    for plot in plots:
        corners = plot.device_mm(np.reshape(plot.window, (2, 2)))
        low, high = corners.min(axis=0), corners.max(axis=0)
        zero = low if plot.facts["origin"] == "corner" else (low + high) / 2
        assert zero == pytest.approx([0, 0], abs=1e-9), plot.id


def test_a_pen_never_draws_faster_than_it_draws_well(make_job: MakeJob) -> None:
    """VS is whole centimetres a second (the reference above); ink fails at the faster one."""
    job = make_job(
        {
            "table": {"length": "16 in", "width": "9 in"},
            "hems": {"depth": "3 in", "folds": ["single 1 in"]},
            "pens": {"lines": {"slot": 1, "width": "1 mm", "speed": "47 mm/s"}},
            "plotter": {"profile": "flatbed-a3"},
        }
    )
    layout = lay_out(job)
    section = divide_into_sections(layout, job, job.plotter.zone).sections[0]
    told = [
        parameters[0]
        for name, parameters, _ in instructions(program(section, job.plotter, job.pens)[0])
        if name == "VS"
    ]
    assert 4 in told
    assert 5 not in told
