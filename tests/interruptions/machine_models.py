"""Machines to drive: stock plotters, and the same with the weaknesses that real ones have.

A machine's own facts, from its class's manual, beside the profile that a job names for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from devices.simulated.gantry import Gantry
from devices.simulated.gcode import SimulatedGantry
from devices.simulated.hpgl import Build, SimulatedPlotter

if TYPE_CHECKING:
    from devices.simulated.cloth import Cloth

TABLES = {
    "small": '[table]\nlength = "17 in"\nwidth = "8 in"\n'
    '[hems]\ndepth = "3 in"\nfolds = ["single 2 in"]\n',
}
ONE_HOLDER = '[pens]\nremovable = { slot = 1, width = "0.5 mm" }\n'


class Model(Struct, frozen=True):
    """A machine and the job that it is driven for."""

    profile: str
    made: dict[str, Any]
    size: tuple[float, float]
    """mm that its pen reaches."""
    keys: str = ""
    pens: str = ""
    garbles: float = 0.0
    ends: tuple[str, ...] = field(default=())
    """What may end a run of it, beside what may end any."""

    @property
    def gcode(self) -> bool:
        return self.profile == "gantry-gcode"

    def machine(self, cloth: Cloth, seed: int) -> Any:
        if self.gcode:
            return SimulatedGantry(Gantry(**self.made), cloth, seed)
        return SimulatedPlotter(Build(**self.made), cloth)

    def job(self) -> str:
        plotter = f'[plotter]\nprofile = "{self.profile}"\n{self.keys}'
        known = '[inking]\ntried = "not asked"\n'
        return f"schema = 1\n{TABLES['small']}{self.pens}{known}{plotter}"


def _desk(buffer: int, x: int, y: int, travel: float, lift: float, **more: Any) -> dict[str, Any]:
    return {
        "buffer_bytes": buffer,
        "high": (x, y),
        "draw_speed": 80.0,
        "travel_speed": travel,
        "lift_seconds": lift,
        **more,
    }


_A3 = (1024, 16000, 10880, 400.0, 0.15)
_DESK_ENDS = ("reset", "reset, pen stowed")
_GANTRY_ENDS = ("limit", "door")
_GANTRY = {"homing": False, "soft_limits": False}

MODELS = {
    "flatbed-a4": Model(
        "flatbed-a4", _desk(60, 10880, 7600, 380.0, 0.2), (272.0, 190.0), ends=_DESK_ENDS
    ),
    "flatbed-a3": Model("flatbed-a3", _desk(*_A3), (400.0, 272.0), ends=_DESK_ENDS),
    "flatbed-24x36": Model(
        "flatbed-24x36",
        {
            "buffer_bytes": 1024,
            "unit": 0.02488,
            "high": (36752, 24501),
            "coordinate_limit": 8388607,
            "draw_speed": 120.0,
            "travel_speed": 500.0,
            "lift_seconds": 0.15,
        },
        (914.4, 609.6),
        ends=_DESK_ENDS,
    ),
    "gantry-gcode": Model(
        "gantry-gcode", _GANTRY, (800.0, 800.0), "", ONE_HOLDER, ends=_GANTRY_ENDS
    ),
    "gantry-gcode, homes": Model(
        "gantry-gcode",
        {"homing": True},
        (800.0, 800.0),
        "homes = true\n",
        ONE_HOLDER,
        ends=_GANTRY_ENDS,
    ),
    "flatbed-a3, pen falls and is put away": Model(
        "flatbed-a3", _desk(*_A3, pen_falls=True, stows_pen=True), (400.0, 272.0), ends=_DESK_ENDS
    ),
    "flatbed-a3, status without bit 3": Model(
        "flatbed-a3", _desk(*_A3, shows_initialized=False), (400.0, 272.0), ends=_DESK_ENDS
    ),
    "flatbed-a3, no limit switches": Model(
        "flatbed-a3",
        _desk(*_A3, finds_its_zero=False),
        (400.0, 272.0),
        'power_up = "counts from where it stands"\n',
        ends=_DESK_ENDS,
    ),
    "flatbed-a3, 60 bytes told as 1024": Model(
        "flatbed-a3",
        _desk(60, 16000, 10880, 400.0, 0.15, says_it_holds=1024),
        (400.0, 272.0),
        ends=_DESK_ENDS,
    ),
    "gantry-gcode, garbled answers": Model(
        "gantry-gcode", _GANTRY, (800.0, 800.0), "", ONE_HOLDER, 0.0003, _GANTRY_ENDS
    ),
}
STOCK = ("flatbed-a4", "flatbed-a3", "flatbed-24x36", "gantry-gcode")
