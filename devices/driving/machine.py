"""Everything a run needs of one plotter at one set-down, whichever dialect it speaks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from devices.conversation.ahead import AheadLimits, usable_bytes
from devices.dialects.writer import inkings
from devices.plotter.bed import bed_of
from devices.programs.dialect import dialect_for, writer_for

if TYPE_CHECKING:
    from devices.dialects.answers import Dialect
    from devices.dialects.told_limits import OwnLimits
    from devices.dialects.writer import PenUse, Writer
    from devices.plotter.bed import Bed
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.job.keys import PensTable
    from marking.sections.plan import Section

_NUDGE = {"hpgl": 0.0, "gcode": 0.06}
"""mm that two places lie apart which the machine reports unlike; at least a unit."""


class MachineSetting(Struct, frozen=True):
    """A machine set down to ink one section."""

    dialect: Dialect
    writer: Writer
    bed: Bed
    strokes: tuple[PenUse, ...]
    limits: AheadLimits
    room: int
    nudge: int


def setting(
    section: Section,
    plotter: Plotter,
    pens: PensTable,
    correction: Correction | None = None,
    own: OwnLimits | None = None,
) -> MachineSetting:
    """What it takes to ink `section`, which is already cut for where the device stands.

    `own` is what the machine says of itself, and sets the pace where it is slower. Raises
    RefusedError when a stroke would leave the bed or a pen asks what is not there.
    """
    named = pens.by_name
    bed = bed_of(section, plotter, correction)
    if own is not None:
        plotter = own.slower(plotter)
    writer = writer_for(plotter, named, bed, own.acceleration if own is not None else None)
    writer.check({piece.stroke.pen: named[piece.stroke.pen] for piece in section.pieces})
    return made_ready(plotter, writer, tuple(inkings(section, named, bed)))


def made_ready(plotter: Plotter, writer: Writer, strokes: tuple[PenUse, ...]) -> MachineSetting:
    """What it takes to have `plotter` draw strokes in the words of its `writer`."""
    dialect = dialect_for(plotter, writer.bed)
    nudge = max(1, round(_NUDGE[plotter.dialect] / plotter.unit))
    limits = AheadLimits(plotter.buffer_bytes)
    room = usable_bytes(plotter.buffer_bytes, dialect)
    return MachineSetting(dialect, writer, writer.bed, strokes, limits, room, nudge)
