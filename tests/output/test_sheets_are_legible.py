"""The printed sheets: no word over another, no tenth of a millimetre that a tape cannot show.

Words and where their ink lies are what PDFium reads in the PDF.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.output.proof_sheet import proof_pages
from marking.output.tape_sheet import tape_sheet_pages
from marking.proof.distances import plan_proof
from marking.proof.limits import within
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import row_joins, set_out
from tests.conftest import MILLRACE
from tests.output.printed import words_of

if TYPE_CHECKING:
    from tests.conftest import MakeJob

Box = tuple[float, float, float, float]
SMALLEST = 1.65
"""mm that a line of type with a figure in it is high at least."""


def overprinted(texts: list[tuple[str, Box]], near: float = 1 / 3) -> list[tuple[str, str]]:
    """Pairs of texts that come nearer to each other than `near`: a third of a millimetre."""
    return [
        (one, other)
        for count, (one, (a0, b0, a1, b1)) in enumerate(texts)
        for other, (c0, d0, c1, d1) in texts[:count]
        if a0 < c1 + near and c0 < a1 + near and b0 < d1 + near and d0 < b1 + near
    ]


@pytest.mark.parametrize("units", ["in", "mm"])
@pytest.mark.parametrize("pitch", ["1 in", "25 mm"])
def test_no_word_stands_over_another_and_every_reading_is_one_the_tape_shows(
    make_job: MakeJob, units: str, pitch: str
) -> None:
    job = make_job(
        MILLRACE.replace('units = "in"', f'units = "{units}"').replace(
            'pitch = "1 in"', f'pitch = "{pitch}"'
        )
    )
    assert job.units == units
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    tape = Tape(temperature=31)
    control = set_out(layout, 75.0, tape, job.units, heights=row_joins(plan)[::2])
    paper = "letter" if units == "in" else "a4"
    says = ("Forecast:", "worst line 1.41 mm;", "worst step 1.28 mm.", "DOES NOT HOLD")
    pages = [
        *tape_sheet_pages(control, layout, job.title, job.units, paper, says),
        *proof_pages(
            plan_proof(layout, plan, tape, within(job.tolerance), job.units),
            (),
            tape,
            job.title,
            job.units,
            paper,
            job.numerals,
        ),
    ]
    written = [words_of(page) for page in pages]
    for texts in written:
        assert len(texts) > 20
        assert overprinted(texts) == []
        for text, (_, low, _, high) in texts:
            assert not re.search(r"\d in [+-] \d", text)
            # A figure of 1.7 mm is type of 7 points, the least that is easily read at arm's length.
            assert high - low > SMALLEST or not re.search(r"\d", text), text
    assert any("DOES NOT HOLD" in text for text, _ in written[0])
