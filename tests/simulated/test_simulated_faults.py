"""What can happen to a machine, as its manual or its open firmware says that it then behaves.

HP 7470A Interfacing and Programming Manual (07470-90001), pages beside the checks. Grbl 1.1:
grbl/main.c, protocol.c, motion_control.c, report.c and doc/markdown/interface.md, settings.md.
"""

from __future__ import annotations

import io
import itertools
import math
from typing import TYPE_CHECKING, Any

import pytest

from devices.simulated.cloth import Cloth
from devices.simulated.gantry import Gantry
from devices.simulated.gcode import SimulatedGantry
from devices.simulated.hpgl import Build, SimulatedPlotter
from devices.simulated.table import Stand, TableCloth, read_diary

if TYPE_CHECKING:
    from pathlib import Path

LATER = 1e4
LONG_LINE = b"SP1;VS8;PU0,0;PD8000,0;PU;"
"""200 mm at 80 mm/s."""


class Bench:
    """A machine and the time."""

    def __init__(self, machine: Any) -> None:
        self.machine = machine
        self.now = 0.0
        machine.advance(0.0)
        machine.reply()

    def said(self, data: bytes, seconds: float = LATER) -> bytes:
        self.machine.receive(data, self.now)
        self.wait(seconds)
        return bytes(self.machine.reply())

    def wait(self, seconds: float) -> None:
        # The machine is looked at often enough to begin each move when it would.
        for _ in range(200):
            self.now += seconds / 200
            self.machine.advance(self.now)

    def happens(self, name: str, *words: Any) -> None:
        getattr(self.machine, name)(self.now, *words)

    @property
    def ink(self) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        return [(path.path[0], path.path[-1]) for path in self.machine.carriage.cloth.ink]


def plotter(**build: Any) -> Bench:
    return Bench(SimulatedPlotter(Build(**build), Cloth()))


def gantry(**made: Any) -> Bench:
    return Bench(SimulatedGantry(Gantry(**made), Cloth()))


# -- a pen plotter -------------------------------------------------------------------------------


@pytest.mark.parametrize("happens", ["power", "reset"])
def test_a_plotter_that_starts_anew_says_so_once_and_has_forgotten_what_was_set(
    happens: str,
) -> None:
    bench = plotter()
    assert bench.said(b"OS;OS;") == b"24\r16\r"  # page 7-8: upon power up, then cleared
    bench.said(b"IW1000,1000,2000,2000;")
    assert bench.said(b"OW;") == b"1000,1000,2000,2000\r"
    bench.said(b"IW;" + LONG_LINE, 1.2)
    if happens == "power":
        bench.happens("lose_power")
        assert bench.said(b"OS;OA;", 1.0) == b""
        bench.happens("restore_power")
    else:
        bench.happens("reset")
    bench.wait(LATER)
    assert not bench.machine.carriage.down
    assert bench.said(b"OW;") == b"0,0,10300,7650\r"
    assert bench.said(b"OS;OS;") == b"24\r16\r"
    ((start, end),) = bench.ink
    assert start == (0.0, 0.0)
    assert 50 < end[0] < 120, "the rest of the line was in the buffer, and is gone"


def test_a_plotter_with_limit_switches_finds_its_place_again() -> None:
    bench = plotter()
    bench.said(LONG_LINE, 1.2)
    bench.happens("lose_power")
    bench.happens("restore_power")
    bench.wait(LATER)
    bench.said(b"SP1;PU4000,4000;PD4000,5000;PU;")
    assert bench.ink[-1] == ((100.0, 100.0), (100.0, 125.0))


def test_a_plotter_without_limit_switches_counts_from_where_it_stands() -> None:
    bench = plotter(finds_its_zero=False)
    bench.said(LONG_LINE, 1.2)
    bench.happens("lose_power")
    bench.happens("restore_power")
    bench.wait(5.0)
    stood = bench.machine.carriage.real
    assert stood[0] > 50
    assert bench.said(b"OA;") == b"0,0,0\r"
    bench.said(b"SP1;PU0,4000;PD0,5000;PU;")
    assert bench.ink[-1][0] == pytest.approx((stood[0], 100.0))


