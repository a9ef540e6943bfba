"""Marks that are no ink of the cover: what is measured on a sheet, and what sheets are laid by.

Sheet frame: millimetres, origin at the lower left, y up; drawn at a printer's scale.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.drawing.artwork import Style
from marking.drawing.page import ACCENT, FAINT, INK
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from marking.drawing.artwork import Artwork
    from marking.full_size.scale import Lengths, Scale
    from marking.measures.lengths import Units

SQUARE = {"in": 25.4, "mm": 25.0}
"""The check square's side."""
THIN = Style(stroke=INK, width=0.2, ends="butt")
"""Of what is measured: the middle of a line is where it counts."""
LAID_BY = Style(stroke=ACCENT, width=0.2, ends="butt")
_RING, _ARM = 2.2, 4.0


class CheckMarks(Struct, frozen=True):
    """Draws what is measured on one sheet."""

    artwork: Artwork
    scale: Scale
    units: Units
    size: float = 1.8
    """Height of a capital."""

    def square(self, x: float, y: float) -> None:
        """The check square, its lower left corner at (x, y), what it must measure within it."""
        side = SQUARE[self.units]
        wide, high = side * self.scale.across, side * self.scale.up
        self.artwork.on_top(THIN).box((x, y, x + wide, y + high), "check-square")
        words = self.artwork.on_top(Style(fill=INK))
        said = format_length(side, self.units)
        words.write(said, x + wide / 2, y + high / 2 + self.size * 0.6, self.size, 0.5)
        words.write("square", x + wide / 2, y + high / 2 - self.size * 1.3, self.size, 0.5)

    def across(self, lengths: Lengths, x: float, y: float) -> None:
        """The check length across, from (x, y) on, its words above it."""
        end, tick = x + lengths.across * self.scale.across, self.size * 0.6
        lines = self.artwork.on_top(THIN)
        lines.line(
            [(x, y), (end, y)],
            [(x, y - tick), (x, y + tick)],
            [(end, y - tick), (end, y + tick)],
            name="check-across",
        )
        said = f"from tick to tick {format_length(lengths.across, self.units)}"
        words = self.artwork.on_top(Style(fill=INK))
        words.write(said, (x + end) / 2, y + 0.8, self.size, 0.5)

    def up(self, lengths: Lengths, x: float, y: float) -> None:
        """The check length up the sheet, from (x, y) on, its words to the left of it."""
        end, tick = y + lengths.up * self.scale.up, self.size * 0.6
        lines = self.artwork.on_top(THIN)
        lines.line(
            [(x, y), (x, end)],
            [(x - tick, y), (x + tick, y)],
            [(x - tick, end), (x + tick, end)],
            name="check-up",
        )
        words = self.artwork.on_top(Style(fill=INK))
        said = format_length(lengths.up, self.units)
        words.write(said, x - 1.6, (y + end) / 2, self.size, 1.0)


def ringed_cross(artwork: Artwork, x: float, y: float) -> None:
    """A registration mark: the same point on two sheets."""
    marks = artwork.on_top(LAID_BY)
    marks.circle((x, y), _RING)
    marks.line([(x - _ARM, y), (x + _ARM, y)], [(x, y - _ARM), (x, y + _ARM)])


def corner_mark(
    artwork: Artwork, at: tuple[float, float], out: tuple[int, int], long: float, gap: float = 1.5
) -> None:
    """Two lines away from a corner, as the edges that meet there would go on outwards."""
    (x, y), (across, up) = at, out
    artwork.on_top(Style(stroke=FAINT, width=0.25, ends="butt")).line(
        [(x + across * gap, y), (x + across * long, y)],
        [(x, y + up * gap), (x, y + up * long)],
    )
