"""Everything a run needs of one plotter at one set-down, whichever dialect it speaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.conversation.ahead import Limits, usable_bytes
from devices.dialects.gcode.answers import GcodeTongue
from devices.dialects.gcode.writer import GcodeHand
from devices.dialects.hpgl.answers import HpglTongue
from devices.dialects.hpgl.buffer_trial import buffer_trial
from devices.dialects.hpgl.instructions import check_pens, drawings
from devices.dialects.hpgl.writer import HpglHand
from devices.dialects.writer import inkings, pace_of
from devices.plotter.bed import bed_of

if TYPE_CHECKING:
    from devices.dialects.answers import Tongue
    from devices.dialects.own_limits import OwnLimits
    from devices.dialects.writer import Hand, Inking
    from devices.plotter.bed import Bed
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.job.keys import PensTable
    from marking.sections.plan import Section


@dataclass(frozen=True)
class Setting:
    """A machine set down to ink one section."""

    tongue: Tongue
    hand: Hand
    bed: Bed
    strokes: tuple[Inking, ...]
    limits: Limits
    room: int
    nudge: int


def setting(
    section: Section,
    plotter: Plotter,
    pens: PensTable,
    correction: Correction | None = None,
    own: OwnLimits | None = None,
) -> Setting:
    """What it takes to ink `section`, which is already cut for where the device stands.

    `own` is what the machine says of itself, and sets the pace where it is slower. Raises
    RefusedError when a stroke would leave the bed or a pen asks what is not there.
    """
    check_pens(drawings(section, pens), plotter)
    bed = bed_of(section, plotter, correction)
    if own is not None:
        plotter = own.slower(plotter)
    pace = pace_of(plotter, pens, own.acceleration if own is not None else None)
    tongue: Tongue
    hand: Hand
    if plotter.dialect == "hpgl":
        tongue = _hpgl_tongue(plotter, bed)
        hand = HpglHand(plotter, pens, bed, pace, plotter.longest_instruction)
        nudge = 1
    else:
        tongue = GcodeTongue(plotter)
        hand = GcodeHand(plotter, pens, bed, pace)
        nudge = max(1, round(0.06 / plotter.unit))
    limits = Limits(plotter.buffer_bytes)
    room = usable_bytes(plotter.buffer_bytes, tongue)
    strokes = tuple(inkings(section, pens, bed))
    return Setting(tongue, hand, bed, strokes, limits, room, nudge)


def _hpgl_tongue(plotter: Plotter, bed: Bed) -> HpglTongue:
    if plotter.handshake == "timed":
        return HpglTongue(plotter.handshake)
    (x0, y0), (x1, y1) = bed.low, bed.high
    return HpglTongue(
        plotter.handshake,
        starts="IN" in plotter.instructions,
        own_window=f"{x0},{y0},{x1},{y1}" if "IW" in plotter.instructions else "",
        trial=buffer_trial(plotter, bed),
    )