def test_a_plotter_that_put_its_pen_away_draws_nothing_until_it_takes_one() -> None:
    bench = plotter()
    bench.said(LONG_LINE, 1.2)
    bench.happens("reset", True)
    laid = len(bench.ink)
    assert bench.said(b"PU4000,4000;PD4000,5000;OA;") == b"4000,5000,1\r"
    assert len(bench.ink) == laid
    bench.said(b"PU;SP1;PU4000,4000;PD4000,5000;PU;")
    assert len(bench.ink) == laid + 1


def test_a_pen_that_falls_with_the_power_rests_on_the_cloth_until_it_is_back() -> None:
    bench = plotter(pen_falls=True)
    bench.said(b"SP1;PU4000,4000;")
    bench.happens("lose_power")
    bench.wait(30.0)
    bench.happens("restore_power")
    (rest,) = bench.machine.cloth.rests
    assert rest.at == (100.0, 100.0)
    assert rest.until - rest.since == pytest.approx(30.0)


def test_a_plotter_that_tests_itself_at_power_up_hears_nothing() -> None:
    bench = plotter()
    bench.happens("lose_power")
    bench.happens("restore_power")
    assert bench.said(b"OS;", 2.0) == b""
    bench.wait(10.0)
    assert bench.said(b"OS;", 1.0) == b"24\r"


def test_a_plotter_may_never_show_that_it_was_initialized() -> None:
    bench = plotter(shows_initialized=False)
    assert bench.said(b"OS;") == b"16\r"
    bench.happens("reset")
    assert bench.said(b"OS;") == b"16\r"


def test_a_plotter_that_overstates_its_buffer_loses_bytes_and_tells_when_asked() -> None:
    bench = plotter(buffer_bytes=60, says_it_holds=1024)
    assert bench.said(b"\x1b.B") == b"1024\r"  # page 10-36
    bench.said(LONG_LINE + b"PU0,0;PD8000,0;PU;" * 8, 0.1)
    assert bench.machine.lost_bytes > 0
    assert bench.said(b"\x1b.E\x1b.E", 0.1) == b"16\r0\r"  # page 10-38: 16, buffer overflow


# -- a gantry ------------------------------------------------------------------------------------


def test_a_gantry_that_lost_its_power_takes_where_it_stands_for_zero() -> None:
    bench = gantry()
    bench.said(b"G90 G21\nG0 X100 Y50\n")
    bench.happens("lose_power")
    assert bench.said(b"?", 1.0) == b""
    bench.happens("restore_power")
    bench.wait(2.0)
    # main.c: memset(sys_position, 0), and without homing STATE_IDLE.
    assert bench.said(b"", 0.1) == b"\r\nGrbl 1.1h ['$' for help]\r\n"
    assert bench.said(b"?", 0.1).startswith(b"<Idle|MPos:0.000,0.000,0.000|")
    bench.said(b"G0 Z4\nG0 X10 Y10\nG0 Z0\nG1 X20 Y10 F600\nG0 Z4\n")
    assert bench.ink[-1] == ((110.0, 60.0), (120.0, 60.0))


def test_a_pen_that_the_z_screw_held_up_does_not_reach_the_cloth_afterwards() -> None:
    bench = gantry(z_sinks=False)
    bench.said(b"G0 Z4\n")
    bench.happens("lose_power")
    bench.happens("restore_power")
    bench.wait(2.0)
    bench.said(b"G0 Z4\nG0 X10 Y10\nG0 Z0\nG1 X20 Y10 F600\nG0 Z4\n")
    assert not bench.ink


def test_a_gantry_with_limit_switches_is_locked_until_it_has_been_home() -> None:
    bench = gantry(homing=True)
    bench.said(b"$H\nG0 X100 Y50\n")
    bench.happens("lose_power")
    bench.happens("restore_power")
    bench.wait(2.0)
    assert bench.said(b"", 0.1).endswith(b"[MSG:'$H'|'$X' to unlock]\r\n")
    assert bench.said(b"G0 X1\n", 0.1) == b"error:9\r\n"
    assert bench.said(b"?", 0.1).startswith(b"<Alarm|")
    assert bench.said(b"$H\n") == b"ok\r\n"
    assert bench.machine.carriage.slip == (0.0, 0.0)
    bench.said(b"G0 X30 Y20\n")
    assert bench.machine.carriage.real == pytest.approx((30.0, 20.0))


