"""Rectangles cut from sheets by cuts that go right through, as few sheets as can be found.

It knows sizes, and no table. Frame: a sheet's own, origin at a corner, x along its longer side.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.arrays import Box

Size = tuple[float, float]
_GRAIN = 1e4
"""Packed in whole ten-thousandths of a millimetre, so that what just fits does."""
_FREE = 1e-3
_FITS = ("BssfSas", "BssfLas", "BssfMaxas", "BlsfSas", "BafLas", "BafMinas")
"""Ways to choose the rest that a piece is cut from and how that is parted."""
_MANY = 10
"""Past so many pieces that are no whole sheets, the first of these ways alone are tried."""


class OnSheet(Struct, frozen=True):
    """Where a piece is cut: its sheet, from 0, and its box there."""

    sheet: int
    cut: Box


def packed(sizes: Sequence[Size], sheet: Size) -> tuple[OnSheet, ...]:
    """A place for each of `sizes`, in their order; each may be turned. All have to fit a sheet."""
    whole = [_whole(size) for size in sizes]
    order = sorted(range(len(whole)), key=lambda n: (max(whole[n]), min(whole[n])), reverse=True)
    found = _packed(tuple(whole[n] for n in order), _whole(sheet))
    places = dict(zip(order, found, strict=True))
    return tuple(
        OnSheet(number, (x / _GRAIN, y / _GRAIN, (x + w) / _GRAIN, (y + h) / _GRAIN))
        for number, x, y, w, h in (places[n] for n in range(len(whole)))
    )


def fewest(sizes: Sequence[Size], sheet: Size) -> int:
    """Sheets that no packing does without: by area, and by pieces of which no two share one."""
    length, width = max(sheet), min(sheet)
    area = sum(one[0] * one[1] for one in sizes) / (length * width)
    alone = 0
    for one in sizes:
        long, short = max(one), min(one)
        turns = long <= width + _FREE
        big = long > length / 2 + _FREE and short > width / 2 + _FREE
        alone += big and (not turns or short > length / 2 + _FREE)
    return max(math.ceil(area - 1e-9), alone)


def _whole(size: Size) -> tuple[int, int]:
    return round(max(size) * _GRAIN), round(min(size) * _GRAIN)


@cache
def _packed(
    sizes: tuple[tuple[int, int], ...], sheet: tuple[int, int]
) -> tuple[tuple[int, int, int, int, int], ...]:
    """(sheet, x, y, width, height) of each; whole sheets first, the rest as rectpack finds best."""
    import rectpack

    full = [n for n, size in enumerate(sizes) if size == sheet]
    rest = [n for n, size in enumerate(sizes) if size != sheet]
    places = {n: (number, 0, 0, *sheet) for number, n in enumerate(full)}
    least = -(-sum(sizes[n][0] * sizes[n][1] for n in rest) // (sheet[0] * sheet[1]))
    best: list[tuple[int, int, int, int, int, int]] = []
    few = len(rest) <= _MANY
    sorts = (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE)
    for name in (_FITS if few else _FITS[:2]) if rest else ():
        for sort in sorts if few else sorts[:1]:
            packer = rectpack.newPacker(
                bin_algo=rectpack.PackingBin.Global,
                pack_algo=getattr(rectpack, f"Guillotine{name}"),
                sort_algo=sort,
                rotation=True,
            )
            for n in rest:
                packer.add_rect(*sizes[n], n)
            packer.add_bin(*sheet, count=len(rest))
            packer.pack()
            laid = packer.rect_list()
            through = all(
                _parts([box[1:5] for box in laid if box[0] == number]) is not None
                for number in {box[0] for box in laid}
            )
            if through and (not best or _sheets(laid) < _sheets(best)):
                best = laid
            if best and _sheets(best) == least:
                break
        if best and _sheets(best) == least:
            break
    renamed = {old: len(full) + new for new, old in enumerate(sorted({box[0] for box in best}))}
    places |= {n: (renamed[number], x, y, w, h) for number, x, y, w, h, n in best}
    return tuple(places[n] for n in range(len(sizes)))


def _sheets(laid: Sequence[tuple[int, ...]]) -> int:
    return len({box[0] for box in laid})


def cuts_through(boxes: Sequence[Box], sheet: Size) -> int:
    """How few cuts free the boxes of one sheet, each from side to side of what it parts."""
    freed = _parts(
        [(x0, y0, x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes],
        (0.0, 0.0, max(sheet), min(sheet)),
    )
    assert freed is not None
    return freed


def _parts(boxes: Sequence[Sequence[float]], within: Box | None = None) -> int | None:
    """Least cuts to free boxes (x, y, width, height), None where none goes through.

    `within` is the piece that they lie in; without it only the cuts between them count.
    """
    if len(boxes) <= 1:
        return 0 if within is None else sum(_trims(box, within) for box in boxes)
    best: int | None = None
    for axis in (0, 1):
        for at in sorted({box[axis] + box[axis + 2] for box in boxes})[:-1]:
            below = [box for box in boxes if box[axis] + box[axis + 2] <= at + _FREE]
            above = [box for box in boxes if box[axis] >= at - _FREE]
            if len(below) + len(above) != len(boxes) or not below or not above:
                continue
            low, high = _parted(within, axis, at)
            one, other = _parts(below, low), _parts(above, high)
            if one is not None and other is not None and (best is None or 1 + one + other < best):
                best = 1 + one + other
    return best


def _trims(box: Sequence[float], within: Box) -> int:
    """Cuts that free the only box of a piece."""
    x, y, wide, high = box
    x0, y0, x1, y1 = within
    return sum(side > _FREE for side in (x - x0, y - y0, x1 - x - wide, y1 - y - high))


def _parted(within: Box | None, axis: int, at: float) -> tuple[Box | None, Box | None]:
    if within is None:
        return None, None
    x0, y0, x1, y1 = within
    if axis == 0:
        return (x0, y0, at, y1), (at, y0, x1, y1)
    return (x0, y0, x1, at), (x0, at, x1, y1)
