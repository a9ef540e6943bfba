"""The underlay: how sheets of board are laid and cut so that they cover one top.

Boards lie in courses, along the table or across it; in each course joints lie apart from those of
the next. Of all courses tried, those count that take the fewest sheets, then those with the least
joint under a hem band, then with joints apart, then with the fewest cuts. Table frame, mm.
"""

from __future__ import annotations

import math
from itertools import pairwise, product
from typing import TYPE_CHECKING

from msgspec import Struct

from marking.cloth.sheets import cuts_through, fewest, packed
from marking.errors import RefusedError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from marking.arrays import Box
    from marking.cloth.sheets import Size

LEAST = 101.6
"""mm, 4 in: a narrower piece of board breaks and lifts; our judgement, no source."""
APART = 150.0
"""mm from a joint to one in the next course, so that they count as staggered."""
_SAME = 1e-6
_MOST_TRIED = 250
"""Sets of pieces that are packed: tops up to 20 ft have fewer."""
_MOST_SHEETS = 40
"""Past it the board is for a hall, and trying all courses takes minutes."""


class BoardPiece(Struct, frozen=True):
    """One piece of board: its sheet, from 1, where it is cut from it, and where it lies."""

    sheet: int
    cut: Box
    """In the sheet's own frame, x along its longer side."""
    lies: Box
    """In the table frame."""


class Underlay(Struct, frozen=True):
    """All boards of one top."""

    sheet: Size
    """Length and width of a sheet."""
    sheets: int
    pieces: tuple[BoardPiece, ...]
    cuts: int
    under_bands: float
    """mm of joint along the table that lies under a hem band."""
    in_line: int
    """Joints that do not lie apart from one in the next course."""


Courses = tuple[tuple[float, tuple[float, ...]], ...]
"""From near to far, or from the zero end on: how wide each course is, and its pieces in turn."""


