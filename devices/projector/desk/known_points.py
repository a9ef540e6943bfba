"""Points that a cover already offers to true up by: marks set out, and crossings that are traced.

It knows the job, its sections and what has been traced, no pixels. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from devices.projector.trueup.points import KnownPoint, by_tape
from marking.begun.on_the_cover import tape_marks_set_out

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from devices.projector.desk.beam_work import BeamWork
    from marking.record.record import Record
    from marking.sections.plan import Piece

_ON_LINE = 0.01
"""Millimetres within which a point lies on a line."""


def tape_mark_points(record: Record, work: BeamWork) -> tuple[KnownPoint, ...]:
    """The tape marks set out for this layout, if any were."""
    tape_marks = tape_marks_set_out(record, work.layout, work.job.units)
    if tape_marks is None:
        return ()
    return tuple(
        KnownPoint(
            mark.mark.at_table,
            by_tape(*mark.mark.at_table, tape_marks.tape).sd,
            f"tape mark {mark.mark.id}",
        )
        for mark in tape_marks.marks
    )


def traced_crossings(
    work: BeamWork, section: str, traced: Mapping[str, Collection[str]], sds: Mapping[str, float]
) -> Iterator[KnownPoint]:
    """The section's locating marks whose lines its neighbours have traced.

    `sds` says how far off, in mm per axis, each section's lines may lie.
    """
    drawn = [
        (name, piece)
        for name, ids in traced.items()
        if name in work.section_ids and name != section and ids
        for piece in work.section(name).pieces
        if piece.stroke.id in ids
    ]
    for mark in work.section(section).locating_marks:
        through = [name for name, piece in drawn if _passes(piece, mark.at_table)]
        if len(through) >= 2:
            sd = max(sds.get(name, 0.0) for name in through)
            yield KnownPoint(mark.at_table, sd, f"traced crossing {mark.id}")


def _passes(piece: Piece, at: tuple[float, float]) -> bool:
    """Whether a stroke runs through a point, its ends included."""
    points = piece.stroke.points
    start, run = points[:-1], np.diff(points, axis=0)
    length2 = np.maximum((run**2).sum(axis=1), 1e-12)
    share = np.clip(((at - start) * run).sum(axis=1) / length2, 0, 1)
    off = start + share[:, None] * run - at
    return bool((np.hypot(off[:, 0], off[:, 1]) < _ON_LINE).any())
