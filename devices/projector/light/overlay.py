"""A section's light: its strokes, marks, name and scale bar carried into the pixel frame.

Clipped to the picture by geometry, never by the eye. It knows a mapping and strokes, neither
colours nor files.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from devices.projector.light.mapping import apply
from marking.lettering.glyphs import letter
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.projector.light.mapping import LightMapping
    from marking.arrays import Box, FloatArray
    from marking.measures.lengths import Units
    from marking.sections.plan import Section

LightKind = Literal["stroke", "witness", "name", "scale"]
_BEND_PX = 0.02
"""How far a subdivided line may leave the bent one it stands for."""
_ROOM = 0.12
"""Of the picture: how far beyond its edge lines are followed before distortion, so that what
distortion draws in from outside is there."""
_EXACT = 1e-6
"""Millimetres that rounding may take from half a pitch."""
_BARS = {"in": [20, 12, 10, 6, 4, 2, 1], "mm": [500, 300, 200, 100, 50, 20, 10]}


class LitLine(Struct, frozen=True):
    """One lit polyline; points (n, 2) in pixels, inside the picture."""

    kind: LightKind
    id: str
    layer: str
    pen: str
    points: FloatArray


class Overlay(Struct, frozen=True):
    """All the light of one section."""

    section: str
    pixels: tuple[int, int]
    lights: tuple[LitLine, ...]
    """Strokes in inking order, then marks, name and scale bar."""
    pixels_per_mm: float
    """In the middle of the section."""
    bar: float
    """Length in mm of the scale bar; 0 when there is no room for one."""
    unlit: float
    """Ink length in mm of the section that falls outside the picture."""


def overlay(
    section: Section, mapping: LightMapping, pixels: tuple[int, int], units: Units, pitch: float
) -> Overlay:
    """The light of `section` through `mapping`; its lines stand `pitch` mm apart."""
    lights: list[LitLine] = []
    unlit = 0.0
    for piece in section.pieces:
        stroke = piece.stroke
        parts = carried(stroke.points, mapping, pixels)
        lights += [LitLine("stroke", stroke.id, stroke.layer, stroke.pen, part) for part in parts]
        if not _whole(parts, stroke.points, mapping):
            lit = sum(_length(mapping.to_table(part)) for part in parts)
            unlit += max(0.0, stroke.length - lit)
    for mark in section.locating_marks:
        lights += _lit("witness", mark.id, target_strokes(mark.at_table), mapping, pixels)
    lights += _lit("name", section.id, _name_strokes(section), mapping, pixels)
    bar, height = _bar_length(section.core, units), _bar_height(section, pitch)
    if bar and height is not None:
        strokes = _bar_strokes(section.core, height, bar, units)
        lights += _lit("scale", "scale", strokes, mapping, pixels)
    x0, y0, x1, y1 = section.core
    middle = np.array([[(x0 + x1) / 2, (y0 + y1) / 2]])
    scale = math.sqrt(abs(float(np.linalg.det(mapping.jacobian(middle)[0]))))
    return Overlay(
        section.id, pixels, tuple(lights), scale, bar if height is not None else 0.0, unlit
    )


def _whole(parts: Sequence[FloatArray], points_table: FloatArray, mapping: LightMapping) -> bool:
    if len(parts) != 1:
        return False
    ends = mapping.to_px(points_table[[0, -1]])
    return bool(np.allclose(parts[0][[0, -1]], ends, rtol=0, atol=1e-6))


def _length(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _lit(
    kind: LightKind,
    name: str,
    strokes: Sequence[FloatArray],
    mapping: LightMapping,
    pixels: tuple[int, int],
) -> list[LitLine]:
    return [
        LitLine(kind, name, kind, "removable", part)
        for stroke in strokes
        for part in carried(stroke, mapping, pixels)
    ]


def target_strokes(at: tuple[float, float], size: float = 9.0) -> list[FloatArray]:
    """A cross in a ring round a table point, the middle left open for the mark itself. mm."""
    x, y = at
    turn = np.linspace(0, 2 * math.pi, 49)
    ring = np.column_stack([x + size * np.cos(turn), y + size * np.sin(turn)])
    arms = [
        np.array(
            [[x + a * size * 0.25, y + b * size * 0.25], [x + a * size * 1.5, y + b * size * 1.5]]
        )
        for a, b in ((1, 0), (0, 1), (-1, 0), (0, -1))
    ]
    return [ring, *arms]


def _name_strokes(section: Section) -> list[FloatArray]:
    x0, y0, x1, y1 = section.core
    height = min(24.0, (y1 - y0) / 10)
    return _lettered(section.id, (x0 + x1) / 2, (y0 + y1) / 2, height)


def _lettered(text: str, x: float, y: float, height: float) -> list[FloatArray]:
    drawn = letter(text)
    scale = height / drawn.height
    return [stroke * scale + (x, y) for stroke in drawn.strokes]


def _bar_length(core: Box, units: Units) -> float:
    unit = 25.4 if units == "in" else 1.0
    lengths = [length * unit for length in _BARS[units]]
    return next((length for length in lengths if length <= (core[2] - core[0]) / 2), 0.0)


def _bar_height(section: Section, pitch: float) -> float | None:
    """y of the bar: where a third up or nearest to it no line along the table is nearer than half
    a pitch, so that none is traced for another. None when there is no such place."""
    y0, y1 = section.core[1], section.core[3]
    lines = {y0, y1}  # a neighbour's line may lie right beyond the edge
    for piece in section.pieces:
        points = piece.stroke.points
        if piece.stroke.layer != "numeral" and np.ptp(points[:, 1]) < np.ptp(points[:, 0]) / 10:
            lines |= {float(points[:, 1].min()), float(points[:, 1].max())}
    across = sorted(lines)
    wanted, half = y0 + (y1 - y0) / 3, pitch / 2 - _EXACT
    free = [(low + half, high - half) for low, high in itertools.pairwise(across)]
    places = [min(max(wanted, low), high) for low, high in free if low <= high]
    return min(places, key=lambda y: abs(y - wanted), default=None)


def _bar_strokes(core: Box, y: float, bar: float, units: Units) -> list[FloatArray]:
    """A bar to lay a rule along, ended by oblique ticks that no line lies along, with its length
    beside it."""
    x = (core[0] + core[2] - bar) / 2
    height = min(12.0, (core[3] - core[1]) / 20)
    lean = height / 2
    return [
        np.array([[x, y], [x + bar, y]]),
        *(np.array([[end - lean, y - height], [end + lean, y + height]]) for end in (x, x + bar)),
        *_lettered(format_length(bar, units), x + bar / 2, y + 1.6 * height, height),
    ]


def carried(
    points_table: FloatArray, mapping: LightMapping, pixels: tuple[int, int]
) -> list[FloatArray]:
    """A table polyline (n, 2) as the polylines of it that fall into the picture, in pixels.

    Every point of them lies within 0.02 px of the line's true image. Parts beyond the lens's
    horizon are left out first, since a homography would fold them back in.
    """
    parts = [
        _bent(run, mapping) for run in _in_sight(points_table, mapping, pixels) if len(run) > 1
    ]
    box = (0.0, 0.0, float(pixels[0]), float(pixels[1]))
    return [piece for part in parts for piece in clipped(part, box)]


def _in_sight(
    points: FloatArray, mapping: LightMapping, pixels: tuple[int, int]
) -> list[FloatArray]:
    """The runs of a polyline in front of the lens and near the picture, by exact half-planes."""
    width, height = pixels
    across, down, depth = mapping.matrix
    sx, sy = mapping.shift_px
    planes = np.array(
        [
            depth,
            across + (_ROOM * width + sx) * depth,
            ((1 + _ROOM) * width - sx) * depth - across,
            down + (_ROOM * height + sy) * depth,
            ((1 + _ROOM) * height - sy) * depth - down,
        ]
    )
    sides = points @ planes[:, :2].T + planes[:, 2]
    if (sides > 0).all():
        return [points]
    return _joined(
        points[:-1], points[1:], *_kept(sides[:-1], sides[1:], 1e-9 * np.abs(sides).max())
    )


def clipped(points: FloatArray, box: Box) -> list[FloatArray]:
    """The runs of a polyline (n, 2) inside `box`, by Liang and Barsky's clipping."""
    x0, y0, x1, y1 = box
    sides = np.column_stack(
        [points[:, 0] - x0, x1 - points[:, 0], points[:, 1] - y0, y1 - points[:, 1]]
    )
    if (sides >= 0).all():
        return [points]
    return _joined(points[:-1], points[1:], *_kept(sides[:-1], sides[1:], 0.0))


