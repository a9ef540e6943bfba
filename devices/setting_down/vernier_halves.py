"""A section's halves of verniers where its ink is drawn for another pose than they were.

They stay where they were drawn, and the long lines of those that were read are drawn over
themselves after the ink: one that comes out double tells that the device was moved. It knows
sections and kept placements, no person.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from marking.begun.on_the_cover import pose_from
from marking.begun.steps_kept import halves_of, steps_from
from marking.proof.drawn import drawn_alone, followed
from marking.proof.verniers import DIVISIONS

if TYPE_CHECKING:
    from collections.abc import Collection

    from devices.session.session import Workplace
    from marking.network.pose import Pose
    from marking.record.rows import KeptPlacement
    from marking.sections.plan import Section

_AGAIN = "again"


def halves_in(section: Section, place: Workplace, verniers: Collection[str]) -> frozenset[str]:
    """The strokes of `section` that are halves of these verniers."""
    return frozenset(
        piece.stroke.id
        for piece in section.pieces
        for name in verniers
        if piece.stroke.id.startswith(f"{section.id}_{name}_")
    )


def with_halves(section: Section, placed: KeptPlacement | None, place: Workplace) -> Section:
    """`section` as `placed` has it, its halves drawn for the pose that they were drawn for."""
    halves = halves_of(placed)
    if placed is None or halves is None or not place.verniers:
        return section
    read = [step.id for step in steps_from(placed.detail["steps"])]
    return moved_halves(section, halves, pose_from(placed.detail["inked_with"]), read, place)


def moved_halves(
    section: Section, halves: Pose, inked: Pose, read: Collection[str], place: Workplace
) -> Section:
    """`section`, to be carried to `inked`, with its halves as if it were carried to `halves`.

    With the long lines of those `read` once more, after all else.
    """
    own = halves_in(section, place, [one.id for one in place.verniers])
    pieces = tuple(
        replace(
            piece,
            stroke=replace(piece.stroke, points=inked(halves.inverse(piece.stroke.points))),
        )
        if piece.stroke.id in own
        else piece
        for piece in section.pieces
    )
    middles = {f"{section.id}_{name}_{DIVISIONS:02}" for name in read}
    again = [
        replace(piece.stroke, id=f"{piece.stroke.id}_{_AGAIN}")
        for piece in pieces
        if piece.stroke.id in middles
    ]
    whole = replace(section, pieces=pieces)
    if not again:
        return whole
    return followed(whole, drawn_alone(section, again, place.job.pens, place.plan.zone))
