"""Numerals along the long sides: how tall they can be, and where each one's ink lies.

Table frame, millimetres. Clearances count ink: a numeral's extent is that of its centre lines
and the pen's width.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from msgspec import Struct
from msgspec.structs import replace

from marking.errors import RefusedError
from marking.layout.bare_cloth import OFF_BOX, between_lines
from marking.layout.second_scale import OF_FIRST, line_sides, second_zero
from marking.lettering.glyphs import Lettered, digit_gap, letter_numeral
from marking.measures.lengths import format_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import FloatArray
    from marking.job.keys import MarkingJob, NumeralsTable
    from marking.layout.lines import Side
    from marking.measures.lengths import Units

Row = Literal["margin", "band", "line", "middle", "second", "other"]
_STEP = 0.01
"""Automatic heights are rounded down to this, in mm: far below what a pen can show."""


class HeightLimit(Struct, frozen=True):
    """One clearance, and the greatest ink height of all numerals at which it is kept."""

    height: float
    value: int | None
    """The numeral that would touch, or None when every numeral would."""
    what: str


class Neighbours(Struct, frozen=True):
    """How far the two closest numerals stand apart, beside how far their digits do."""

    values: tuple[int, int]
    gap: float
    """Between their ink, in mm."""
    digit_gap: float
    """Between the ink of two noughts of one numeral, in mm."""
    apart_height: float
    """The greatest ink height at which a digit's width of cloth shows between any two.

    So much should stand between words (NUREG-0700 rev. 3, 11.4.1.5-7, on labels).
    """

    @property
    def ratio(self) -> float:
        """The one gap over the other; without any gap between digits, endless."""
        return self.gap / self.digit_gap if self.digit_gap > 0 else math.inf


class Legibility(Struct, frozen=True):
    """How well numerals of the chosen height read."""

    height: float
    centre_line_height: float
    limited_by: str
    arc_minutes: float
    view_from: float
    height_to_stroke: float
    neighbours: Neighbours | None
    """None where no numeral has two digits, so that no gap can be mistaken."""
    larger: tuple[tuple[str, float], ...]
    """What would allow larger numerals: a change, and the height in mm it would give."""


class Numeral(Struct, frozen=True):
    """One numeral: its centre lines, and the box its ink fills."""

    text: str
    side: Side
    value: int
    at_table: tuple[float, float]
    height: float
    box_table: tuple[float, float, float, float]
    strokes_table: tuple[FloatArray, ...]
    row: Row = "margin"
    """Where it stands: in its side's margin, or on a line of the grid."""


class _Room(Struct, frozen=True):
    """What the numerals have to fit into. Millimetres."""

    pen: float
    clear: float
    strip: float
    """From where the top is flat to the first long line's ink."""
    apart: float
    """From one numbered cross line to the next."""
    ends: tuple[float, float]
    """From the first and from the last numbered cross line to the end of the top."""


