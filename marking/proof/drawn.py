"""Sections with their halves of the verniers over their joins, as a plotter draws them.

It brings verniers and sections together; it knows no machine and places nothing. Table frame, mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from marking.proof.distortion import distortion_of
from marking.proof.verniers import vernier_strokes, verniers_over
from marking.sections.plan import Piece
from marking.sections.route import Route, shortest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.job.keys import PensTable
    from marking.layout.layout import Layout, Stroke
    from marking.proof.verniers import JoinVernier
    from marking.sections.plan import Plan, Section
    from marking.sections.zones import Zone


def drawn_alone(
    section: Section, strokes: Sequence[Stroke], pens: PensTable, zone: Zone
) -> Section:
    """`section` with these strokes in place of its own, in order of drawing."""
    home = section.window[2 * zone.home[0]], section.window[2 * zone.home[1] + 1]
    route = shortest(strokes, pens, home, zone.pace)
    drawn = []
    for leg in route.legs:
        stroke = strokes[leg.index]
        points = stroke.points[::-1] if leg.backwards else stroke.points
        drawn.append(Piece(replace(stroke, points=points), stroke.id))
    return replace(section, pieces=tuple(drawn), route=route)


def with_verniers(
    plan: Plan, layout: Layout, pens: PensTable
) -> tuple[Plan, tuple[JoinVernier, ...]]:
    """`plan` with each section's halves after its own strokes, and what verniers those are.

    Windows, cores and marks stay: it is the same division, of which nothing more is inked for good.
    """
    verniers = verniers_over(plan, distortion_of(layout, plan), pens.removable.width)
    drawn = vernier_strokes(verniers)
    sections = tuple(
        followed(section, drawn_alone(section, drawn[section.id], pens, plan.zone))
        if section.id in drawn
        else section
        for section in plan.sections
    )
    return replace(plan, sections=sections), verniers


def followed(section: Section, halves: Section) -> Section:
    """`section` and then `halves`, the pen raised in between."""
    one, two = section.route, halves.route
    route = Route(
        (*one.legs, *(replace(leg, index=leg.index + len(one.legs)) for leg in two.legs)),
        one.lifts + two.lifts,
        one.travel + two.travel,
        one.seconds + two.seconds,
    )
    return replace(section, pieces=(*section.pieces, *halves.pieces), route=route)