def _kept(start: FloatArray, end: FloatArray, least: float) -> tuple[FloatArray, FloatArray]:
    """For segments whose distances inside m lines are `start` and `end` (n, m): the share of
    each at which it enters and leaves; leaving before entering where none of it is inside."""
    run = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = (least - start) / run
    outside = np.where((run == 0) & (start < least), np.inf, 0.0)
    entering = np.where(run > 0, crossing, outside)
    leaving = np.where(run < 0, crossing, 1.0)
    return np.maximum(entering.max(axis=1), 0.0), np.minimum(leaving.min(axis=1), 1.0)


def _joined(
    start: FloatArray, end: FloatArray, enter: FloatArray, leave: FloatArray
) -> list[FloatArray]:
    """The kept shares of consecutive segments, joined where they meet."""
    runs: list[list[FloatArray]] = []
    unbroken = False
    for a, b, first, last in zip(start, end, enter, leave, strict=True):
        if first > last or (first == last and not unbroken):
            unbroken = False
            continue
        if not (unbroken and first == 0):
            runs.append([a + first * (b - a)])
        runs[-1].append(a + last * (b - a))
        unbroken = last == 1
    return [np.array(run) for run in runs if len(run) > 1]


def _bent(points_table: FloatArray, mapping: LightMapping) -> FloatArray:
    """Pixels of a polyline, with points put in where distortion bends its segments."""
    straight = apply(mapping.matrix, points_table)
    ends = mapping.distorted(straight)
    if mapping.k:
        start, run = straight[:-1], np.diff(straight, axis=0)
        sags = [
            np.linalg.norm(
                mapping.distorted(start + share * run)
                - (ends[:-1] + share * np.diff(ends, axis=0)),
                axis=1,
            )
            for share in (0.25, 0.5, 0.75)
        ]
        # Between n even steps a smooth bend sags by its whole sag over n squared; the third
        # power of a cubic's ends is why the sag is taken half as large again.
        pieces = np.ceil(np.sqrt(1.5 * np.max(sags, axis=0) / _BEND_PX)).astype(int).clip(1)
        if pieces.max() > 1:
            shares = [np.arange(1, count + 1) / count for count in pieces]
            inner = [a + s[:, None] * r for a, r, s in zip(start, run, shares, strict=True)]
            ends = mapping.distorted(np.vstack([straight[:1], *inner]))
    result: FloatArray = ends + mapping.shift_px
    return result
