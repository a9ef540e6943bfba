"""Lines are called by their count from the zero line, also where their numerals read otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.job import Job
from marking.job.folder import JOB_FILE, load_job
from marking.job.keys import NumeralsTable
from marking.job.line_numbers import lines_counted
from marking.layout.layout import lay_out
from marking.mending.chosen import called, strokes_named
from marking.ruling.order import WhoRules
from marking.ruling.words import how_to
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from pathlib import Path

    from marking.layout.layout import Layout

JOB = (
    'schema = 1\n[table]\nlength = "13 in"\nwidth = "24 in"\n[hems]\ndepth = "2 in"\n'
    'folds = ["single 1 in"]\n[plotter]\nprofile = "flatbed-a4"\n'
    '[inking]\ncross_lines = "ruled"\n'
)


def laid(folder: Path, numerals: str) -> tuple[Job, Layout]:
    (folder / JOB_FILE).write_text(f"{JOB}[numerals]\n{numerals}\n", "utf-8")
    job = load_job(folder, Job)
    return job, lay_out(job)


def test_a_line_to_ink_anew_is_told_with_what_its_numeral_reads(tmp_path: Path) -> None:
    _, layout = laid(tmp_path, "first = 4")
    told = called(layout, strokes_named(layout, "3, 7 near"))
    assert told == ("line 3 (it reads 7)", "numeral 7 near")
    _, layout = laid(tmp_path, "first = 0")
    assert called(layout, strokes_named(layout, "3")) == ("line 3",)


def test_the_sheet_to_rule_by_says_how_its_lines_are_counted(tmp_path: Path) -> None:
    for numerals, says in (("first = 4", True), ("per_line = 2", True), ("first = 0", False)):
        job, layout = laid(tmp_path, numerals)
        ruled = divide_into_sections(layout, job, job.plotter.zone).ruled
        told = " ".join(how_to(ruled, layout, job, WhoRules("right", by_two=False)))
        assert ("counted from the zero line as 0, whatever their numerals read" in told) == says


def test_lines_are_not_said_to_be_counted_in_two_ways_where_a_side_counts_in_another_unit() -> None:
    by_numeral, from_zero = "a number of a line is always as the near side counts", "zero line as 0"
    for first, only in ((0, by_numeral), (4, from_zero)):
        told = " ".join(lines_counted(NumeralsTable(other_unit="far", first=first)))
        assert "numerals of the far side count in another unit" in told
        assert [said in told for said in (by_numeral, from_zero)] == [
            only == by_numeral,
            only == from_zero,
        ]
