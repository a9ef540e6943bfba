"""A cover that another hand marked: what to measure on it, and how far off it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from marking.begun.on_the_cover import COVER
from marking.drawing.pdf import pdf
from marking.job.keys import ClothTable, paper_of, tape_of
from marking.job.line_numbers import told_apart
from marking.layout.edges import off_the_wall
from marking.layout.layout import lay_out
from marking.marked_before.errors import off_cover
from marking.marked_before.readings import Meant, asked, read_found
from marking.marked_before.words import off_record
from marking.proof.limits import limits_of
from marking.record.record import layout_hash, open_record
from marking.sheets.known_errors import card_pages, sheet_pages

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from marking.marked_before.errors import OffCover
    from marking.marked_before.readings import SpotToMeasure


class AskedSpots(Struct, frozen=True):
    """What to measure, and the sheet that asks for it."""

    spots: tuple[SpotToMeasure, ...]
    notes: tuple[str, ...]
    pdf: bytes


def asked_spots(job: Job) -> AskedSpots:
    """What to measure on a cover that should have the job's lines."""
    spots = asked(_meant(job))
    notes = (*off_the_wall(job.table), *told_apart(job.numerals))
    pages = sheet_pages(spots, tape_of(job.tape), job.title, job.units, paper_of(job), notes)
    return AskedSpots(spots, notes, pdf(pages))


def judge_spots(folder: Path, job: Job, file: Path) -> tuple[OffCover, bytes]:
    """How far off a cover is by what was measured, which is kept; and the card to pin up, a PDF.

    Raises BadInputError for what cannot be read.
    """
    meant, tape = _meant(job), tape_of(job.tape)
    off = off_cover(meant, read_found(file, meant), tape, limits_of(job.tolerance, job.allowed))
    with open_record(folder) as record:
        record.add_check(layout_hash(meant.layout), "marked before", COVER, off_record(off))
    return off, pdf(card_pages(off, tape, job.title, job.units, paper_of(job)))


def _meant(job: Job) -> Meant:
    """The job's lines: what lies there is no ink of its record, and is stretched on."""
    return Meant(lay_out(job.model_copy(update={"cloth": ClothTable()})), job.numerals)
