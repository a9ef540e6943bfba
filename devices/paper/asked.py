"""What a kind of sheets is made from, and what is made of its pages. It knows no kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from devices.job import Job
    from marking.drawing.artwork import Artwork
    from marking.drawing.printed_file import PrintedFile
    from marking.layout.layout import Layout


class PaperAsked(Struct, frozen=True):
    """A job, its marking, and what a person asked of the sheets."""

    folder: Path
    job: Job
    layout: Layout
    measured: tuple[str, ...] = ()
    """What check lengths came out as, as they were typed."""
    overlap: float | None = None
    """Of two sheets, mm."""
    prints: float | None = None
    """How far across the printer prints, mm."""
    left_handed: bool = False
    by_two: bool = False


class Printed(Struct, frozen=True):
    """The files of a kind, and what to know of them."""

    files: tuple[PrintedFile, ...]
    notes: tuple[str, ...] = ()


def version() -> str:
    """Of this program."""
    from importlib.metadata import version

    return version("canvasrule")


def as_pdf(name: str, kind: str, pages: Sequence[Artwork]) -> PrintedFile:
    """A PDF of pages."""
    from marking.drawing.pdf import pdf
    from marking.drawing.printed_file import printed_file

    return printed_file(f"{name}.pdf", kind, pdf(pages), pages)
