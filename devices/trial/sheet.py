"""The test sheet that a plotter draws on scrap cloth: square, diagonals, verniers, pen samples.

Bed frame, millimetres, as the device is told: x along the device's X, y along its Y, from the
corner of its usable area. What is measured on the sheet is `devices.plotter.correction`'s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from devices.dialects.writer import PenUse, path_of
from devices.plotter.bed import bed_at
from devices.programs.dialect import writer_for
from devices.programs.files import written
from marking.errors import RefusedError
from marking.layout.layout import Stroke
from marking.lettering.glyphs import CAPITAL, letter
from marking.measures.lengths import INCH

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from devices.plotter.bed import Bed
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.arrays import FloatArray
    from marking.job.keys import Pen, PensTable
    from marking.measures.lengths import Units

PEN_NAMES = ("lines", "heavy", "numerals", "removable")
_EDGE = 4.0
"""Between the bed's edge and the square, in mm."""
_LARGEST, _LEAST = 600.0, 130.0
"""mm: a larger square outruns the scrap and the rule, a smaller one measures nothing."""
VERNIER_DIVISIONS = 10
_TICK = 6.0
_SAMPLE = (37.0, 9.0)


class Drawing(Struct, frozen=True):
    """One polyline and the pen that draws it, by the name people know the pen by."""

    points: FloatArray
    """(n, 2) in mm, on the sheet."""
    name: str
    pen: Pen
    as_a_line: bool = False
    """Whether its passes lie side by side, as those of the marking's lines do."""


class Vernier(Struct, frozen=True):
    """Two scales face to face, the second with pitches nine tenths of the first's.

    Where both draw one line the second is misplaced by a tenth of the pitch for each division
    from the middle: the direct vernier of the textbooks, least count pitch / divisions.
    """

    name: str
    axis: int
    """0 tells a misfit along device X, 1 along Y."""
    pitch: float
    question: str

    def misfit(self, division: int) -> float:
        """How far the second scale lies in + direction, in mm, if `division` coincides.

        Divisions count from the middle, -5 to 5. Raises RefusedError for any other.
        """
        half = VERNIER_DIVISIONS // 2
        if not -half <= division <= half:
            raise RefusedError(f"vernier {self.name}: divisions run from {-half} to {half}")
        return division * self.pitch / VERNIER_DIVISIONS


class ScrapSheet(Struct, frozen=True):
    """The sheet: the side of its square, what is drawn, and its verniers."""

    side: float
    """Nominal, mm."""
    drawings: tuple[Drawing, ...]
    verniers: tuple[Vernier, ...]


def scrap_sheet(plotter: Plotter, pens: PensTable, units: Units = "mm") -> ScrapSheet:
    """The test sheet for one plotter and its pens, in order of drawing.

    Its square is a whole number of `units`, so that a tape shows plain figures.
    Raises RefusedError when the bed is too small for a square worth measuring, or for the
    samples of so many pens and speeds.
    """
    side = _side(min(*plotter.bed_size, _LARGEST + 2 * _EDGE) - 2 * _EDGE, units)
    if side < _LEAST:
        raise RefusedError(
            f"{plotter.name}: a test square of {max(side, 0):g} mm is too small to measure a scale "
            f"on; it needs {_LEAST + 2 * _EDGE:g} mm both ways"
        )
    verniers = _verniers(pens)
    drawn = [
        *_square(side, pens),
        *_vernier_drawings(verniers, side, pens),
        *_samples(side, plotter, pens),
    ]
    shifted = [Drawing(d.points + _EDGE, d.name, d.pen) for d in drawn]
    return ScrapSheet(side, tuple(shifted), verniers)


def _side(room: float, units: Units) -> float:
    """The longest side within `room` mm that is a whole number of inches, or of millimetres."""
    inches = float(np.floor(room / float(INCH) + 1e-9)) * float(INCH)
    return inches if units == "in" and inches >= _LEAST else float(np.floor(room))


