"""Writes a section, or a run piece by piece, as G-code of the NIST RS-274 standard.

Words as in Kramer, Proctor, Messina: The NIST RS274NGC Interpreter, Version 3 (NISTIR 6556,
2000): G0 and G1 moves, G4 dwell in seconds, G21 millimetres, G90 absolute, G94 feed a minute,
M3 S spindle speed, M5 spindle stop, M2 end. It writes bytes and knows no port.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.bed import Bed, Point, bed_of
from devices.hand import Pace, inkings, pace_of
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.correction import Correction
    from devices.plotter import Plotter
    from marking.job import PensTable
    from marking.sections import Section


def program(
    section: Section, plotter: Plotter, pens: PensTable, correction: Correction | None = None
) -> tuple[bytes, Bed]:
    """The whole G-code program of `section`, and the bed it is written for.

    Raises RefusedError before anything is written when a stroke would leave the usable area or a
    pen asks for a holder that the machine does not have.
    """
    bed = bed_of(section, plotter, correction)
    strokes = inkings(section, pens, bed)
    hand = GcodeHand(plotter, pens, bed, pace_of(plotter, pens))
    parts = [*hand.opening()]
    held: str | None = None
    lowered = False
    for stroke in strokes:
        if stroke.pen != held:
            parts += hand.settings(stroke.pen, held)
            held, lowered = stroke.pen, False
        if not (lowered and stroke.joined):
            parts.append(hand.hop(stroke.path[0]))
            lowered = False
        rest = stroke.path[1:] or stroke.path
        while rest:
            data, count = hand.draw(rest, lowered, plotter.longest_instruction)
            parts.append(data)
            rest, lowered = rest[count:], True
    parts += [hand.hop(bed.park), *hand.closing()]
    if hand.rests_unpowered:
        parts.append(b"M2\n")
    return b"".join(parts), bed


@dataclass(frozen=True)
class GcodeHand:
    """The writer of one run: every piece is whole lines."""

    plotter: Plotter
    pens: PensTable
    bed: Bed
    pace: Pace

    def opening(self) -> Iterator[bytes]:
        """Plane, units, modes; the pen up before anything moves."""
        yield b"G17G21G90G94\n"
        yield self._raise()

    def settings(self, pen: str, held: str | None) -> Iterator[bytes]:
        """Nothing to write; refuses a holder that the machine does not have."""
        slot = self.pens.named(pen).slot
        if slot > self.plotter.slots:
            raise RefusedError(
                f"pens.{pen}.slot = {slot}: {self.plotter.name} has {self.plotter.slots} pen "
                f"holder{'s' if self.plotter.slots > 1 else ''}; give a slot it has"
            )
        return iter(())

    def hop(self, point: Point) -> bytes:
        """Pen up, then go."""
        return self._raise() + f"G0{self._xy(point)}\n".encode()

    def draw(self, points: Sequence[Point], lowered: bool, most: int) -> tuple[bytes, int]:
        """One line to the first of `points`, the pen lowered before it where it is not."""
        feed = round(self.pace.draw * self.plotter.unit * 60)
        line = f"G1{self._xy(points[0])}F{feed}\n".encode()
        return (b"" if lowered else self._lower()) + line, 1

    def closing(self) -> Iterator[bytes]:
        """The servo off, where there is one that then leaves the pen up."""
        if self.plotter.pen_up[0] == "S" and self.rests_unpowered:
            yield b"M5\n"

    @property
    def rests_unpowered(self) -> bool:
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

    def _xy(self, point: Point) -> str:
        unit = self.plotter.unit
        return f"X{point[0] * unit:.3f}Y{point[1] * unit:.3f}"
