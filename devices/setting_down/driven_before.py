"""What stands by the placements of sections that were driven before, with no tape mark set out.

It knows the record and beds; it places nothing. Table frame, millimetres.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from devices.plotter.bed import bed_of
from marking.begun.on_the_cover import pose_from, setup_from
from marking.network.network import KnownMark, Reading, Setup
from marking.sections.locating_marks import Mark

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from devices.plotter.bed import Bed
    from devices.plotter.correction import Correction
    from devices.plotter.known_errors import PlotterFigures
    from devices.plotter.profile import Plotter
    from marking.placement.laid_ink import LaidInk
    from marking.record.record import Record
    from marking.record.rows import KeptPlacement
    from marking.sections.plan import Plan, Section


def driven_before(
    begun: Mapping[str, Sequence[LaidInk]],
    targets: Mapping[str, KnownMark],
    plan: Plan,
    plotter: Plotter,
    record: Record,
    correction: Correction | None,
    drawn: PlotterFigures,
) -> tuple[list[KnownMark], list[Setup]]:
    """Corners of beds that were set down by tape alone, and all ink in the order it was placed.

    `begun` is where each section's device stood, `drawn` what the plotter is corrected for now.
    """
    sections = {other.id: other for other in plan.sections}
    driven = {run.section for run in record.runs()}
    corners: list[KnownMark] = []
    setups: list[tuple[int, Setup]] = []
    for one in (one for several in begun.values() for one in several):
        kept, at = one.placement, sections[one.section]
        if kept is None or one.section not in driven:
            continue
        if not kept.covariance:
            taped = _set_down_by_tape(one.name, at, plotter)
            corners += [target for target, _ in taped]
            readings = tuple(reading for _, reading in taped)
            setup = Setup(one.name, pose_from(kept.pose), readings)
        elif "readings" in (kept.detail or {}):
            setup = replace(setup_from(kept, drawn), section=one.name)
        else:
            bed = bed_of(at, plotter, correction)
            readings = _read_for(kept, record, bed, targets)
            setup = Setup(one.name, pose_from(kept.pose), readings)
        setups.append((kept.id, setup))
    return corners, [setup for _, setup in sorted(setups, key=lambda pair: pair[0])]


def carried_to_table(
    bed: Bed, readings: Sequence[tuple[str, tuple[float, float], float]]
) -> tuple[Reading, ...]:
    """Readings as mark, bed point and deviation, to table points as if it stood as planned."""
    at_table = bed.table_of([at_bed for _, at_bed, _ in readings]).tolist() if readings else []
    return tuple(
        Reading(mark, (x, y), sd) for (mark, _, sd), (x, y) in zip(readings, at_table, strict=True)
    )


def _read_for(
    kept: KeptPlacement, record: Record, bed: Bed, targets: Mapping[str, KnownMark]
) -> tuple[Reading, ...]:
    """The readings of a placement in an older record, which does not name them.

    Of the sets of readings that were kept together, the one that fits it best.
    """
    pose = pose_from(kept.pose)
    together = [list(rows) for _, rows in groupby(record.readings(kept.section), lambda r: r.at)]
    sets = [
        carried_to_table(bed, [(r.mark, r.at_bed, r.sd) for r in rows if r.mark in targets])
        for rows in together
    ]

    def misfit(readings: Sequence[Reading]) -> float:
        at = np.array([targets[reading.mark].mark.at_table for reading in readings])
        off = pose(np.array([reading.at for reading in readings])) - at
        return float(np.hypot(off[:, 0], off[:, 1]).mean())

    return min((readings for readings in reversed(sets) if readings), key=misfit, default=())


def _set_down_by_tape(
    name: str, section: Section, plotter: Plotter
) -> list[tuple[KnownMark, Reading]]:
    """A device set down by tape alone, as if two corners of its bed had been read."""
    x0, y0, x1, y1 = section.window
    pairs = []
    for end, corner in (("a", (x0, y0)), ("b", (x1, y1))):
        mark = Mark(f"{name}-corner-{end}", corner, "control")
        pairs.append((KnownMark(mark), Reading(mark.id, corner, max(plotter.set_down, 0.5))))
    return pairs
