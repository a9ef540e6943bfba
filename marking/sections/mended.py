"""A section of which chosen ink is laid anew: its name, and the section as a device is sent it.

It knows a section, its pieces and marks; not why they were chosen, no record and no machine.
Table frame, millimetres.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from msgspec.structs import replace

from marking.sections.plan import routed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from marking.job.keys import PensTable
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Piece, Section
    from marking.sections.zones import Zone

_NAMED = re.compile(r"(.+)-(m[1-9][0-9]*)")


def mended_name(section: str, mend: str) -> str:
    """What the set-down for a mend is called: `r1c2-m1`."""
    return f"{section}-{mend}"


def section_mended(name: str) -> str | None:
    """The section that a name of `mended_name` is of; None for the name of a section itself."""
    found = _NAMED.fullmatch(name)
    return found[1] if found is not None else None


def mended_section(
    section: Section,
    mend: str,
    pieces: Sequence[Piece],
    marks: Sequence[Mark],
    pens: PensTable,
    zone: Zone,
) -> Section:
    """`section` with nothing but `pieces` to ink, placed by `marks`, routed anew."""
    route, drawn = routed(pieces, pens, zone, section.window)
    return replace(
        section,
        id=mended_name(section.id, mend),
        pieces=drawn,
        locating_marks=tuple(marks),
        route=route,
    )
