"""Writes a section as HP-GL, with only the instructions that the plotter has.

Instructions as in the HP 7470A and 7550A interfacing and programming manuals: IN initialise,
IW input window, SP select pen, VS velocity in cm/s, FS force step, PA/PU/PD plot in plotter
units. It writes bytes and knows no port.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from devices.dialects.writer import passes
from devices.plotter.bed import Bed, Point, bed_of
from devices.plotter.holders import check_holders
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.arrays import FloatArray
    from marking.job.keys import Pen, PensTable
    from marking.sections.plan import Section


@dataclass(frozen=True)
class Drawing:
    """One polyline and the pen that draws it, by the name people know the pen by."""

    points: FloatArray
    """(n, 2) in mm, in the frame that the bed is set down in."""
    name: str
    pen: Pen
    joined: bool = False
    """Whether it begins where the last one ended, so that the pen stays down."""


def program(
    section: Section, plotter: Plotter, pens: PensTable, correction: Correction | None = None
) -> tuple[bytes, Bed]:
    """The whole HP-GL program of `section`, and the bed it is written for.

    Raises RefusedError before anything is written when a stroke would leave the usable area or a
    pen asks for what the plotter does not have.
    """
    bed = bed_of(section, plotter, correction)
    return written(drawings(section, pens), plotter, bed, section.id), bed


def drawings(section: Section, pens: PensTable) -> list[Drawing]:
    """The strokes of a section in inking order, each with its pen."""
    return [
        Drawing(piece.stroke.points, piece.stroke.pen, pens.named(piece.stroke.pen), leg.joined)
        for leg, piece in zip(section.route.legs, section.pieces, strict=True)
    ]


def written(drawings: Sequence[Drawing], plotter: Plotter, bed: Bed, what: str) -> bytes:
    """The HP-GL program that draws these on `bed`, in their order. Raises as `program` does."""
    check_pens(drawings, plotter)
    lines = [*opening(plotter, bed), *_body(drawings, plotter, bed, what), *closing(plotter, bed)]
    return "".join(f"{line}\n" for line in lines).encode("ascii")


def opening(plotter: Plotter, bed: Bed) -> Iterator[str]:
    """Initialises the plotter and closes it to all but the usable area."""
    if "IN" in plotter.instructions:
        yield "IN;"
    window = f"IW{bed.low[0]},{bed.low[1]},{bed.high[0]},{bed.high[1]};"
    if "IW" in plotter.instructions and len(window) <= plotter.longest_instruction:
        # IN resets the window to the hard-clip limits, so IW has to follow it. It cannot be sent in
        # parts; a machine that cannot take it whole is held in its area by `Bed.units` alone.
        yield window
    yield "PU;PA;"


def closing(plotter: Plotter, bed: Bed) -> Iterator[str]:
    """Parks the pen and puts it away."""
    yield f"PU{bed.park[0]},{bed.park[1]};"
    if "SP" in plotter.instructions:
        yield "SP0;"


def _body(drawings: Sequence[Drawing], plotter: Plotter, bed: Bed, what: str) -> Iterator[str]:
    in_units = bed.units_of([drawing.points for drawing in drawings], what)
    held: Pen | None = None
    for drawing, points in zip(drawings, in_units, strict=True):
        if drawing.pen is not held:
            yield from pen_settings(drawing.pen, held, plotter)
            held = drawing.pen
        if not drawing.joined:
            yield f"PU{points[0][0]},{points[0][1]};"
        yield from pen_down(passes(points, drawing.pen.passes), plotter.longest_instruction)


def check_pens(drawn: Sequence[Drawing], plotter: Plotter) -> None:
    """What the pens ask must be there before anything is written."""
    used = dict(sorted({drawing.name: drawing.pen for drawing in drawn}.items()))
    check_holders(used, plotter)
    for name, pen in used.items():
        slowest = 10 * plotter.speeds[0]
        if "VS" in plotter.instructions and pen.speed is not None and pen.speed < slowest:
            raise RefusedError(
                f"pens.{name}.speed = {pen.speed:g} mm/s: {plotter.name} goes no slower than "
                f"{slowest} mm/s; use a pen that can follow"
            )
    if "FS" in plotter.instructions:
        _check_forces(used, plotter)


def _check_forces(used: Mapping[str, Pen], plotter: Plotter) -> None:
    least, most = plotter.forces
    forced = [name for name, pen in used.items() if pen.force is not None]
    for name, pen in used.items():
        if pen.force is not None and not least <= pen.force <= most:
            raise RefusedError(
                f"pens.{name}.force = {pen.force}: {plotter.name} has steps {least} to {most}"
            )
    for name, pen in used.items():
        if pen.force is None and forced:
            # What a machine does without a step of its own is not the same everywhere.
            raise RefusedError(
                f"pens.{name} has no force and pens.{forced[0]} has one, which {plotter.name} "
                "might keep for both; give every pen of the job a force, or none"
            )


def pen_settings(pen: Pen, held: Pen | None, plotter: Plotter) -> Iterator[str]:
    """What changes when a stroke's pen is not the one before it."""
    known = plotter.instructions
    changed = held is None or held.slot != pen.slot
    if "SP" in known and changed:
        # A pen stays where it is until PU; none may be changed while it lies on the cloth.
        yield f"PU;SP{pen.slot};"
    speed = velocity(pen, plotter)
    if "VS" in known and (changed or held is None or velocity(held, plotter) != speed):
        yield f"VS{speed};"
    if "FS" in known and pen.force is not None:
        yield f"FS{pen.force};"


def velocity(pen: Pen, plotter: Plotter) -> int:
    """VS in cm/s, rounded down: cloth wants slow rather than fast."""
    least, most = plotter.speeds
    speed = min(plotter.draw_speed, pen.speed or plotter.draw_speed)
    return min(max(int(speed // 10), least), most)


def pen_down(path: Sequence[Point], longest: int) -> Iterator[str]:
    """PD instructions through `path` after its first point, none longer than `longest` bytes."""
    moves = [p for before, p in itertools.pairwise(path) if p != before] or [path[0]]
    for group in _groups((f"{x},{y}" for x, y in moves), longest - len("PD;")):
        yield f"PD{group};"


def _groups(coordinates: Iterable[str], longest: int) -> Iterator[str]:
    group = ""
    for pair in coordinates:
        if group and len(group) + 1 + len(pair) > longest:
            yield group
            group = ""
        group = f"{group},{pair}" if group else pair
    yield group
