"""Which section a person means, by its name or by the file of readings that they give.

It knows sections and readings, no record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from marking.errors import BadInputError
from marking.record.readings import read_readings

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from marking.record.readings import MarkReading
    from marking.sections.plan import Section


def section_named(sections: Sequence[Section], name: str) -> Section:
    """The section of that id. Raises BadInputError when there is none."""
    for section in sections:
        if section.id == name:
            return section
    first, last = sections[0].id, sections[-1].id
    raise BadInputError(f"section {name}: there is none; this plan has {first} to {last}")


def readings_given(
    path: Path, wanted: str | None, sections: Sequence[Section]
) -> tuple[Section, tuple[MarkReading, ...]]:
    """The one section that the file, or `wanted`, names, and its readings."""
    readings = read_readings(path, section=wanted)
    named = list(dict.fromkeys(reading.section for reading in readings))
    if wanted is None and len(named) > 1:
        raise BadInputError(
            f"{path}: readings of {len(named)} sections, {', '.join(named[:6])}; say which one "
            "the device stands at with --section"
        )
    name = wanted if wanted is not None else named[0]
    section = section_named(sections, name)
    own = tuple(reading for reading in readings if reading.section == name)
    if not own:
        raise BadInputError(f"{path}: no reading of section {name}; it has {', '.join(named[:6])}")
    return section, own
