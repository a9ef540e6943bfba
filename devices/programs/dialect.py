"""Which dialect's writer and questions a plotter is driven with. It knows no dialect's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.dialects.writer import pace_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from devices.dialects.answers import Dialect
    from devices.dialects.writer import Writer
    from devices.plotter.bed import Bed
    from devices.plotter.profile import Plotter
    from marking.job.keys import Pen


def writer_for(
    plotter: Plotter,
    pens: Mapping[str, Pen],
    bed: Bed,
    acceleration: float | None = None,
    *,
    alone: bool = False,
) -> Writer:
    """The writer of `plotter`'s dialect; `acceleration` in mm/s2, where the machine told it.

    `alone` is whether what it writes is all that the machine is told, as in a file: no greeting
    went before that made it ready, and none comes after.
    """
    pace = pace_of(plotter, pens, acceleration)
    if plotter.dialect == "hpgl":
        from devices.dialects.hpgl.writer import HpglWriter

        return HpglWriter(plotter, pens, bed, pace, alone)
    from devices.dialects.gcode.writer import GcodeWriter

    return GcodeWriter(plotter, pens, bed, pace, alone)


def who(plotter: Plotter) -> bytes:
    """What asks a machine of `plotter`'s dialect for its name, and moves nothing."""
    if plotter.dialect == "gcode":
        from devices.dialects.gcode.answers import WHO as BUILD

        return BUILD
    from devices.dialects.hpgl.answers import WHO as NAME

    return NAME


def dialect_for(plotter: Plotter, bed: Bed) -> Dialect:
    """How `plotter` is asked, and what it answers."""
    if plotter.dialect == "gcode":
        from devices.dialects.gcode.answers import GcodeDialect

        return GcodeDialect(plotter)
    from devices.dialects.hpgl.answers import HpglDialect
    from devices.dialects.hpgl.buffer_trial import buffer_trial

    if plotter.handshake == "timed":
        return HpglDialect(plotter.handshake)
    (x0, y0), (x1, y1) = bed.low, bed.high
    return HpglDialect(
        plotter.handshake,
        starts="IN" in plotter.instructions,
        own_window=f"{x0},{y0},{x1},{y1}" if "IW" in plotter.instructions else "",
        trial=buffer_trial(plotter, bed),
    )
