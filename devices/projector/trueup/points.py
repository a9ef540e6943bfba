"""Points of the table that a target can be brought onto, and how well each is known.

Control marks and traced crossings where there are some, and by tape anywhere. It knows the
table and what has been traced, no pixels. Table frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from marking.begun.on_the_cover import control_set_out
from marking.measures.tape import independent_sd, true_length

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from devices.projector.desk.work import Work
    from marking.measures.tape import Tape
    from marking.record.record import Record
    from marking.sections.plan import Piece

    FloatArray = NDArray[np.float64]

_ON_LINE = 0.01
"""Millimetres within which a point lies on a line."""


@dataclass(frozen=True)
class Point:
    """A point that light can be brought onto."""

    at: tuple[float, float]
    sd: float
    """Its own error in mm per axis, without what all of one tape's points share."""
    what: str = ""
    """What stands there; empty for a point to be found by tape."""


def by_tape(along: float, across: float, tape: Tape) -> Point:
    """The point where the tape shows `along` and `across` from the zero corner."""
    at = true_length(along, tape), true_length(across, tape)
    return Point(at, float(np.sqrt((independent_sd(at, tape) ** 2).mean())))


def control_points(record: Record, work: Work) -> tuple[Point, ...]:
    """The control marks set out for this layout, if any were."""
    control = control_set_out(record, work.layout, work.job.units)
    if control is None:
        return ()
    return tuple(
        Point(
            mark.mark.at_table,
            by_tape(*mark.mark.at_table, control.tape).sd,
            f"control mark {mark.mark.id}",
        )
        for mark in control.marks
    )


def traced_crossings(
    work: Work, section: str, traced: Mapping[str, Collection[str]], sds: Mapping[str, float]
) -> Iterator[Point]:
    """The section's witness marks whose lines its neighbours have traced.

    `sds` says how far off, in mm per axis, each section's lines may lie.
    """
    drawn = [
        (name, piece)
        for name, ids in traced.items()
        if name in work.section_ids and name != section and ids
        for piece in work.section(name).pieces
        if piece.stroke.id in ids
    ]
    for mark in work.section(section).witness:
        through = [name for name, piece in drawn if _passes(piece, mark.at_table)]
        if len(through) >= 2:
            sd = max(sds.get(name, 0.0) for name in through)
            yield Point(mark.at_table, sd, f"traced crossing {mark.id}")


def _passes(piece: Piece, at: tuple[float, float]) -> bool:
    """Whether a stroke runs through a point, its ends included."""
    points = piece.stroke.points
    start, run = points[:-1], np.diff(points, axis=0)
    length2 = np.maximum((run**2).sum(axis=1), 1e-12)
    share = np.clip(((at - start) * run).sum(axis=1) / length2, 0, 1)
    off = start + share[:, None] * run - at
    return bool((np.hypot(off[:, 0], off[:, 1]) < _ON_LINE).any())


def nearest(points: Sequence[Point], to: tuple[float, float], within: float) -> Point | None:
    """The point nearest to a place, no farther than `within` mm."""
    far = [float(np.hypot(p.at[0] - to[0], p.at[1] - to[1])) for p in points]
    best = int(np.argmin(far)) if far else -1
    return points[best] if far and far[best] <= within else None
