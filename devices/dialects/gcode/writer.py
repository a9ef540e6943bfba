"""Writes G-code of the NIST RS-274 standard.

Words as in Kramer, Proctor, Messina: The NIST RS274NGC Interpreter, Version 3 (NISTIR 6556,
2000): G0 and G1 moves, G4 dwell in seconds, G21 millimetres, G90 absolute, G94 feed a minute,
M3 S spindle speed, M5 spindle stop, M2 end. Words only: no order, no port.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from devices.dialects.writer import drawing_speed
from devices.plotter.holders import check_holders

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from devices.dialects.writer import PenPace
    from devices.plotter.bed import Bed, UnitPoint
    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen


class GcodeWriter(Struct, frozen=True):
    """The writer for one machine, bed and set of pens: every piece is whole lines."""

    plotter: Plotter
    pens: Mapping[str, Pen]
    bed: Bed
    pace: PenPace
    alone: bool
    """Whether nothing comes after it, so that it has to end the program."""

    def check(self, used: Mapping[str, Pen]) -> None:
        """Every pen needs a holder; it is told its speed line by line."""
        check_holders(dict(sorted(used.items())), self.plotter)

    def opening(self) -> Iterator[bytes]:
        """Plane, units, modes; the pen up before anything moves."""
        yield b"G17G21G90G94\n"
        yield self._raise()

    def settings(self, pen: str, held: str | None) -> Iterator[bytes]:
        """Nothing: no word of it is a pen's, and each line has its own speed."""
        del pen, held
        return iter(())

    def hop(self, point: UnitPoint) -> bytes:
        """Pen up, then go."""
        return self._raise() + f"G0{self._xy(point)}\n".encode()

    def draw(
        self, points: Sequence[UnitPoint], pen: str, lowered: bool, most: int
    ) -> tuple[bytes, int]:
        """One line to the first of `points`, the pen lowered before it where it is not."""
        del most
        feed = round(drawing_speed(self.pens[pen], self.plotter) * 60)
        line = f"G1{self._xy(points[0])}F{feed}\n".encode()
        return (b"" if lowered else self._lower()) + line, 1

    def closing(self) -> Iterator[bytes]:
        """The servo off, where there is one that then leaves the pen up; then the end."""
        if not self._rests_unpowered:
            return
        if self.plotter.pen_up[0] == "S":
            yield b"M5\n"
        if self.alone:
            yield b"M2\n"

    @property
    def _rests_unpowered(self) -> bool:
        """Whether the pen stays up once the spindle stops, as M5 and M2 have it (S is 0 then)."""
        return self.plotter.pen_down[0] == "Z" or float(self.plotter.pen_down[1:]) != 0

    def _raise(self) -> bytes:
        word = self.plotter.pen_up
        if word[0] == "Z":
            return f"G0{word}\n".encode()
        return f"M3{word}\nG4P{self.plotter.lift_seconds:g}\n".encode()

    def _lower(self) -> bytes:
        word = self.plotter.pen_down
        if word[0] == "Z":
            return f"G0{word}\n".encode()
        return f"M3{word}\nG4P{self.plotter.lift_seconds:g}\n".encode()

    def _xy(self, point: UnitPoint) -> str:
        unit = self.plotter.unit
        return f"X{point[0] * unit:.3f}Y{point[1] * unit:.3f}"
