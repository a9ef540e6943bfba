"""Where each section's device is set down, or its person stands: readings, words and a corner.

It knows the plan and the tape's units; the picture and the report show what it says. Table frame,
millimetres.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from marking.measures.lengths import rough_length

if TYPE_CHECKING:
    from collections.abc import Iterable

    from marking.arrays import Box, FloatArray
    from marking.layout.layout import Layout
    from marking.measures.lengths import Units
    from marking.sections.plan import Plan, Section
    from marking.sections.zones import Zone


def set_down_readings(section: Section, plan: Plan, units: Units) -> tuple[str, str]:
    """Tape readings from the zero corner to the window's corner nearest it, along and across.

    Rounded as a person sets a device down: what is left over the readings of its marks tell. A
    person who reaches in is told the edge to stand at in place of a reading across.
    """
    along, across = (rough_length(reading, units) for reading in section.window[:2])
    if plan.zone.manner.from_an_edge:
        return along, f"{edge_to_stand_at(section, plan)} edge"
    return along, across


def edge_to_stand_at(section: Section, plan: Plan) -> Literal["near", "far"]:
    """The long edge from which a person reaches a section."""
    return "near" if section.row == 1 else "far"


def set_down_corner(
    section: Section, plan: Plan, layout: Layout, letters: float
) -> tuple[FloatArray, ...]:
    """The low corner of a section's window, drawn so that it can be taken for no neighbour's.

    Lines (n, 2), table frame: the corner, the arrow's shaft and its head, for letters so high.

    The corner lies on the neighbour's ground, so its arms run along the window's own edges and an
    arrow leads from it into the section that the device is set down for: straight along the edge
    where numerals stand in the way. Who reaches in from the far edge has the corner there: all is
    drawn upside down.
    """
    x = section.window[0]
    x0, y0, x1, y1 = section.core
    boxes = [placed.numeral.box_table for placed in layout.numerals]
    far = plan.zone.manner.from_an_edge and edge_to_stand_at(section, plan) == "far"
    y = -section.window[3] if far else section.window[1]
    if far:
        y0, y1 = -y1, -y0
        boxes = [(left, -high, right, -low) for left, low, right, high in boxes]
    # Well into the section, as far as a small one has room; its name stands in the middle.
    tip = np.array([max(x, x0) + min(1.5 * letters, (x1 - x0) / 4), y])
    level = _clear_above(boxes, (x, tip[0] + letters), y) - letters / 5
    arm = min(1.5 * letters, level)
    inside = max(y, y0) + min(1.5 * letters, (y1 - y0) / 4)
    if inside + letters / 5 - y < level:
        tip[1] = inside
    way = (tip - (x, y)) / np.hypot(*(tip - (x, y)))
    aside = min(0.35 * letters, level) * np.array([-way[1], way[0]])
    back = tip - 0.7 * letters * way
    corner = np.array([(x + arm, y), (x, y), (x, y + arm)])
    shaft, head = np.array([(x, y), tip]), np.array([back + aside, tip, back - aside])
    up = np.array([1.0, -1.0 if far else 1.0])
    return corner * up, shaft * up, head * up


def _clear_above(boxes: Iterable[Box], along: tuple[float, float], y: float) -> float:
    """How far above `y` the first of `boxes` stands between two places along the table."""
    return min(
        (box[1] - y for box in boxes if box[3] > y and box[0] < along[1] and box[2] > along[0]),
        default=math.inf,
    )


def set_down_legend(plan: Plan) -> list[str]:
    """What the green corners and the readings on the plates say."""
    if plan.zone.feed is not None:
        reads = "along" if plan.zone.feed == 0 else "across"
        moved = "drawn over the bed" if plan.zone.own_bed else "fed"
        return [
            "Green corner: the pen's reach begins here on the loose canvas, which is "
            f"{moved} until then: the reading {reads}, from the zero corner."
        ]
    if plan.zone.manner.from_an_edge:
        return [
            "Green corner: stand there, at the edge named. The reach along the table begins at the "
            "tape reading under the section's name, from the zero end."
        ]
    return [
        f"Green corner: the corner of the {plan.zone.manner.part}, which lies over the section "
        "that the arrow points into; the tape readings under its name, along and across, are from "
        "the zero corner."
    ]


def through_said(zone: Zone) -> str:
    """How loose canvas is drawn through a machine, section after section."""
    sideways = " It goes in sideways, its length along the carriage." if zone.turned else ""
    if not zone.own_bed:
        return (
            "The canvas goes through this plotter loose, before it is stretched on: square its end "
            "to a drawn thread, feed it in along a selvedge or another drawn thread, and for each "
            "section feed it until the pen's reach begins at the reading from the canvas's zero "
            "corner. What it stretches by afterwards belongs under [cloth] in job.toml." + sideways
        )
    if zone.turned:
        sideways = " It goes in sideways, its width along the way it is drawn."
    return (
        "The canvas is drawn over this plotter's own bed loose, before it is stretched on: square "
        "its end to a drawn thread, and for each section draw it along a selvedge or another drawn "
        "thread until the pen's reach begins at the reading from the canvas's zero corner. Let "
        "what hangs over lie on a table of the bed's height, so that its weight does not pull; lay "
        "it flat without stretching it, and hold it down. What it stretches by afterwards belongs "
        "under [cloth] in job.toml." + sideways
    )


def next_step(zone: Zone, fed_to: str) -> str:
    """What to do with loose canvas for one section, whose reach begins at the reading given."""
    if zone.own_bed:
        return (
            "draw the loose canvas over the bed, squared to a drawn thread, until the pen's reach "
            f"begins {fed_to} from the canvas's zero corner; lay it flat and hold it down"
        )
    return (
        "feed the loose canvas, squared to a drawn thread, until the pen's reach begins "
        f"{fed_to} from the canvas's zero corner"
    )
