"""What stands on a sheet can be selected, searched and read aloud: PDFium finds every word of it.

The numbers looked for are those that the person's tape shows, as the command prints them.
"""

from __future__ import annotations

import pypdfium2
import pytest

from marking.drawing.pdf import pdf
from marking.layout.layout import lay_out
from marking.measures.tape import Tape, as_taped, tape_reading
from marking.output.proof_sheet import proof_pages
from marking.output.tape_sheet import CAUTIONS, tape_sheet_pages
from marking.proof.distances import plan_proof
from marking.proof.limits import within
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from tests.conftest import MILLRACE
from tests.output.printed import text_of

TAPE = Tape(temperature=31)


@pytest.fixture(params=["in", "mm"])
def bench(request, make_job):
    """A job, its layout and its division."""
    job = make_job(MILLRACE.replace('units = "in"', f'units = "{request.param}"'))
    layout = lay_out(job)
    return job, layout, divide_into_sections(layout, job, job.plotter.zone)


def _titled(data: bytes, title: str) -> None:
    assert pypdfium2.PdfDocument(data).get_metadata_dict()["Title"] == title
    assert b"/Lang (en)" in data


def test_every_mark_and_reading_of_the_tape_sheet_is_found_in_its_pdf(bench):
    job, layout, _ = bench
    control = set_out(layout, 152.4, TAPE, job.units)
    data = pdf(tape_sheet_pages(control, layout, job.title, job.units, "a4", ("All", "HOLDS")))
    said = text_of(data)
    _titled(data, f"{job.title}: tape marks")
    assert said.startswith(f"{job.title}: tape marks")
    assert "Forecast: HOLDS" in said
    assert all(caution in said for caution in CAUTIONS)
    words = set(said.split())
    for mark in control.marks:
        assert mark.mark.id in words
        assert as_taped(mark.run.reading, TAPE, job.units) in said
    for run in (control.square.along, control.square.up, control.height, control.diagonals.run):
        assert as_taped(run.reading, TAPE, job.units) in said
    assert " 999 " not in said


def test_every_distance_of_the_proof_sheet_is_found_in_its_pdf(bench):
    job, layout, plan = bench
    chosen = plan_proof(layout, plan, TAPE, within(job.tolerance), job.units)
    data = pdf(proof_pages(chosen, (), TAPE, job.title, job.units, "letter", job.numerals))
    said = text_of(data)
    _titled(data, f"{job.title}: proof")
    assert said.startswith(f"{job.title}: distances to measure")
    assert len(chosen.distances) > 20
    for distance in chosen.distances:
        shown = as_taped(tape_reading(distance.nominal, TAPE), TAPE, job.units)
        first, second = distance.between
        # In the order that a person reads the row.
        assert f"{distance.id} {first} {second} {shown}" in said
