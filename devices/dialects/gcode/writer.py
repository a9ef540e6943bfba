"""Writes a section, a test sheet, or a run piece by piece, as G-code of the NIST RS-274 standard.

Words as in Kramer, Proctor, Messina: The NIST RS274NGC Interpreter, Version 3 (NISTIR 6556,
2000): G0 and G1 moves, G4 dwell in seconds, G21 millimetres, G90 absolute, G94 feed a minute,
M3 S spindle speed, M5 spindle stop, M2 end. It writes bytes and knows no port.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from devices.dialects.writer import Inking, Pace, inkings, pace_of, passes
from devices.plotter.bed import Bed, Point, bed_of
from devices.plotter.holders import check_holders

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from devices.dialects.hpgl.instructions import Drawing
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.job.keys import PensTable
    from marking.sections.plan import Section


def program(
    section: Section, plotter: Plotter, pens: PensTable, correction: Correction | None = None
) -> tuple[bytes, Bed]:
    """The whole G-code program of `section`, and the bed it is written for.

    Raises RefusedError before anything is written when a stroke would leave the usable area or a
    pen asks for a holder that the machine does not have.
    """
    bed = bed_of(section, plotter, correction)
    hand = GcodeHand(plotter, pens, bed, pace_of(plotter, pens))
    return _program(hand, ((hand, stroke) for stroke in inkings(section, pens, bed))), bed


def written(
    drawings: Sequence[Drawing], plotter: Plotter, pens: PensTable, bed: Bed, what: str
) -> bytes:
    """The G-code program that draws these on `bed`, in their order, each at its own pen's speed.

    Raises as `program` does.
    """
    check_holders({drawing.name: drawing.pen for drawing in drawings}, plotter)
    hand = GcodeHand(plotter, pens, bed, pace_of(plotter, pens))
    strokes = []
    in_units = bed.units_of([drawing.points for drawing in drawings], what)
    for drawing, points in zip(drawings, in_units, strict=True):
        speed = min(plotter.draw_speed, drawing.pen.speed or plotter.draw_speed)
        paced = replace(hand, pace=replace(hand.pace, draw=speed / plotter.unit))
        path = tuple(passes(points, drawing.pen.passes))
        strokes.append((paced, Inking(what, drawing.name, path, drawing.joined)))
    return _program(hand, strokes)


def _program(hand: GcodeHand, strokes: Iterable[tuple[GcodeHand, Inking]]) -> bytes:
    """A whole program: every stroke by the hand beside it, which sets its pace."""
    parts = [*hand.opening()]
    held: str | None = None
    lowered = False
    for drawing_hand, stroke in strokes:
        if stroke.pen != held:
            parts += drawing_hand.settings(stroke.pen, held)
            held, lowered = stroke.pen, False
        if not (lowered and stroke.joined):
            parts.append(drawing_hand.hop(stroke.path[0]))
            lowered = False
        rest = stroke.path[1:] or stroke.path
        while rest:
            data, count = drawing_hand.draw(rest, lowered, hand.plotter.longest_instruction)
            parts.append(data)
            rest, lowered = rest[count:], True
    parts += [hand.hop(hand.bed.park), *hand.closing()]
    if hand.rests_unpowered:
        parts.append(b"M2\n")
    return b"".join(parts)


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
        check_holders({pen: self.pens.named(pen)}, self.plotter)
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
