"""What a machine says of its own limits, held against its profile before anything moves.

Settings by number as in the Grbl 1.1 firmware's doc/csv/setting_codes_en_US.csv: 110 to 112 the
greatest rates in mm/min, 120 to 122 the accelerations in mm/s2, 130 to 132 the travel in mm, 20
whether it watches over that travel. It must not know how they were asked, nor a line.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from devices.dialects.writer import seconds

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.plotter.bed import Bed
    from devices.plotter.profile import Plotter

_X, _Y, _Z = 0, 1, 2
_RATE, _ACCELERATION, _TRAVEL, _WATCHES_TRAVEL = 110, 120, 130, 20
_SAME = 0.01
"""mm, and mm/s, that count as none."""
_PER_MINUTE = 60.0


class OwnLimits(Struct, frozen=True):
    """What one machine can do by its own word; an axis that it does not tell of is not held."""

    settings: Mapping[int, float]

    def _least(self, first: int, axes: Sequence[int] = (_X, _Y)) -> float | None:
        told = [self.settings[first + axis] for axis in axes if first + axis in self.settings]
        return min((value for value in told if value > 0), default=None)

    def objections(self, bed: Bed, zero: Sequence[float]) -> list[str]:
        """Why it cannot do what its profile supposes; `zero` is where the program's zero lies."""
        found = []
        # What the program may use, after a measured correction, and what the profile says.
        low = [value * bed.unit for value in bed.low]
        high = [value * bed.unit for value in bed.high]
        for axis, key in ((_X, "x_size"), (_Y, "y_size")):
            travel = self.settings.get(_TRAVEL + axis)
            if travel is None:
                continue
            name, wanted = "XY"[axis], high[axis] - low[axis]
            if travel < wanted - _SAME:
                found.append(
                    f"it can travel {travel:g} mm along {name} by its own setting "
                    f"${_TRAVEL + axis}, and the profile supposes {wanted:g} mm: set "
                    f'plotter.{key} = "{travel:g} mm", or its setting if it really travels further'
                )
            elif self.settings.get(_WATCHES_TRAVEL):
                ends = low[axis] + zero[axis], high[axis] + zero[axis]
                if not (_within(ends, -travel, 0.0) or _within(ends, 0.0, travel)):
                    found.append(
                        f"its zero is so set that the bed reaches from {ends[0]:g} to {ends[1]:g} "
                        f"mm of its own {name}, and it watches over {travel:g} mm from its "
                        f"switches ($20, ${_TRAVEL + axis}): set its zero at the bed's corner"
                    )
        return found

    def slower(self, plotter: Plotter) -> Plotter:
        """`plotter` at the pace that the machine can keep."""
        rate = self._least(_RATE)
        limits = {} if rate is None else {"draw_speed": rate / _PER_MINUTE}
        if rate is not None:
            limits["travel_speed"] = rate / _PER_MINUTE
        changed = {
            key: value for key, value in limits.items() if value < getattr(plotter, key) - _SAME
        }
        lift = self._lift_seconds(plotter)
        if lift > plotter.lift_seconds:
            changed["lift_seconds"] = lift
        return plotter.model_copy(update=changed) if changed else plotter

    @property
    def acceleration(self) -> float | None:
        """How fast it gets faster, and slower again, along its slowest axis; mm/s2."""
        return self._least(_ACCELERATION)

    def remarks(self, plotter: Plotter) -> list[str]:
        """What a person should know of a machine that is slower than its profile."""
        slower = self.slower(plotter)
        told = []
        for key, words in (("draw_speed", "draws"), ("travel_speed", "moves")):
            if getattr(slower, key) < getattr(plotter, key):
                told.append(
                    f"it {words} at {getattr(slower, key):g} mm/s at most by its own settings "
                    f"($110, $111), and the profile supposes {getattr(plotter, key):g} mm/s"
                )
        if slower.lift_seconds > plotter.lift_seconds:
            told.append(
                f"it takes {slower.lift_seconds:.2f} s to lift the pen by its own settings ($112, "
                f"$122), and the profile supposes {plotter.lift_seconds:g} s"
            )
        return told

    def _lift_seconds(self, plotter: Plotter) -> float:
        rate = self._least(_RATE, (_Z,))
        if plotter.pen_up[0] != "Z" or rate is None:
            return 0.0
        lift = abs(float(plotter.pen_up[1:]) - float(plotter.pen_down[1:]))
        return seconds(lift, rate / _PER_MINUTE, self._least(_ACCELERATION, (_Z,)))


def _within(ends: tuple[float, float], low: float, high: float) -> bool:
    return low - _SAME <= ends[0] and ends[1] <= high + _SAME
