"""Taking away what was written for a machine that is known better now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.output.files import MANIFEST, digest, write_set

if TYPE_CHECKING:
    from pathlib import Path


def take_away(out: Path, placed: Path, why: str) -> tuple[str, ...] | None:
    """Removes what `out` and `placed` hold, so that none of it can be plotted.

    Returns the names of files that a person has changed since, which are left; None where there
    was nothing. `why` is what the next set is made from.
    """
    there = sorted(placed.glob("*.*"))
    for path in there:
        path.unlink()
    if (out / MANIFEST).exists():
        return write_set(out, {}, digest(why.encode())).left
    return () if there else None
