"""The simulated plotter against printed manuals and against hp2xx on the same bytes.

Manual: HP 7470A Interfacing and Programming Manual (07470-90001); pages beside each check.
"""

from __future__ import annotations

import random
import subprocess
from typing import TYPE_CHECKING, Any

import ezdxf
import numpy as np
import pytest
from scipy.spatial import cKDTree

from devices.simulated.cloth import Cloth, Ink, cloth_artwork, read_cloth
from devices.simulated.hpgl import Build, SimulatedPlotter
from marking.drawing.svg import svg

if TYPE_CHECKING:
    from pathlib import Path

LATER = 1e6


def plotter(**build: Any) -> SimulatedPlotter:
    return SimulatedPlotter(Build(**build), Cloth())


def answers(*said: tuple[bytes, bytes], machine: SimulatedPlotter | None = None) -> None:
    machine = machine or plotter()
    now = 0.0
    for data, expected in said:
        now += LATER
        machine.receive(data, now)
        machine.advance(now + LATER)
        assert machine.reply() == expected, data


def test_output_instructions_answer_as_printed() -> None:
    answers(
        (b"OS;", b"24\r"),  # page 7-8: upon power up the status is decimal 24
        (b"OS;", b"16\r"),  # page 7-8: output of the status byte clears bit position 3
        (b"PA1000,2000;OA;", b"1000,2000,0\r"),  # page 7-3: X,Y,P, no positive sign
        (b"PD;OA;", b"1000,2000,1\r"),  # page 7-3: 1 = pen down
        (b"OS;", b"17\r"),  # page 7-8: bit value 1, pen down
        (b"PU;OA", b"1000,2000,0\r"),  # page 7-3: executes even if no terminator is received
        (b"OF;", b"40,40\r"),  # page 7-6
        (b"OI;", b"7470A\r"),  # page 7-7
        (b"OE;", b"0\r"),  # page 7-5: no error
    )


def test_errors_answer_as_printed_and_are_cleared_when_read() -> None:
    answers(
        (b"OS;OS;", b"24\r16\r"),
        (b"XX;OE;OE;", b"1\r0\r"),  # page 7-5: instruction not recognized
        (b"PA1,2,3;OE;", b"2\r"),  # wrong number of parameters; complete pairs are plotted
        (b"OA;", b"1,2,0\r"),
        (b"PA40000,0;OS;", b"48\r"),  # bit value 32: error
        (b"OE;OS;", b"6\r16\r"),  # position overflow; reading OE clears bit 5
    )


def test_device_control_acts_at_once_while_output_instructions_wait_their_turn() -> None:
    machine = plotter()
    machine.receive(b"PD10000,0;OA;", 0.0)
    machine.receive(b"\x1b.B", 0.01)
    # Page 10-26: bytes of buffer space, a decimal number from 0 to 255, then CR. OA; waits.
    assert machine.reply() == b"252\r"
    machine.advance(LATER)
    assert machine.reply() == b"10000,0,1\r"
    machine.receive(b"\x1b.B\x1b.O", LATER)
    # Page 10-39: 8, the buffer is empty.
    assert machine.reply() == b"255\r8\r"


def test_a_full_buffer_loses_bytes_and_says_so() -> None:
    machine = plotter(buffer_bytes=60)
    machine.receive(b"PD10000,0;" + b"PU1,1;" * 30, 0.0)
    assert machine.lost_bytes > 0
    machine.advance(LATER)
    machine.receive(b"\x1b.E\x1b.E", LATER)
    # ESC.E 16: buffer overflow (Roland DPX-2700A manual, page 45); reading clears it.
    assert machine.reply() == b"16\r0\r"


def test_xoff_comes_under_the_threshold_and_xon_when_there_is_room_again() -> None:
    machine = plotter()
    machine.receive(b"\x1b.I81;;17:\x1b.N;19:PD10000,0;", 0.0)
    machine.receive(b"PU1,1;" * 30, 0.001)
    assert machine.reply() == b"\x13"
    machine.advance(LATER)
    # Page 10-20: the Xon threshold level is 128 bytes.
    assert machine.reply() == b"\x11"
    assert machine.lost_bytes == 0


def test_dtr_falls_when_there_is_less_room_than_a_block() -> None:
    machine = plotter()
    machine.receive(b"\x1b.@;1:PD10000,0;", 0.0)
    assert machine.clear_to_send
    machine.receive(b" " * 180, 0.001)
    assert not machine.clear_to_send  # page 10-26: block size defaults to 80 bytes


def test_what_lies_outside_the_limits_is_clipped_and_flagged() -> None:
    machine = plotter()
    machine.receive(b"IN;IW100,100,500,500;PU0,300;PD1000,300;PU;OA;", 0.0)
    machine.advance(LATER)
    assert machine.out_of_limits == 2
    (ink,) = machine.cloth.ink
    assert np.allclose(ink.path, [(2.5, 7.5), (12.5, 7.5)])
    assert machine.reply() == b"500,300,0\r"


@pytest.mark.parametrize("seed", range(4))
def test_the_ink_is_where_hp2xx_draws_the_same_bytes(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    # hp2xx 3.4.4 reads pen-up and pen-down by turns reliably; of several PU or PD in a row it
    # draws something else on each run, so that order is left to the manual's own checks.
    parts = ["IN;", "PU;PA;", "SP1;"]
    for _ in range(60):
        points = [f"{rng.randrange(10300)},{rng.randrange(7650)}" for _ in range(5)]
        parts += [f"PU{points[0]};", f"PD{','.join(points[1 : rng.randrange(2, 6)])};"]
    program = "\n".join([*parts, "PU0,0;", "SP0;", ""]).encode()
    machine = plotter(buffer_bytes=10**6)
    machine.receive(program, 0.0)
    machine.advance(LATER)
    (tmp_path / "plot.hpgl").write_bytes(program)
    ranges = ["-x", "0", "-X", "10300", "-y", "0", "-Y", "7650"]
    subprocess.run(
        ["hp2xx", "-q", "-t", *ranges, "-m", "dxf", "-f", "plot.dxf", "plot.hpgl"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
    )
    theirs = [
        (entity.dxf.start.vec2, entity.dxf.end.vec2)
        for entity in ezdxf.readfile(tmp_path / "plot.dxf").modelspace()
    ]
    ours = [
        (a, b) for ink in machine.cloth.ink for a, b in zip(ink.path, ink.path[1:], strict=False)
    ]
    assert ours
    for one, two in ((ours, theirs), (theirs, ours)):
        assert cKDTree(_along(two)).query(_along(one))[0].max() < 0.15


def _along(lines: Any) -> Any:
    return np.concatenate(
        [
            np.linspace(
                np.array(tuple(a)),
                np.array(tuple(b)),
                max(int(np.hypot(*(np.array(tuple(b)) - np.array(tuple(a)))) / 0.2), 1) + 1,
            )
            for a, b in lines
        ]
    )


def test_a_cloth_file_cut_short_loses_only_its_last_line(tmp_path: Path) -> None:
    path = tmp_path / "cloth.ink"
    with path.open("wb") as file:
        cloth = Cloth(file)
        cloth.lay(1, (0.0, 0.0), (1.0, 0.0))
        cloth.lay(1, (1.0, 0.0), (2.0, 0.0))
    path.write_bytes(path.read_bytes()[:-3])
    assert read_cloth(path) == (Ink(1, ((0.0, 0.0), (1.0, 0.0))),)
    assert b"<path" in svg(cloth_artwork(read_cloth(path), (10, 10), (0, 0)))