def underlay_for(top: Box, band: float, sheet: Size, least: float = LEAST) -> Underlay:
    """Boards from sheets of `sheet` over `top`; hem bands reach in by `band` from its long edges.

    Raises RefusedError for a top that takes more than a hall's worth of sheets.
    """
    x0, y0, x1, y1 = top
    size = (x1 - x0, y1 - y0)
    whole = max(sheet), min(sheet)
    least = min(least, *size)
    if size[0] * size[1] > _MOST_SHEETS * whole[0] * whole[1]:
        raise RefusedError(
            f"cover.sheet: the top takes more than {_MOST_SHEETS} sheets of this size; name the "
            "size that boards are sold in"
        )
    tried = []
    for turned in (False, True):
        along, across = (size[1], size[0]) if turned else size
        for courses in _all_courses(along, across, whole, least):
            boxes = tuple(_boxes(courses, top, turned=turned))
            known = (round(_under_bands(boxes, top, band), 3), _in_line(courses))
            tried.append((known, len(boxes), turned, boxes))
    bound = math.ceil(size[0] * size[1] / (whole[0] * whole[1]) - _SAME)
    best: tuple[tuple[float, ...], Underlay] | None = None
    packings = set()
    for known, count, turned, boxes in sorted(tried):
        sizes = [(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes]
        if best is not None and fewest(sizes, whole) > best[1].sheets:
            continue
        packings.add(tuple(sorted(map(_rounded, sizes))))
        if len(packings) > _MOST_TRIED:
            break
        if best is not None and best[1].sheets == bound:
            # What comes now has no fewer joints in the wrong place, and a cut a piece at least.
            if known > (best[1].under_bands, best[1].in_line):
                break
            if count - bound > best[1].cuts:
                continue
        made = _cut(boxes, whole, known)
        cost = (made.sheets, *known, made.cuts, count, turned)
        if best is None or cost < best[0]:
            best = cost, made
    assert best is not None
    return best[1]


def _rounded(size: Size) -> Size:
    return round(max(size), 3), round(min(size), 3)


def _cut(boxes: Sequence[Box], sheet: Size, known: tuple[float, int]) -> Underlay:
    cut = packed([(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes], sheet)
    sheets = max(one.sheet for one in cut) + 1
    cuts = sum(
        cuts_through([one.cut for one in cut if one.sheet == number], sheet)
        for number in range(sheets)
    )
    pieces = tuple(
        BoardPiece(one.sheet + 1, one.cut, box) for one, box in zip(cut, boxes, strict=True)
    )
    return Underlay(sheet, sheets, pieces, cuts, *known)


def _boxes(courses: Courses, top: Box, *, turned: bool) -> Iterator[Box]:
    x0, y0 = top[:2]
    far = 0.0
    for wide, lengths in courses:
        run = 0.0
        for length in lengths:
            if turned:
                yield x0 + far, y0 + run, x0 + far + wide, y0 + run + length
            else:
                yield x0 + run, y0 + far, x0 + run + length, y0 + far + wide
            run += length
        far += wide


def _under_bands(boxes: Sequence[Box], top: Box, band: float) -> float:
    """mm of joints along the table within `band` of either long edge."""
    near, far = top[1], top[3]
    found = 0.0
    for x0, y0, x1, _ in boxes:
        inside = near + _SAME < y0
        if inside and (y0 < near + band - _SAME or y0 > far - band + _SAME):
            found += x1 - x0
    return found


def _in_line(courses: Courses) -> int:
    """Joints of neighbouring courses that lie less than `APART` from each other."""
    found = 0
    for (_, one), (_, other) in pairwise(courses):
        found += sum(abs(a - b) < APART - _SAME for a in _joints(one) for b in _joints(other))
    return found


def _joints(lengths: Sequence[float]) -> list[float]:
    return [math.fsum(lengths[: n + 1]) for n in range(len(lengths) - 1)]


def _all_courses(along: float, across: float, sheet: Size, least: float) -> Iterator[Courses]:
    """Every way tried to cover a rectangle; two ways to part a course take turns."""
    tried = set()
    for widths in _course_widths(across, sheet, least):
        kinds = [_partings(along, _longest(wide, sheet), least) for wide in widths]
        most = max(map(len, kinds))
        for one, other in product(range(most), repeat=2):
            courses = tuple(
                (wide, parts[(one, other)[n % 2] % len(parts)])
                for n, (wide, parts) in enumerate(zip(widths, kinds, strict=True))
            )
            if courses not in tried:
                tried.add(courses)
                yield courses


def _longest(wide: float, sheet: Size) -> float:
    """How long a piece of a course that is so wide can be."""
    return sheet[0] if wide <= sheet[1] + _SAME else sheet[1]


def _course_widths(across: float, sheet: Size, least: float) -> Iterator[tuple[float, ...]]:
    """Widths of courses that add up: as many of a sheet's length, of its width, and a rest."""
    length, width = sheet
    found: set[tuple[float, ...]] = set()
    for long in range(math.ceil((across - _SAME) / length) + 1):
        left = across - long * length
        wide = max(0, math.ceil((left - _SAME) / width))
        for shorts in (wide, wide + 1):
            widest = [length] * long + [width] * shorts
            if sum(widest) + _SAME < across or not widest:
                continue
            spare = sum(widest) - across
            found |= set(_narrowed(widest, spare, least))
    return iter(sorted(found))


def _narrowed(widest: list[float], spare: float, least: float) -> Iterator[tuple[float, ...]]:
    """`widest` less `spare`: taken from one, from two, or from all alike."""
    count = len(widest)
    for n, wide in enumerate(widest):
        rest = wide - spare
        if rest >= least - _SAME:
            yield (*widest[:n], rest, *widest[n + 1 :])
        elif count > 1:
            # One as narrow as may be, and its neighbour gives the rest.
            m = n - 1 if n else n + 1
            narrower = list(widest)
            narrower[n], narrower[m] = least, widest[m] - (spare - (wide - least))
            if narrower[m] >= least - _SAME:
                yield tuple(narrower)
    alike = sum(widest) - spare
    if alike / count >= least - _SAME and alike / count <= min(widest) + _SAME:
        yield (alike / count,) * count


def _partings(along: float, longest: float, least: float) -> list[tuple[float, ...]]:
    """How a course is parted: whole pieces and a rest, a rest first, alike, or half a piece."""
    count = max(1, math.ceil((along - _SAME) / longest))
    rest = along - (count - 1) * longest
    found: list[tuple[float, ...]]
    if count == 1:
        found = [(along,)]
    elif rest >= least - _SAME:
        found = [(longest,) * (count - 1) + (rest,), (rest,) + (longest,) * (count - 1)]
    else:
        shorter = (longest - (least - rest), least)
        found = [(longest,) * (count - 2) + shorter, shorter[::-1] + (longest,) * (count - 2)]
    found += [(along / more,) * more for more in (count, count + 1) if along / more >= least]
    half = along - (count - 1) * longest - longest / 2
    if count > 1 and half >= least - _SAME:
        found.append((longest / 2,) + (longest,) * (count - 1) + (half,))
    middle = (along - (count - 1) * longest) / 2
    if count > 1 and middle >= least - _SAME:
        found.append((middle,) + (longest,) * (count - 1) + (middle,))
    return list(dict.fromkeys(found))
