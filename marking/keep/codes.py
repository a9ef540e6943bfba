"""Lines of text as QR codes (ISO/IEC 18004), each holding whole lines.

The lines' own numbers say how they go together, so that codes may be scanned in any order, and by
readers that know nothing of structured append. Nothing is packed: any phone shows the text.
"""

from __future__ import annotations

import math
from bisect import bisect
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

MOST_BYTES = 640
"""In one code: the 20th of 40 sizes at level M, which stands 15 % of it being spoilt."""
_LEVEL = "m"
QUIET = 4
"""Modules left white around a code."""


class Code(NamedTuple):
    """A square of modules, and the lines it holds: their first and last number."""

    rows: tuple[tuple[bool, ...], ...]
    first: int
    last: int


def codes(lines: Sequence[str]) -> Iterator[Code]:
    """As few codes as hold all lines, evenly filled."""
    import segno

    at = 0
    for group in groups(lines):
        # Another size or level would make another picture of the same text.
        made = segno.make("\n".join(group), error=_LEVEL, micro=False, boost_error=False)
        rows = tuple(tuple(bool(module) for module in row) for row in made.matrix)
        yield Code(rows, at + 1, at + len(group))
        at += len(group)


def groups(lines: Sequence[str]) -> Iterator[Sequence[str]]:
    """Runs of whole lines, as few as none is too long, each about as long as the others."""
    ends = list(accumulate(len(line) + 1 for line in lines))
    least = math.ceil(ends[-1] / MOST_BYTES)
    for count in range(least, len(lines) + 1):
        cuts = [0, *(bisect(ends, n * ends[-1] / count) for n in range(1, count)), len(lines)]
        held = [sum(len(line) + 1 for line in lines[a:b]) for a, b in pairwise(cuts)]
        if max(held) <= MOST_BYTES or count == len(lines):
            yield from (lines[a:b] for a, b in pairwise(cuts) if a < b)
            return
