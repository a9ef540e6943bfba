"""A simulated machine as a port of this very process, for trying a job without hardware."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from devices.simulated.gantry import Gantry
from devices.simulated.gcode import SimulatedGantry
from devices.simulated.hpgl import Build, SimulatedPlotter

if TYPE_CHECKING:
    from devices.plotter.bed import Bed
    from devices.plotter.profile import Plotter
    from devices.simulated.cloth import Cloth
    from devices.simulated.serve import Peer

_TURN_SECONDS = 0.001
_LONGEST_STEP = 1.0
"""Seconds by which the machine's clock moves at most between two looks at it."""


def simulated(plotter: Plotter, bed: Bed, cloth: Cloth) -> SimulatedPlotter | SimulatedGantry:
    """A machine as the profile describes it."""
    if plotter.dialect == "gcode":
        low = (bed.low[0] * plotter.unit, bed.low[1] * plotter.unit)
        high = (bed.high[0] * plotter.unit, bed.high[1] * plotter.unit)
        return SimulatedGantry(
            Gantry(
                plotter.buffer_bytes,
                low,
                high,
                plotter.travel_speed,
                plotter.lift_seconds,
                plotter.pen_down,
                homing=plotter.homes or None,
            ),
            cloth,
        )
    build = Build(
        buffer_bytes=plotter.buffer_bytes,
        unit=plotter.unit,
        low=bed.low,
        high=bed.high,
        coordinate_limit=plotter.coordinate_limit,
        draw_speed=plotter.draw_speed,
        travel_speed=plotter.travel_speed,
        lift_seconds=plotter.lift_seconds,
    )
    return SimulatedPlotter(build, cloth)


class OnboardPort:
    """The port that such a machine is on, its time running up to `scale` times faster.

    When this process has to wait for its turn on a busy computer, the machine's time waits too:
    nobody takes the pause for a machine that has fallen silent.
    """

    def __init__(self, peer: Peer, scale: float) -> None:
        self._peer = peer
        self._scale = scale
        self._looked_at = time.monotonic()
        self._now = 0.0

    def clock(self) -> float:
        """Seconds of the machine's time."""
        before, self._looked_at = self._looked_at, time.monotonic()
        self._now += min((self._looked_at - before) * self._scale, _LONGEST_STEP)
        return self._now

    def write(self, data: bytes) -> None:
        """Sends."""
        self._peer.receive(data, self.clock())

    def read(self) -> bytes:
        """Takes what has come, waiting a moment when nothing has."""
        self._peer.advance(self.clock())
        data = self._peer.reply()
        if not data:
            time.sleep(_TURN_SECONDS)
        return data

    def clear_to_send(self, line: str) -> bool:
        """The DTR line of a plotter; a gantry has none."""
        return bool(getattr(self._peer, "clear_to_send", True))

    def forget_unsent(self) -> None:
        """What is written has left at once."""

    def close(self) -> None:
        """Nothing to let go of."""
