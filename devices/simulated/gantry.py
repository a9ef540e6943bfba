"""How a simulated gantry is made, and what it tells of that when asked for its settings.

Settings after the open Grbl 1.1 firmware (doc/markdown/settings.md). mm and seconds.
"""

from __future__ import annotations

from msgspec import Struct


class Gantry(Struct, frozen=True):
    """How the simulated machine is made. mm and seconds."""

    buffer_bytes: int = 128
    low: tuple[float, float] = (0.0, 0.0)
    high: tuple[float, float] = (800.0, 800.0)
    travel_speed: float = 120.0
    lift_seconds: float = 0.25
    inks_at: str = "Z0"
    """The pen touches the cloth at this height or below; or at this spindle value."""
    work_offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Where the program's zero lies in machine coordinates (WCO); the cloth is in the program's."""
    reports_work: bool = False
    """Whether a report gives WPos ($10=0) and not MPos."""
    homing: bool | None = None
    """Limit switches and $22=1: locked after power-up until `$H`. None: it may home, and is not
    locked; False: it has none, and `$H` is an error."""
    soft_limits: bool = True
    """$20: a line that leaves the travel is an alarm. Without, the carriage stalls at its end."""
    acceleration: float = 500.0
    """mm/s2, $120 and $121: how hard a hold brakes."""
    most_lost: float = 4.0
    """mm by which a carriage that is reset in motion runs on, at most."""
    z_sinks: bool = True
    """Whether the pen sinks onto the cloth when the Z motor has no power."""
    resets_when_opened: bool = False
    """Whether opening its port restarts it, as the DTR line does on many boards."""
    boot_seconds: float = 1.5
    """How long it is deaf after power-up, while its boot loader waits (from memory)."""
    alarm_seconds: float = 0.5
    """How long it is deaf after an alarm, while the alarm's line is sent (report.c)."""
    reset_seconds: float = 0.002
    """How long it is deaf after any reset: what came meanwhile is thrown away (main.c)."""


def settings_lines(gantry: Gantry) -> list[str]:
    """What `$$` lists, as report_grbl_settings prints it."""
    size = [high - low for low, high in zip(gantry.low, gantry.high, strict=True)]
    rate = gantry.travel_speed * 60
    values: list[tuple[int, float | int]] = [
        (0, 10),
        (1, 25),
        (2, 0),
        (3, 0),
        (4, 0),
        (5, 0),
        (6, 0),
        (10, 0 if gantry.reports_work else 1),
        (11, 0.010),
        (12, 0.002),
        (13, 0),
        (20, int(gantry.soft_limits)),
        (21, int(bool(gantry.homing))),
        (22, int(gantry.homing is not False)),
        (23, 3),
        (24, 25.0),
        (25, 500.0),
        (26, 250),
        (27, 1.0),
        (30, 1000),
        (31, 0),
        (32, 0),
        (100, 80.0),
        (101, 80.0),
        (102, 400.0),
        (110, rate),
        (111, rate),
        (112, max(rate / 4, 60.0)),
        (120, gantry.acceleration),
        (121, gantry.acceleration),
        (122, gantry.acceleration),
        (130, size[0]),
        (131, size[1]),
        (132, 60.0),
    ]
    return [
        f"${number}={value:.3f}" if isinstance(value, float) else f"${number}={value}"
        for number, value in values
    ]
