"""The printed sheets: no word over another, no tenth of a millimetre that a tape cannot show."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from marking.drawing.page import Page
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.output.proof_sheet import proof_pages
from marking.output.tape_sheet import tape_sheet_pages
from marking.proof.distances import plan_proof
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from marking.tape_marks.setting_out import row_joins
from tests.conftest import MILLRACE

if TYPE_CHECKING:
    from tests.conftest import MakeJob

Box = tuple[float, float, float, float]


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> dict[int, list[tuple[str, Box]]]:
    """Every text by its page, and the box that it covers, in mm."""
    heard: dict[int, list[tuple[str, Box]]] = {}
    write = Page.write

    def hear(
        self: Page, text: str, x: float, y: float, size: float, *, align: float = 0.0, **more: Any
    ) -> float:
        width = write(self, text, x, y, size, align=align, **more)
        left = x - align * width
        heard.setdefault(id(self), []).append((text, (left, y, left + width, y + size)))
        return width

    monkeypatch.setattr(Page, "write", hear)
    return heard


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
    make_job: MakeJob, written: dict[int, list[tuple[str, Box]]], units: str, pitch: str
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
            plan_proof(layout, plan, tape, job.tolerance, job.units),
            tape,
            job.title,
            job.units,
            paper,
        ),
    ]
    assert len(written) == len(pages)
    for texts in written.values():
        assert overprinted(texts) == []
        for text, _ in texts:
            assert not re.search(r"\d in [+-] \d", text)
    assert any("DOES NOT HOLD" in text for text, _ in written[id(pages[0])])