def test_a_machine_without_switches_cannot_home() -> None:
    assert gantry(homing=False).said(b"$H\n") == b"error:5\r\n"


def test_a_reset_in_motion_loses_steps_and_locks_the_machine() -> None:
    bench = gantry()
    bench.said(b"G0 X600 Y0\n", 2.0)
    heard = bench.said(b"\x18", 2.0)
    # motion_control.c: EXEC_ALARM_ABORT_CYCLE; protocol.c tells it before the banner.
    assert heard == b"ALARM:3\r\n\r\nGrbl 1.1h ['$' for help]\r\n[MSG:'$H'|'$X' to unlock]\r\n"
    lost = math.hypot(*bench.machine.carriage.slip)
    assert 0.1 < lost <= 4.0
    assert bench.said(b"$X\n", 0.1) == b"[MSG:Caution: Unlocked]\r\nok\r\n"
    believed = bench.machine.carriage.at
    assert f"MPos:{believed[0]:.3f}" in bench.said(b"?", 0.1).decode()


def test_a_reset_after_a_completed_hold_keeps_the_place() -> None:
    bench = gantry()
    bench.said(b"G0 X600 Y0\n", 2.0)
    # interface.md: Hold:1 while it still moves, Hold:0 when it may be resumed.
    assert bench.said(b"!?", 0.01).startswith(b"<Hold:1|")
    assert bench.said(b"", 1.0) == b""
    assert bench.said(b"?", 0.01).startswith(b"<Hold:0|")
    assert bench.said(b"\x18", 1.0) == b"\r\nGrbl 1.1h ['$' for help]\r\n"
    assert bench.machine.carriage.slip == (0.0, 0.0)
    assert bench.said(b"?", 0.1).startswith(b"<Idle|")


def test_a_hold_and_resume_leave_the_line_whole() -> None:
    bench = gantry()
    bench.said(b"G0 Z0\nG1 X300 Y0 F4800\nG1 X300 Y100\n", 1.5)
    bench.said(b"!", 3.0)
    held = bench.machine.carriage.at
    assert 0 < held[0] < 300
    bench.said(b"~")
    assert bench.machine.carriage.cloth.ink[0].path[-1] == (300.0, 100.0)
    (rest,) = [rest for rest in bench.machine.carriage.cloth.rests if rest.at == held]
    assert rest.until - rest.since == pytest.approx(3.0, abs=0.4)


def test_bytes_behind_a_reset_are_thrown_away() -> None:
    # main.c: serial_reset_read_buffer() when it starts anew.
    bench = gantry()
    bench.said(b"G0 X600 Y0\n", 2.0)
    assert b"Unlocked" not in bench.said(b"\x18$X\n", 2.0)
    assert bench.said(b"?", 0.1).startswith(b"<Alarm|")


def test_a_limit_switch_stops_everything_until_a_reset() -> None:
    bench = gantry()
    bench.said(b"G0 X600 Y0\n", 2.0)
    bench.happens("hit_limit")
    # protocol.c: ALARM_HARD_LIMIT_ERROR, then nothing is answered but a reset.
    assert bench.said(b"?$X\n", 1.0) == b"ALARM:1\r\n[MSG:Reset to continue]\r\n"
    assert bench.said(b"\x18", 1.0).endswith(b"[MSG:'$H'|'$X' to unlock]\r\n")
    assert bench.machine.carriage.slip != (0.0, 0.0)


def test_a_line_beyond_the_travel_is_an_alarm_and_keeps_the_place() -> None:
    bench = gantry()
    assert bench.said(b"G0 X900\n", 1.0) == b"ALARM:2\r\n[MSG:Reset to continue]\r\n"
    bench.said(b"\x18", 1.0)
    assert bench.machine.carriage.slip == (0.0, 0.0)


