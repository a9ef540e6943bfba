"""What the record tells of the pointer's offset, applied to readings old and new.

It knows the record, readings and setups; it reads no mark and asks nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from devices.history import device_name
from devices.plotter.bed import bed_of
from devices.plotter.pointer import pointer_from

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.plotter.pointer import PointerCheck
    from devices.plotter.profile import Plotter
    from marking.network.network import Setup
    from marking.placement.laid_ink import LaidInk
    from marking.record.record import Record
    from marking.sections.plan import Plan


def pointers_kept(record: Record, plotter: Plotter) -> tuple[PointerCheck, ...]:
    """All that was found of the pointer of the job's plotter, oldest first; the last holds."""
    checks = record.checks("pointer", device_name(plotter))
    return tuple(pointer_from(check.result) for check in checks)


def pointer_offset(record: Record, plotter: Plotter) -> tuple[float, float]:
    """What to add to a reading, mm in the device's axes; nothing where nothing was found."""
    kept = pointers_kept(record, plotter)
    return kept[-1].offset if kept else (0.0, 0.0)


def with_pointer_found(
    setups: Sequence[Setup],
    begun: Mapping[str, Sequence[LaidInk]],
    record: Record,
    plotter: Plotter,
    plan: Plan,
) -> tuple[Setup, ...]:
    """`setups` as their readings tell once the pointer is known.

    Those placed before it was first found were read as if it stood where the pen does, with the
    pen that it was found for; all later readings were corrected as they were taken.
    """
    kept = pointers_kept(record, plotter)
    if not kept:
        return tuple(setups)
    # One without a covariance was set down by tape: no pointer read anything for it.
    before = {
        one.name
        for one in (one for several in begun.values() for one in several)
        if one.placement and one.placement.covariance and one.placement.id <= kept[0].after
    }
    to_bed = bed_of(plan.sections[0], plotter).to_bed
    x, y = np.linalg.solve(to_bed, np.array(kept[0].offset)).tolist()

    def corrected(setup: Setup) -> Setup:
        if setup.section not in before:
            return setup
        moved = [replace(one, at=(one.at[0] + x, one.at[1] + y)) for one in setup.readings]
        return replace(setup, readings=tuple(moved))

    return tuple(corrected(setup) for setup in setups)