class NumeralsAsked(Struct, frozen=True, dict=True):
    """The numerals that a job asks for, and what they have to stand beside."""

    keys: NumeralsTable
    units: Units
    pen: float
    """Width of the numerals' pen, in mm."""
    pitch: float
    """From one cross line to the next, in mm."""
    margin: float
    """From where the top is flat at a long edge to the middle of its first long line."""
    curved: float
    """From an edge to where the top is flat."""
    line_ink: float
    """The greatest width of a line."""
    sides: tuple[Side, ...]
    """The long sides that carry them."""
    zero_at: int | None
    """The cross line that a second row counts from, if there is one."""
    slack: float
    """Drawn length over finished length along the table: 1 on a cover marked in place."""
    xs: FloatArray
    """Of all cross lines."""
    rect: tuple[float, float, float, float]
    """Of the top what is flat."""
    upright: Sequence[tuple[float, float]]
    """All upright lines, rising: x, and half their ink."""

    @cached_property
    def values(self) -> list[int]:
        """What is written, at every `every`-th cross line from the zero line on."""
        return [self.keys.at_line(n) for n in range(0, len(self.xs), self.keys.every)]

    @cached_property
    def lettered(self) -> list[Lettered]:
        """The values as they are set."""
        return [letter_numeral(str(value), self.keys.face) for value in self.values]

    @cached_property
    def second(self) -> list[tuple[int, Lettered]]:
        """The values of a second row and as they are set, one for each of the first."""
        if self.zero_at is None:
            return []
        numbers = range(0, len(self.xs), self.keys.every)
        values = [abs(n - self.zero_at) * self.keys.per_line for n in numbers]
        return [(value, letter_numeral(str(value), self.keys.face)) for value in values]

    @cached_property
    def widths(self) -> list[float]:
        """Of what stands at each numbered line, in face units of the first row's height."""
        first = [text.width for text in self.lettered]
        second = [OF_FIRST * text.width for _, text in self.second]
        return [max(pair) for pair in zip(first, second, strict=True)] if second else first

    @cached_property
    def tallest(self) -> float:
        """The greatest height of their centre lines, in face units."""
        return max(text.height for text in self.lettered)

    @cached_property
    def room(self) -> _Room:
        """What they have to fit into."""
        last = self.xs[(len(self.xs) - 1) // self.keys.every * self.keys.every]
        return _Room(
            self.pen,
            self.keys.clear,
            self.margin - self.line_ink / 2,
            self.pitch * self.keys.every,
            (float(self.xs[0] - self.rect[0]), float(self.rect[2] - last)),
        )

    @cached_property
    def limits(self) -> list[HeightLimit]:
        """Every clearance as a greatest height."""
        return _limits(self)

    @cached_property
    def tightest(self) -> HeightLimit:
        """The clearance that allows least."""
        return min(self.limits, key=lambda limit: limit.height)

    @property
    def least_height(self) -> float:
        """The least height at which their insides stay open: two pen widths."""
        return 2 * self.room.pen / (OF_FIRST if self.second else 1)


def asked_for(
    job: MarkingJob,
    xs: FloatArray,
    rect: tuple[float, float, float, float],
    upright: Sequence[tuple[float, float]],
) -> NumeralsAsked:
    """What `job` asks of the numerals at cross lines `xs` on the top `rect`.

    `upright` are the x of all upright lines, rising, each with half its ink.
    """
    curved = job.table.edge_radius
    return NumeralsAsked(
        job.numerals,
        job.units,
        job.pens.numerals.width,
        job.grid.pitch,
        job.grid.margin - curved,
        curved,
        max(job.pens.lines.line_width, job.pens.heavy.width),
        line_sides(job),
        second_zero(job, len(xs)),
        1 / (1 + job.cloth.stretch_length),
        xs,
        (rect[0] + curved, rect[1] + curved, rect[2] - curved, rect[3] - curved),
        upright,
    )


def fit(asked: NumeralsAsked) -> Legibility:
    """The height that numerals get, and how well it reads.

    Between the upright lines a join must be able to pass from one numeral to the next. "auto" is
    the greatest height that fits, at which neighbours read as two numbers and every join can
    pass; where none does all of that, joins come before reading as two.

    Raises RefusedError when the height asked for does not fit, with the largest that does and
    the first numeral that would touch; or when none fits.
    """
    tightest, pen = asked.tightest, asked.room.pen
    greatest = _rounded_down(tightest.height)
    if greatest < asked.least_height:
        raise RefusedError(
            f"numerals: none fit; {tightest.what}, and that leaves less than two pen widths. "
            f"{_remedies(asked, asked.least_height)}{_lower_first(asked)}"
        )
    wanted = asked.keys.height
    if wanted == "auto":
        chosen = _clearest(asked)
    else:
        _check_fits(asked, wanted)
        chosen = HeightLimit(wanted, None, tightest.what)
    return Legibility(
        chosen.height,
        chosen.height - pen,
        chosen.what,
        60 * math.degrees(2 * math.atan(chosen.height / 2 / asked.keys.view_from)),
        asked.keys.view_from,
        chosen.height / pen,
        _neighbours(asked, chosen.height),
        tuple(_larger(asked, chosen.height if wanted == "auto" else greatest)),
    )


def _lower_first(asked: NumeralsAsked) -> str:
    """What a count that begins lower would do, where it does not begin at nought."""
    first = asked.keys.first
    return f". A lower numerals.first than {first} has fewer digits" if first else ""


def _clearest(asked: NumeralsAsked) -> HeightLimit:
    """The height of "auto", with what keeps larger ones out."""
    fits, parted = asked.tightest, _parted(asked)
    near = _neighbours(asked, fits.height)
    apart = HeightLimit(math.inf, None, "")
    if near is not None:
        first, second = near.values
        apart = HeightLimit(
            near.apart_height, first, f"{first} and {second} would read as one number"
        )
    for limits in ((fits, apart, parted), (fits, parted), (fits,)):
        least = min(limits, key=lambda limit: limit.height)
        if _rounded_down(least.height) >= asked.least_height:
            return HeightLimit(_rounded_down(least.height), least.value, least.what)
    raise AssertionError("what fits is two pen widths high")


def _parted(asked: NumeralsAsked) -> HeightLimit:
    """The greatest height at which a join can pass between every two neighbouring numerals.

    On slack cloth places and numerals lie closer by the stretch, and the pen is as wide as ever.
    """
    slack, pen = asked.slack, asked.room.pen
    lines = [(x * slack, half) for x, half in asked.upright]
    bare = [cloth for _, _, cloth in between_lines(lines)]
    numbered = (asked.xs[:: asked.keys.every] * slack).tolist()
    keep = pen / 2 + OFF_BOX + _STEP

    def height(room_beside: float, width: float) -> float:
        """Of numerals whose halves, `width` face units wide in all, have that much room."""
        return (room_beside / slack) / width * asked.tallest + pen if width else math.inf

    best = HeightLimit(math.inf, None, "")
    values, widths = asked.values, asked.widths
    for n, (left, right) in enumerate(pairwise(numbered)):
        this, after = widths[n] / 2, widths[n + 1] / 2
        between = height(right - left - 2 * keep, this + after)
        passing = [
            min(between, height(high - left - keep, this), height(right - low - keep, after))
            for low, high in bare[bisect_left(bare, (left,)) : bisect_left(bare, (right,))]
        ]
        greatest = max(passing, default=math.inf)
        if greatest < best.height:
            what = f"no join between sections could pass between {values[n]} and {values[n + 1]}"
            best = HeightLimit(greatest, values[n], what)
    return best


def _check_fits(asked: NumeralsAsked, wanted: float) -> None:
    """Refuses a height asked for that does not fit, or whose insides would fill."""
    units = asked.units
    greatest = _rounded_down(asked.tightest.height)
    if wanted < asked.least_height:
        raise RefusedError(
            f"numerals.height = {format_length(wanted, units)} ({wanted:.2f} mm) is less than "
            f"two widths of the numerals' pen ({asked.room.pen:.2f} mm), so their insides would "
            f'fill. Ask for {asked.least_height:.2f} mm or more, or "auto", or take a finer pen'
        )
    touching = [limit for limit in asked.limits if limit.height < wanted]
    if touching:
        touched = min(touching, key=lambda limit: -1 if limit.value is None else limit.value)
        first = "every numeral" if touched.value is None else f"numeral {touched.value} first"
        raise RefusedError(
            f"numerals.height = {format_length(wanted, units)} ({wanted:.2f} mm) does not fit: "
            f"{first}, since {touched.what}. The largest that fits is {greatest:.2f} mm "
            f"({format_length(greatest, units)}). {_remedies(asked, greatest)}"
        )


def _rounded_down(height: float) -> float:
    return math.floor(height / _STEP) * _STEP


def _limits(asked: NumeralsAsked) -> list[HeightLimit]:
    """Every clearance as a greatest height. Widths grow in proportion to the centre lines."""
    room, values = asked.room, asked.values
    ratios = [width / asked.tallest for width in asked.widths]

    def height(room_for_centre_lines: float, ratio: float) -> float:
        return room_for_centre_lines / ratio + room.pen if ratio else math.inf

    edge = "the round edge" if asked.curved else "edge"
    strip = room.strip - 2 * room.clear
    why = f"the margin leaves no more between {edge} and line"
    if asked.second:
        strip = (strip - room.clear) / (1 + OF_FIRST)
        why = f"two rows (numerals.second_zero) share the margin between {edge} and line"
    limits = [HeightLimit(strip, None, why)]
    for end, index in ((room.ends[0], 0), (room.ends[1], -1)):
        half = height(2 * (end - room.clear) - room.pen, ratios[index])
        limits.append(
            HeightLimit(half, values[index], f"{values[index]} would come too near the end")
        )
    for this, after, left, right in zip(values, values[1:], ratios, ratios[1:], strict=False):
        between = height(room.apart - room.clear - room.pen, (left + right) / 2)
        limits.append(
            HeightLimit(between, this, f"{this} and {after} would come too near each other")
        )
    return limits


def _allowed(asked: NumeralsAsked) -> float:
    """The greatest height that fits; for "auto" the one it would choose. 0 when none does."""
    fits = _rounded_down(asked.tightest.height)
    if asked.keys.height != "auto" or fits < asked.least_height:
        return fits
    return _clearest(asked).height


def _neighbours(asked: NumeralsAsked, height: float) -> Neighbours | None:
    """The closest two numerals of ink `height`, one of them at least of more than one digit."""
    room, tallest, face = asked.room, asked.tallest, asked.keys.face
    # Centre lines, in face units: half of each of two numerals that stand side by side.
    pairs = [
        ((left.width + right.width) / 2, values)
        for (left, right), values in zip(
            pairwise(asked.lettered), pairwise(asked.values), strict=True
        )
        if values[1] > 9
    ]
    if not pairs:
        return None
    widest, closest = max(pairs, key=lambda pair: pair[0])
    nought = letter_numeral("0", face).width
    scale = (height - room.pen) / tallest
    apart = max(0.0, room.apart - 2 * room.pen) / (widest + nought)
    return Neighbours(
        closest,
        room.apart - widest * scale - room.pen,
        digit_gap(face) * scale - room.pen,
        apart * tallest + room.pen,
    )


def _larger(asked: NumeralsAsked, now: float) -> list[tuple[str, float]]:
    """Single changes that would allow larger numerals, each with the height it gives."""
    keys = asked.keys
    changes = [
        (
            f"numerals.every = {keys.every + 1}",
            replace(asked, keys=keys.model_copy(update={"every": keys.every + 1})),
        ),
        (
            f'numerals.clear = "{format_length(keys.clear / 2, asked.units)}"',
            replace(asked, keys=keys.model_copy(update={"clear": keys.clear / 2})),
        ),
        (
            f'grid.margin = "{format_length(asked.curved + asked.margin * 1.25, asked.units)}"',
            replace(asked, margin=asked.margin * 1.25),
        ),
        (
            f'pens.numerals.width = "{format_length(asked.pen / 2, "mm")}"',
            replace(asked, pen=asked.pen / 2),
        ),
    ]
    heights = [(change, _allowed(other)) for change, other in changes]
    return sorted(
        ((change, height) for change, height in heights if height > now + 0.05),
        key=lambda pair: -pair[1],
    )


def _remedies(asked: NumeralsAsked, now: float) -> str:
    larger = _larger(asked, now)
    if not larger:
        return "A wider grid.margin and a larger numerals.every together would allow larger ones"
    return "Larger would be possible with " + ", or ".join(
        f"{change} ({height:.2f} mm)" for change, height in larger
    )
