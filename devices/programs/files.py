"""A program as a file: all of it in one piece, for a machine that nobody talks to meanwhile.

It knows sections and strokes, and neither a dialect's words nor where a file is put.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.dialects.writer import inkings
from devices.plotter.bed import bed_of
from devices.programs.dialect import writer_for
from devices.programs.program import Program

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from devices.dialects.writer import PenUse, Writer
    from devices.plotter.bed import Bed, UnitPoint
    from devices.plotter.correction import Correction
    from devices.plotter.profile import Plotter
    from marking.job.keys import PensTable
    from marking.sections.plan import Section


def program(
    section: Section, plotter: Plotter, pens: PensTable, correction: Correction | None = None
) -> tuple[bytes, Bed]:
    """The whole program of `section` in the plotter's dialect, and the bed it is written for.

    Raises RefusedError before anything is written when a stroke would leave the usable area or a
    pen asks for what the plotter does not have.
    """
    named = pens.by_name
    bed = bed_of(section, plotter, correction)
    writer = writer_for(plotter, named, bed, alone=True)
    writer.check({piece.stroke.pen: named[piece.stroke.pen] for piece in section.pieces})
    return written(inkings(section, named, bed), writer), bed


def written(strokes: Iterable[PenUse], writer: Writer) -> bytes:
    """The program that draws `strokes`, whose pens have been checked, in their order."""
    file = _File(writer)
    return b"".join((*file.opening(), *file.ink(strokes), *file.closing()))


class _File(Program[bytes]):
    """Pieces as lines of text."""

    def _told(self, data: bytes) -> bytes:
        return data if data.endswith(b"\n") else data + b"\n"

    def _hopped(self, data: bytes, start: UnitPoint) -> bytes:
        del start
        return self._told(data)

    def _drew(
        self, data: bytes, start: UnitPoint, points: Sequence[UnitPoint], begins: tuple[str, ...]
    ) -> bytes:
        del start, points, begins
        return self._told(data)