def scrap_program(
    plotter: Plotter,
    pens: PensTable,
    correction: Correction | None = None,
    units: Units = "mm",
) -> tuple[bytes, ScrapSheet]:
    """The sheet in the device's own dialect and frame, with a correction to prove that it helps.

    Raises RefusedError before anything is written when it does not fit or a pen is not there.
    """
    drawn = scrap_strokes(plotter, pens, correction, units)
    writer = writer_for(drawn.plotter, drawn.tools, drawn.bed, alone=True)
    return written(drawn.strokes, writer), drawn.sheet


class ScrapStrokes(Struct, frozen=True):
    """The sheet as a device draws it: `strokes` call a pen at a speed by a name of `tools`."""

    sheet: ScrapSheet
    plotter: Plotter
    bed: Bed
    tools: Mapping[str, Pen]
    strokes: tuple[PenUse, ...]
    names: tuple[str, ...]
    """What people call the pen of each stroke."""


def scrap_strokes(
    plotter: Plotter,
    pens: PensTable,
    correction: Correction | None = None,
    units: Units = "mm",
) -> ScrapStrokes:
    """The sheet's strokes in device units.

    Raises RefusedError when it does not fit or a pen is not there.
    """
    own = plotter.model_copy(update={"axes": ("+x", "+y")})
    sheet = scrap_sheet(own, pens, units)
    reach = sheet.side + 2 * _EDGE
    if correction is not None:
        # A device that draws small is told more than the nominal square, within its bed.
        room = np.array(own.bed_size) @ np.abs(correction.true_of_nominal).T
        reach = min(reach, float(room.min()))
    bed = bed_at(own, (0.0, 0.0, reach, reach), correction)
    # A pen is drawn with at more than one speed: each is a pen of its own to the writer.
    tools = {_tool(drawing): drawing.pen for drawing in sheet.drawings}
    writer_for(own, tools, bed).check({drawing.name: drawing.pen for drawing in sheet.drawings})
    lines = [
        Stroke("", "cross", d.name, d.points, d.pen.beside if d.as_a_line else ())
        for d in sheet.drawings
    ]
    drawn = bed.units_of([line.path for line in lines], "test sheet")
    strokes = tuple(
        PenUse(str(number), _tool(d), path_of(points, 1 if line.beside else d.pen.passes), False)
        for number, (d, line, points) in enumerate(zip(sheet.drawings, lines, drawn, strict=True))
    )
    return ScrapStrokes(sheet, own, bed, tools, strokes, tuple(d.name for d in sheet.drawings))


def _tool(drawing: Drawing) -> str:
    return f"{drawing.name} {drawing.pen.speed}"


def _square(side: float, pens: PensTable) -> Iterator[Drawing]:
    corners = np.array([[0, 0], [side, 0], [side, side], [0, side]], dtype=float)
    for start, end in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)):
        yield Drawing(corners[[start, end]], "lines", pens.lines)
    inward = np.array([[9, 4], [-9, 4], [-9, -4], [9, -4]], dtype=float)
    for name, corner, away in zip("ABCD", corners, inward, strict=True):
        yield from _lettered(name, corner + away, 4.0, "lines", pens.lines)


def _lettered(
    text: str, middle: FloatArray, height: float, name: str, pen: Pen
) -> Iterator[Drawing]:
    drawn = letter(text)
    scale = height / CAPITAL
    for stroke in drawn.strokes:
        yield Drawing(stroke * scale + middle, name, pen)


def _verniers(pens: PensTable) -> tuple[Vernier, ...]:
    pitch = float(max(2.5, 2.5 * pens.lines.width))
    other = float(max(pitch, 2.5 * pens.numerals.width))
    return (
        Vernier(
            "X", 0, pitch, "play along X: the second scale is drawn coming from the other side"
        ),
        Vernier(
            "Y", 1, pitch, "play along Y: the second scale is drawn coming from the other side"
        ),
        Vernier("PX", 0, other, "pens along X: the second scale is drawn with the numerals pen"),
        Vernier("PY", 1, other, "pens along Y: the second scale is drawn with the numerals pen"),
    )


