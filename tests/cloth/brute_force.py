"""Every way to cover a small top with pieces of board, by trying all: it knows only the rules.

Sizes are whole units. It shares nothing with `marking.cloth`.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

Sizes = tuple[tuple[int, int], ...]


def tilings(length: int, width: int, sheet: tuple[int, int], most: int) -> set[Sizes]:
    """The sets of pieces, at most `most`, that cover a top in any manner: boards need no courses.

    Each piece fits a sheet, turned or not; sizes are (longer, shorter), sorted.
    """
    found: set[Sizes] = set()

    def fill(skyline: tuple[int, ...], pieces: Sizes) -> None:
        low = min(skyline)
        if low == width:
            found.add(tuple(sorted(pieces)))
            return
        if len(pieces) == most:
            return
        at = skyline.index(low)
        end = at
        while end < length and skyline[end] == low:
            end += 1
        for wide in range(1, end - at + 1):
            for high in range(1, width - low + 1):
                piece = (max(wide, high), min(wide, high))
                if piece[0] <= sheet[0] and piece[1] <= sheet[1]:
                    raised = (*skyline[:at], *[low + high] * wide, *skyline[at + wide :])
                    fill(raised, (*pieces, piece))

    fill((0,) * length, ())
    return found


@cache
def cut_from_one(pieces: Sizes, length: int, width: int) -> bool:
    """Whether cuts that go right through free all `pieces` from one board."""
    if length < width:
        length, width = width, length
    if not pieces:
        return True
    if sum(a * b for a, b in pieces) > length * width:
        return False
    if len(pieces) == 1:
        return pieces[0][0] <= length and pieces[0][1] <= width
    for chosen in range(1, 2 ** (len(pieces) - 1)):
        one = tuple(p for n, p in enumerate(pieces) if chosen >> n & 1)
        other = tuple(p for n, p in enumerate(pieces) if not chosen >> n & 1)
        for at in range(1, length):
            if cut_from_one(one, at, width) and cut_from_one(other, length - at, width):
                return True
        for at in range(1, width):
            if cut_from_one(one, length, at) and cut_from_one(other, length, width - at):
                return True
    return False


def fewest_sheets(pieces: Sizes, sheet: tuple[int, int]) -> int:
    """The fewest sheets that all pieces can be cut from, by trying every share-out."""
    best = len(pieces)

    def share(left: Sizes, bins: tuple[Sizes, ...]) -> None:
        nonlocal best
        if len(bins) >= best:
            return
        if not left:
            best = len(bins)
            return
        first, *rest = left
        for n, held in enumerate(bins):
            more = tuple(sorted((*held, first)))
            if cut_from_one(more, *sheet):
                share(tuple(rest), (*bins[:n], more, *bins[n + 1 :]))
        share(tuple(rest), (*bins, (first,)))

    share(pieces, ())
    return best


def least(length: int, width: int, sheet: tuple[int, int], most: int) -> Iterator[tuple[int, int]]:
    """For each count of pieces up to `most`: the count, and the fewest sheets it can do with."""
    by_count: dict[int, int] = {}
    for pieces in tilings(length, width, sheet, most):
        sheets = fewest_sheets(pieces, sheet)
        by_count[len(pieces)] = min(sheets, by_count.get(len(pieces), sheets))
    yield from sorted(by_count.items())
