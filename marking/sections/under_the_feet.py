"""Where the feet of an open frame come to stand: on ink still wet, or on the air beyond the edge.

It knows the windows and the strokes of sections in their order, and how long ink dries; no device,
no clock, and not who sets the order. Table frame, millimetres; seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np
from msgspec import Struct

from marking.layout.clear_places import meets

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box, FloatArray, Spot
    from marking.job.keys import MarkingJob, PensTable, TopTable
    from marking.layout.layout import Layout, Stroke
    from marking.sections.footing import Footing
    from marking.sections.route import Route
    from marking.sections.zones import Zone

EdgeName = Literal["near edge", "far end", "far edge", "zero end"]
EDGES: tuple[EdgeName, ...] = ("near edge", "far end", "far edge", "zero end")
"""In the order of the top's corners: each goes from its corner to the next."""
_ASKEW = 2.0
"""How far off a foot may come to stand, in what is kept free round the window: the window's
corners are that near, and feet that stand out by up to half its size swing twice as far."""
_HAIR = 1e-9


class Inked(Protocol):
    """What is asked of a section."""

    @property
    def id(self) -> str:
        """Its name."""

    @property
    def core(self) -> Box:
        """What it owns."""

    @property
    def window(self) -> Box:
        """What its device reaches."""

    @property
    def strokes(self) -> Sequence[Stroke]:
        """What it inks."""

    @property
    def route(self) -> Route:
        """How long that takes."""


class FootInAir(Struct, frozen=True):
    """A foot that the table's top does not carry whole."""

    number: int
    """As the profile counts its feet, from 1."""
    at_table: Spot
    """Where its middle comes to stand."""
    box: Box
    """What has to be carried there."""
    beyond: tuple[tuple[EdgeName, float], ...]
    """The edges it stands over, and how far out beyond each the board must reach, in mm."""


class WetInk(Struct, frozen=True):
    """Ink of a section inked shortly before, on which a foot comes to stand."""

    section: str
    """The one inked last of all that are stood on: once it is dry, so are the others."""
    wait: float
    """Seconds left until it has dried, if the device were set down as soon as the one before was
    inked."""


class UnderTheFeet(Struct, frozen=True):
    """What a person sees to before the device is set down for one section."""

    section: str
    in_air: tuple[FootInAir, ...]
    wet: WetInk | None
    """The ink that has to be waited for longest; None where all that feet stand on is dry."""


def standings(
    zone: Zone, sections: Sequence[Inked], layout: Layout, job: MarkingJob
) -> dict[str, UnderTheFeet]:
    """By section, in inking order, where the feet of the zone's device stand.

    Nothing where no feet are known. Between two sections only the machine's drawing is counted,
    and nothing for setting it down: a wait is told where none may be needed, never the other way.
    """
    footing = zone.footing
    if footing is None or not footing.feet:
        return {}
    found = {}
    for place, section in enumerate(sections):
        boxes = _boxes(zone, section)
        found[section.id] = UnderTheFeet(
            section.id,
            _in_air(footing, boxes, section, _flat(layout, job.table)),
            _wet(boxes, sections[:place], job, between=0.0),
        )
    return found


def stood_on(section: Inked, others: Sequence[Inked], zone: Zone, pens: PensTable) -> list[str]:
    """Ids of those of `others` on whose ink a foot comes to stand, set down for `section`."""
    boxes = _boxes(zone, section)
    return [other.id for other in others if other.id != section.id and _meets(boxes, other, pens)]


def idle_seconds(zone: Zone, sections: Sequence[Inked], job: MarkingJob) -> float:
    """How long a person stands idle for ink to dry, setting down at the job's own pace."""
    by_two = zone.footing is not None and zone.footing.takes_two
    pace = job.pace.set_down_by_two if by_two else job.pace.set_down
    idle = 0.0
    for place, section in enumerate(sections):
        wet = _wet(_boxes(zone, section), sections[:place], job, between=pace)
        idle += 0.0 if wet is None else wet.wait
    return idle


def _boxes(zone: Zone, section: Inked) -> tuple[Box, ...]:
    """Where each foot may come to stand, set down for `section`."""
    if zone.footing is None:
        return ()
    return zone.footing.boxes(section.window, _ASKEW * zone.set_down)


def _wet(
    boxes: Sequence[Box], before: Sequence[Inked], job: MarkingJob, *, between: float
) -> WetInk | None:
    """Going back from the section inked last, the first whose ink is stood on.

    `between` is what setting the device down takes, in seconds.
    """
    age = between
    for section in reversed(before):
        if not boxes or age >= job.inking.drying:
            return None
        if _meets(boxes, section, job.pens):
            return WetInk(section.id, job.inking.drying - age)
        age += section.route.seconds + between
    return None


def _meets(boxes: Sequence[Box], section: Inked, pens: PensTable) -> bool:
    """Whether any of `boxes` touches what a section inks, pen widths counted."""
    x0, y0, x1, y1 = section.core
    # Ticks stand out of a core by no more than a window does.
    w0, v0, w1, v1 = section.window
    low, high = (min(x0, w0), min(y0, v0)), (max(x1, w1), max(y1, v1))
    near = [
        box
        for box in boxes
        if box[0] <= high[0] and box[2] >= low[0] and box[1] <= high[1] and box[3] >= low[1]
    ]
    return any(_touches(box, stroke, pens) for box in near for stroke in section.strokes)


def _touches(box: Box, stroke: Stroke, pens: PensTable) -> bool:
    half = stroke.ink_width(pens.named(stroke.pen)) / 2
    grown = (box[0] - half, box[1] - half, box[2] + half, box[3] + half)
    return crosses(stroke.points, grown)


def crosses(points: FloatArray, box: Box) -> bool:
    """Whether a polyline (n, 2) has a point in a box, its edges counted."""
    return bool(meets(points[:-1], points[1:], np.array(box[:2]), np.array(box[2:])).any())


def _flat(layout: Layout, table: TopTable) -> FloatArray:
    """The corners (4, 2) of what of the top carries a foot: not where a round edge curves away."""
    inward = np.array([(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)])
    flat: FloatArray = layout.top.corners_table + table.edge_radius * inward
    return flat


def _in_air(
    footing: Footing, boxes: Sequence[Box], section: Inked, top: FloatArray
) -> tuple[FootInAir, ...]:
    """The feet that do not stand whole on the top, whose `top` corners (4, 2) go round it."""
    x, y = (section.window[0] + section.window[2]) / 2, (section.window[1] + section.window[3]) / 2
    found = []
    for number, (foot, box) in enumerate(zip(footing.feet, boxes, strict=True), 1):
        beyond = tuple(
            (name, out)
            for name, out in zip(EDGES, _out_beyond(box, top), strict=True)
            if out > _HAIR
        )
        if beyond:
            found.append(FootInAir(number, (x + foot[0], y + foot[1]), box, beyond))
    return tuple(found)


def _out_beyond(box: Box, top: FloatArray) -> list[float]:
    """How far the corners of a box stand out beyond each edge at most, in mm; less than 0 inside.

    The top is convex and its corners go round it anticlockwise, so that outside is on the right.
    """
    corners = np.array([[x, y] for x in box[::2] for y in box[1::2]])
    ways = np.roll(top, -1, axis=0) - top
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    outward = np.stack([ways[:, 1], -ways[:, 0]], axis=1)
    out = ((corners[:, None] - top) * outward).sum(axis=2)
    return [float(far) for far in out.max(axis=0)]
