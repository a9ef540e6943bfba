"""Writes HP-GL piece by piece for a run, with the instructions that files are written with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.dialects.hpgl import instructions as hpgl

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from devices.dialects.writer import Pace
    from devices.plotter.bed import Bed, Point
    from devices.plotter.profile import Plotter
    from marking.job.keys import PensTable

_OVERHEAD = len("PD;")


@dataclass(frozen=True)
class HpglHand:
    """The writer of one run."""

    plotter: Plotter
    pens: PensTable
    bed: Bed
    pace: Pace
    longest: int
    """Bytes that one instruction may have here."""

    def opening(self) -> Iterator[bytes]:
        """The input window, pen up; where a greeting is answered, IN went before, in it."""
        lines = hpgl.opening(self.plotter, self.bed)
        unheard = self.plotter.handshake == "timed"
        return _bytes(line for line in lines if unheard or line != "IN;")

    def settings(self, pen: str, held: str | None) -> Iterator[bytes]:
        """SP, VS and FS as far as they change."""
        before = self.pens.named(held) if held is not None else None
        return _bytes(hpgl.pen_settings(self.pens.named(pen), before, self.plotter))

    def hop(self, point: Point) -> bytes:
        """PU."""
        return f"PU{point[0]},{point[1]};".encode()

    def draw(self, points: Sequence[Point], lowered: bool, most: int) -> tuple[bytes, int]:
        """PD, with as many points as it may have."""
        count, length = 0, _OVERHEAD
        for x, y in points:
            length += len(f"{x},{y}") + (count > 0)
            if count and length > min(self.longest, most):
                break
            count += 1
        text = ",".join(f"{x},{y}" for x, y in points[:count])
        return f"PD{text};".encode(), count

    def closing(self) -> Iterator[bytes]:
        """Park, and put the pen away."""
        return _bytes(hpgl.closing(self.plotter, self.bed))


def _bytes(lines: Iterator[str]) -> Iterator[bytes]:
    return (line.encode("ascii") for line in lines)
