"""Stencils of the digits: slots for the marker's tip, bridged so that no counter falls out.

Frame: mm, x to the right, y up, the middle of the digit's centre lines at the origin. It knows the
lettering and a pen, no table; slots are shapely's, the well-kept library of planar shapes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from marking.errors import RefusedError
from marking.lettering.glyphs import digit_gap, letter_numeral

if TYPE_CHECKING:
    from shapely import LinearRing, MultiPolygon, Polygon

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob
    from marking.layout.layout import Layout

DIGITS = "0123456789"
_PLAY = 0.3
"""mm that a slot is wider than the line: what a tip needs to run freely, to be tried on a scrap."""
_BRIDGE, _LEAST_BRIDGE = 1.2, 0.6
"""mm across a bridge, and the least that a film holds by: our judgement, no source."""
_HAIR = 0.01
"""mm: far less than a cutter shows."""
_WAYS = (0, 90, 45, 135, 22.5, 67.5, 112.5, 157.5)
"""Degrees from upright in which a pair of bridges may lie, the most usual first."""
_PLATE = 6.0
"""mm of plate around a digit."""


class Stencil(Struct, frozen=True):
    """One digit's plate."""

    digit: str
    slots: tuple[FloatArray, ...]
    """Outlines (n, 2) to cut out, each closed by its first point; none has another inside."""
    plate: tuple[float, float, float, float]
    """x0, y0, x1, y1 of the plate."""
    ink: tuple[float, float]
    """From where to where along x the digit's ink stands, and its neighbours' a gap further."""


class Stencils(Struct, frozen=True):
    """The digits of one cover."""

    digits: tuple[Stencil, ...]
    height: float
    """mm, over the ink."""
    slot: float
    """mm across a slot."""
    gap: float
    """mm of cloth between the ink of two digits of one number."""
    line: float
    """mm: what the pen draws."""


def stencils_of(layout: Layout, job: MarkingJob) -> Stencils | None:
    """The digits at the height and in the face of the cover; None where it has no numerals.

    Raises RefusedError where they are too small to be bridged.
    """
    if layout.legibility is None:
        return None
    pen, face = job.pens.numerals.width, job.numerals.face
    tallest = max(letter_numeral(digit, face).height for digit in DIGITS)
    scale = layout.legibility.centre_line_height / tallest
    bridge = min(_BRIDGE, layout.legibility.height / 6)
    if bridge < _LEAST_BRIDGE:
        raise RefusedError(
            f"stencils: numerals {layout.legibility.height:.1f} mm high leave bridges of "
            f"{bridge:.1f} mm, which tear; write them freehand or by the strips"
        )
    return Stencils(
        tuple(_stencil(digit, face, scale, pen, bridge) for digit in DIGITS),
        layout.legibility.height,
        pen + _PLAY,
        digit_gap(face) * scale - pen,
        pen,
    )


def _stencil(digit: str, face: str, scale: float, pen: float, bridge: float) -> Stencil:
    lettered = letter_numeral(digit, face)
    lines = [stroke * scale for stroke in lettered.strokes]
    shape = _bridged(lines, (pen + _PLAY) / 2, bridge)
    if any(part.interiors for part in _parts(shape)):
        raise RefusedError(
            f"stencils: the counter of the {digit} would fall out in this face; write it freehand "
            'or by the strips, or take numerals.face = "simplex"'
        )
    slots = [np.asarray(part.exterior.coords) for part in _parts(shape)]
    x0, y0, x1, y1 = shape.bounds
    half = (lettered.width * scale + pen) / 2
    plate = (x0 - _PLATE, y0 - _PLATE, x1 + _PLATE, y1 + _PLATE)
    return Stencil(digit, tuple(slots), plate, (-half, half))


def _bridged(lines: list[FloatArray], half: float, bridge: float) -> Polygon | MultiPolygon:
    """The slots of centre lines, each counter held by two bridges across from each other."""
    import shapely

    inked = shapely.buffer(shapely.MultiLineString([line.tolist() for line in lines]), half)
    # What lies between the strokes of a double line is no counter: too small to be held or seen.
    inked = shapely.union_all([_without_slivers(part, bridge) for part in _parts(inked)])
    counters = [hole for part in _parts(inked) for hole in part.interiors]
    cuts = [cut for hole in counters for cut in _bridges(inked, hole, 2 * half, bridge)]
    # A hair over on all sides: cut to the very edge of the slot, a bridge would leave its rim.
    whole = [shapely.buffer(cut, _HAIR, join_style="mitre") for cut in cuts]
    return inked.difference(shapely.union_all(whole)) if cuts else inked


def _without_slivers(part: Polygon, bridge: float) -> Polygon:
    """A slot whose islands are all wide enough for a bridge to take hold of."""
    import shapely

    kept = [
        hole
        for hole in part.interiors
        if shapely.maximum_inscribed_circle(shapely.Polygon(hole)).length >= bridge / 2
    ]
    return shapely.Polygon(part.exterior, kept)


def _bridges(
    inked: Polygon | MultiPolygon, counter: LinearRing, slot: float, bridge: float
) -> list[Polygon]:
    """What two bridges take of the slots around a counter, in the way that they lie most squarely
    across: a corner would leave slivers, and a bridge that tears."""
    reach = 2 * max(abs(bound) for bound in inked.bounds)
    square = slot * bridge

    def uneven(cuts: list[Polygon]) -> float:
        return round(max(abs(float(cut.area) / square - 1) for cut in cuts), 2)

    ways = [
        [_crossed(inked, counter, degrees + turn, bridge, reach) for turn in (0, 180)]
        for degrees in _WAYS
    ]
    return min(ways, key=uneven)


def _crossed(
    inked: Polygon | MultiPolygon, counter: LinearRing, degrees: float, bridge: float, reach: float
) -> Polygon:
    """The first slot that a bar from the middle of a counter meets, as wide as the bar."""
    import shapely
    from shapely.affinity import rotate

    middle = counter.centroid
    x, y = middle.x, middle.y
    upright = shapely.box(x - bridge / 2, y, x + bridge / 2, y + reach)
    crossed = _parts(inked.intersection(rotate(upright, degrees, origin=middle)))
    return min(crossed, key=lambda part: float(part.distance(middle)))


def _parts(shape: Polygon | MultiPolygon) -> list[Polygon]:
    """The pieces of a shape, whether it is of one or of several."""
    import shapely

    return [part for part in shapely.get_parts(shape).tolist() if not part.is_empty]
