"""Writes HP-GL, with only the instructions that the plotter has.

Instructions as in the HP 7470A and 7550A interfacing and programming manuals: IN initialise,
IW input window, SP select pen, VS velocity in cm/s, FS force step, PA/PU/PD plot in plotter
units. Words only: no order, no port.
"""

from __future__ import annotations

import bisect
import itertools
from typing import TYPE_CHECKING

from msgspec import Struct

from devices.dialects.writer import drawing_speed
from devices.plotter.holders import check_holders
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from devices.dialects.writer import PenPace
    from devices.plotter.bed import Bed, UnitPoint
    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen

_OVERHEAD = len("PD;")


class HpglWriter(Struct, frozen=True):
    """The writer for one plotter, bed and set of pens: every piece is one instruction, or two."""

    plotter: Plotter
    pens: Mapping[str, Pen]
    bed: Bed
    pace: PenPace
    alone: bool
    """Whether no greeting that is answered went before, with IN in it."""

    def check(self, used: Mapping[str, Pen]) -> None:
        """What the pens ask must be there before anything is written."""
        used = dict(sorted(used.items()))
        check_holders(used, self.plotter)
        if "VS" in self.plotter.instructions:
            _check_speeds(used, self.plotter)
        if "FS" in self.plotter.instructions:
            _check_forces(used, self.plotter)

    def opening(self) -> Iterator[bytes]:
        """Initialises the plotter and closes it to all but the usable area."""
        known = self.plotter.instructions
        if "IN" in known and (self.alone or self.plotter.handshake == "timed"):
            yield b"IN;"
        (x0, y0), (x1, y1) = self.bed.low, self.bed.high
        window = f"IW{x0},{y0},{x1},{y1};".encode()
        if "IW" in known and len(window) <= self.plotter.longest_instruction:
            # IN resets the window to the hard-clip limits, so IW has to follow it. It cannot be
            # sent in parts; a machine that cannot take it whole is held in its area by `Bed.units`
            # alone.
            yield window
        yield b"PU;PA;"

    def settings(self, pen: str, held: str | None) -> Iterator[bytes]:
        """SP, VS and FS as far as they change."""
        known = self.plotter.instructions
        new, before = self.pens[pen], self.pens[held] if held is not None else None
        changed = before is None or before.slot != new.slot
        if "SP" in known and changed:
            # A pen stays where it is until PU; none may be changed while it lies on the cloth.
            yield f"PU;SP{new.slot};".encode()
        speed = self._velocity(new)
        if "VS" in known and (changed or before is None or self._velocity(before) != speed):
            yield f"VS{speed};".encode()
        if "FS" in known and new.force is not None:
            yield f"FS{new.force};".encode()

    def _velocity(self, pen: Pen) -> int:
        """VS in cm/s, rounded down: cloth wants slow rather than fast."""
        least, most = self.plotter.speeds
        return min(max(int(drawing_speed(pen, self.plotter) // 10), least), most)

    def hop(self, point: UnitPoint) -> bytes:
        """PU."""
        return f"PU{point[0]},{point[1]};".encode()

    def draw(
        self, points: Sequence[UnitPoint], pen: str, lowered: bool, most: int
    ) -> tuple[bytes, int]:
        """PD, with as many points as it may have; it lowers the pen by itself."""
        del pen, lowered
        most = min(self.plotter.longest_instruction, most)
        pairs = [f"{x},{y}" for x, y in points]
        text = ",".join(pairs)
        if len(text) + _OVERHEAD > most:
            fit = list(itertools.accumulate((1 + len(pair) for pair in pairs), initial=-1))
            count = max(1, bisect.bisect_right(fit, most - _OVERHEAD) - 1)
            pairs = pairs[:count]
            text = ",".join(pairs)
        return f"PD{text};".encode(), len(pairs)

    def closing(self) -> Iterator[bytes]:
        """The pen back into its holder."""
        if "SP" in self.plotter.instructions:
            yield b"SP0;"


def _check_speeds(used: Mapping[str, Pen], plotter: Plotter) -> None:
    slowest = 10 * plotter.speeds[0]
    for name, pen in used.items():
        if pen.speed is not None and pen.speed < slowest:
            raise RefusedError(
                f"pens.{name}.speed = {pen.speed:g} mm/s: {plotter.name} goes no slower than "
                f"{slowest} mm/s; use a pen that can follow"
            )


def _check_forces(used: Mapping[str, Pen], plotter: Plotter) -> None:
    least, most = plotter.forces
    forced = [name for name, pen in used.items() if pen.force is not None]
    for name, pen in used.items():
        if pen.force is not None and not least <= pen.force <= most:
            raise RefusedError(
                f"pens.{name}.force = {pen.force}: {plotter.name} has steps {least} to {most}"
            )
    for name, pen in used.items():
        if pen.force is None and forced:
            # What a machine does without a step of its own is not the same everywhere.
            raise RefusedError(
                f"pens.{name} has no force and pens.{forced[0]} has one, which {plotter.name} "
                "might keep for both; give every pen of the job a force, or none"
            )