def _vernier_drawings(
    verniers: tuple[Vernier, ...], side: float, pens: PensTable
) -> Iterator[Drawing]:
    """The X pair in the triangle at the bottom, the Y pair in the one at the left."""
    spread = 0.16 * side
    for vernier in verniers:
        apart = -spread if not vernier.name.startswith("P") else spread
        middle = np.array([side / 2 + apart, 0.12 * side])
        second = pens.numerals if vernier.name.startswith("P") else pens.lines
        name = "numerals" if vernier.name.startswith("P") else "lines"
        label = middle + (0, -_TICK - 6.0)
        if vernier.axis == 1:
            middle, label = middle[::-1], label[::-1]
        for points in _scale(vernier.pitch, vernier.axis, middle, -1):
            yield Drawing(points, "lines", pens.lines)
        finer = vernier.pitch * (VERNIER_DIVISIONS - 1) / VERNIER_DIVISIONS
        ticks = _scale(finer, vernier.axis, middle, 1)
        # Drawn from the far end back, every line of the pair is come upon from the other side.
        for points in ticks if name == "numerals" else ticks[::-1]:
            yield Drawing(points, name, second)
        yield from _lettered(vernier.name, label, 2.6, "lines", pens.lines)
        plus = np.zeros(2)
        plus[vernier.axis] = (VERNIER_DIVISIONS // 2 + 1) * vernier.pitch + 1.5
        yield from _lettered("+", middle + plus, 2.6, "lines", pens.lines)


def _scale(pitch: float, axis: int, middle: FloatArray, side: int) -> list[FloatArray]:
    """Ticks of one scale, rising along `axis`; the middle one longer, to count from."""
    half = VERNIER_DIVISIONS // 2
    ticks = []
    for k in range(-half, half + 1):
        length = _TICK * (1.4 if k == 0 else 1.2 if abs(k) == half else 1.0)
        ends = np.zeros((2, 2))
        ends[:, axis] = k * pitch
        ends[1, 1 - axis] = side * length
        ticks.append(ends + middle)
    return ticks


def _samples(side: float, plotter: Plotter, pens: PensTable) -> Iterator[Drawing]:
    """Each pen at its speed and at half of it: numerals, and lines at widening gaps.

    They stand in rows in the triangles at the top and the right, clear of the diagonals.
    """
    wanted = [(name, slowed) for name in PEN_NAMES for slowed in _speeds(pens.named(name), plotter)]
    places = _places(side)
    for name, pen in wanted:
        spot = next(places, None)
        if spot is None:
            raise RefusedError(
                f"{plotter.name}: the test square has no room for {len(wanted)} pen samples; "
                "give fewer pens of their own"
            )
        yield from _sample(name, pen, spot)


def _speeds(pen: Pen, plotter: Plotter) -> list[Pen]:
    full = min(pen.speed or plotter.draw_speed, plotter.draw_speed)
    if plotter.dialect == "gcode":
        slow = full / 2
    elif "VS" in plotter.instructions:
        slow = max(full / 2, 10.0 * plotter.speeds[0])
    else:
        return [pen]
    return [pen.model_copy(update={"speed": speed}) for speed in dict.fromkeys((full, slow))]


def _places(side: float) -> Iterator[FloatArray]:
    """Lower left corners of free places for samples, from the square's edges inwards."""
    width, height = _SAMPLE
    gap = 3.0
    depth = 8.0
    while side - 2 * (depth + height + gap) >= width:
        row = side - 2 * (depth + height + gap)
        count = int((row + gap) / (width + gap))
        start = (side - count * (width + gap) + gap) / 2
        for n in range(count):
            yield np.array([start + n * (width + gap), side - depth - height])
        depth += height + gap


def _sample(name: str, pen: Pen, corner: FloatArray) -> Iterator[Drawing]:
    """Its name and speed, `0 8`, and four upright lines at gaps of one to three widths."""
    width, height = _SAMPLE
    speed = f" {pen.speed / 10:.0f}" if pen.speed is not None else ""
    yield from _lettered(f"{name[0].upper()}{speed}", corner + (5.0, 2.5), 3.0, name, pen)
    yield from _lettered("08", corner + (18.5, height / 2), 6.0, name, pen)
    x = 26.0
    for gap in (0.0, 1.0, 2.0, 3.0):
        x += gap * pen.width + (pen.line_width if gap else 0.0)
        if x > width:
            break
        line = np.array([[x, 0.0], [x, height]]) + corner
        yield Drawing(line, name, pen, as_a_line=True)
