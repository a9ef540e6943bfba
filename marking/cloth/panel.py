"""One panel of curtain or drapery: what it is to be, and what is cut for it.

It knows cloth and hems, and no table. Millimetres; sizes are width and length, flat.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from msgspec import Struct

from marking.cloth.canvas import SEWN
from marking.errors import BadInputError
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from marking.job.keys import Fold
    from marking.measures.lengths import Units

_TUCK = {"in": 25.4, "mm": 25.0}
"""How far lining reaches under each side hem, and how much shorter it hangs: with sides of double
1 1/2 in it is cut 4 in narrower, with a bottom of double 4 in 3 in shorter than the face."""
_SAME = 1e-6


class Panel(Struct, frozen=True):
    """A panel as asked for."""

    width: float
    """Finished, flat: before it is pleated."""
    length: float
    """Finished, from the top fold to the bottom one."""
    bottom: Fold
    sides: Fold
    heading: Fold | None
    lined: bool = False
    repeat: float | None = None
    goods: float | None = None
    """Usable width of the cloth on the bolt."""
    widths: int | None = None
    """How many widths of it are sewn together, where a person says so."""


class CutPanel(Struct, frozen=True):
    """What is cut for a panel, flat."""

    width: float
    """Sewn together, before its sides are hemmed."""
    length: float
    """As cut: with a repeat, whole repeats."""
    trimmed: float
    """The length that hems and heading need: what is over goes off at the top."""
    widths: int
    each: float | None
    """Width of each width where the bolt's is not known; None where it is used as it comes."""
    lining: tuple[float, float] | None

    @property
    def run(self) -> float:
        """Cloth off the bolt for one panel."""
        return self.widths * self.length


def allowance(hem: Fold | None) -> float:
    """What a hem takes beyond the finished edge."""
    return 0.0 if hem is None else max(hem.lines)


def cut_for(panel: Panel, units: Units) -> CutPanel:
    """What to cut. Raises BadInputError for what no panel can be."""
    sides, bottom, heading = map(allowance, (panel.sides, panel.bottom, panel.heading))
    if 2 * sides >= panel.width:
        raise BadInputError(
            f"--sides take {format_length(sides, units)} each of a panel "
            f"{format_length(panel.width, units)} wide: nothing is left between them; check both"
        )
    if bottom + heading >= panel.length:
        raise BadInputError(
            f"--bottom and --heading turn {format_length(bottom + heading, units)} over a panel "
            f"{format_length(panel.length, units)} long: they would meet; check all three"
        )
    width, trimmed = panel.width + 2 * sides, panel.length + bottom + heading
    length = trimmed
    if panel.repeat is not None:
        length = math.ceil(trimmed / panel.repeat - _SAME) * panel.repeat
    widths, each = _widths(panel, width, units)
    return CutPanel(width, length, trimmed, widths, each, _lining(panel, units))


def _widths(panel: Panel, width: float, units: Units) -> tuple[int, float | None]:
    seam = SEWN[units]
    if panel.goods is None:
        count = panel.widths or 1
        return count, (width + 2 * seam * (count - 1)) / count
    usable = panel.goods - 2 * seam
    if usable <= 0:
        raise BadInputError(
            f"--goods {format_length(panel.goods, units)}: narrower than its own seams; give the "
            "width of the cloth on the bolt"
        )
    needed = max(1, math.ceil((width - 2 * seam) / usable - _SAME))
    if panel.widths is not None and panel.widths < needed:
        raise BadInputError(
            f"--widths {panel.widths}: a panel cut {format_length(width, units)} wide takes "
            f"{needed} widths of {format_length(panel.goods, units)}; say so, or leave it out"
        )
    return panel.widths or needed, None


def _lining(panel: Panel, units: Units) -> tuple[float, float] | None:
    """Hemmed an inch less deep than the face, it ends an inch above it; at the sides it reaches
    under the hems, and at the top into the heading."""
    if not panel.lined:
        return None
    tuck = _TUCK[units]
    shallower = panel.bottom.depth - tuck
    turns = len(panel.bottom.lines)
    hem = turns * (shallower if shallower >= tuck / 2 else panel.bottom.depth)
    return (
        panel.width + 2 * min(tuck, panel.sides.depth),
        panel.length - tuck + hem + allowance(panel.heading),
    )