def test_without_soft_limits_the_carriage_stalls_at_the_end_of_its_travel() -> None:
    bench = gantry(soft_limits=False)
    bench.said(b"G0 X900 Y0\nG0 X0 Y0\n")
    assert bench.machine.carriage.at == (0.0, 0.0)
    assert bench.machine.carriage.real == (0.0, 0.0)
    bench.said(b"G0 X900 Y0\nG0 X500 Y0\n")
    assert bench.machine.carriage.real == pytest.approx((400.0, 0.0))


def test_an_open_door_is_waited_for() -> None:
    bench = gantry()
    bench.said(b"G0 X600 Y0\n", 2.0)
    bench.happens("open_door")
    assert b"[MSG:Check Door]" in bench.said(b"?", 0.01)
    bench.wait(1.0)
    assert bench.said(b"?", 0.1).startswith(b"<Door:1|")
    bench.machine.close_door()
    assert bench.said(b"?", 0.1).startswith(b"<Door:0|")
    bench.said(b"~")
    assert bench.machine.carriage.at == (600.0, 0.0)


def test_a_board_that_opening_its_port_restarts_forgets_its_place() -> None:
    bench = gantry(resets_when_opened=True)
    bench.said(b"G0 X100 Y50\n")
    bench.happens("opened")
    assert b"Grbl" in bench.said(b"", 2.0)
    assert bench.machine.carriage.at == (0.0, 0.0)
    assert bench.machine.carriage.real == pytest.approx((100.0, 50.0))


def test_settings_tell_how_the_machine_is_made() -> None:
    told = gantry(high=(600.0, 400.0), travel_speed=100.0, homing=True).said(b"$X\n$$\n", 0.1)
    lines = told.decode().split("\r\n")
    for line in ("$10=1", "$13=0", "$20=1", "$22=1", "$110=6000.000", "$120=500.000"):
        assert line in lines
    assert {"$130=600.000", "$131=400.000"} <= set(lines)
    assert lines[-2] == "ok"


def test_a_pause_is_reported_as_idle() -> None:
    # gcode.c, G4: mc_dwell waits for the planner to be empty, and no state is set meanwhile.
    bench = gantry()
    bench.said(b"G0 X1\nG4 P5\n", 2.0)
    assert bench.said(b"?", 0.1).startswith(b"<Idle|")


# -- the table under it --------------------------------------------------------------------------


def test_ink_lies_where_the_machine_stands_and_not_where_it_believes(tmp_path: Path) -> None:
    stand = Stand(300.0, 40.0, math.radians(90))
    with (tmp_path / "diary").open("wb") as diary:
        machine = SimulatedPlotter(Build(), TableCloth(stand, diary))
        bench = Bench(machine)
        bench.said(b"SP1;PU4000,0;PD8000,0;", 60.0)
        bench.said(b"PU;")
    laid, rests = read_diary(tmp_path / "diary")
    assert laid[0].start == pytest.approx((300.0, 140.0))
    assert laid[-1].end == pytest.approx((300.0, 240.0))
    assert all(one.at <= two.at for one, two in itertools.pairwise(laid))
    assert max(rest.until - rest.since for rest in rests) > 50
    assert stand.machine_of((300.0, 240.0)) == pytest.approx((200.0, 0.0))


def test_a_bump_with_the_pen_up_lays_no_ink_and_moves_all_that_follows() -> None:
    cloth = TableCloth(Stand(), io.BytesIO())
    bench = Bench(SimulatedPlotter(Build(), cloth))
    about = (100.0, 50.0)
    cloth.bump(cloth.stand.bumped(2.0, -1.0, 0.01, about), None, (0.0, 0.0), bench.now)
    assert not cloth.ink
    assert cloth.stand.table_of(about) == pytest.approx((102.0, 49.0))


def test_a_pen_on_its_way_down_does_not_rest_yet() -> None:
    cloth = Cloth()
    bench = Bench(SimulatedPlotter(Build(lift_seconds=0.2), cloth))
    bench.said(b"SP1;PU400,400;", 5.0)
    bench.said(b"PD;", 0.3)
    bench.said(b"PU;", 0.5)
    (rest,) = cloth.rests
    assert rest.until - rest.since == pytest.approx(0.1, abs=0.02)
