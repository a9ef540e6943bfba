"""The picture and the report that a person carries to the table: nothing hidden, nothing too fine.

The picture's shapes are measured by svgelements, which no one here wrote.
"""

from __future__ import annotations

import ast
import io
import itertools
import re
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import pytest
from svgelements import SVG, Group

from marking import output
from marking.drawing.svg import svg
from marking.measures.lengths import rough_length
from marking.output.report import CAUTIONS, markdown
from marking.output.table_picture import table_picture
from marking.sections.zones import ZoneName

if TYPE_CHECKING:
    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob, RunCli

FINER_THAN_A_HAND = re.compile(r"\d in [+-] 0\.\d mm|\d/32 in")


def groups_of(picture: bytes) -> dict[str, Group]:
    """The picture's layers by name, in millimetres of the page."""
    drawn = SVG.parse(io.BytesIO(picture), ppi=25.4)
    return {str(group.id): group for group in drawn.select(lambda e: isinstance(e, Group))}


def test_nothing_is_drawn_over_a_numeral(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    groups = groups_of(svg(table_picture(millrace_layout, millrace, millrace_plan)))
    numerals = [path.bbox(with_stroke=True) for path in groups["numeral-numerals"]]
    assert len(numerals) > 2 * 148
    for name in ("set-down-points", "locating-marks"):
        marks = [shape.bbox(with_stroke=True) for shape in groups[name]]
        assert len(marks) >= len(millrace_plan.sections)
        for (left, top, right, bottom), (x0, y0, x1, y1) in itertools.product(marks, numerals):
            assert right < x0 or left > x1 or bottom < y0 or top > y1, name


def test_pictures_and_reports_ask_the_zone_and_know_no_machine_by_name() -> None:
    """What differs between an arm, a plotter and a beam is data of the zone."""
    names = set(get_args(ZoneName))
    assert len(names) == 3
    files = sorted(Path(output.__file__).parent.glob("*.py"))
    assert len(files) > 5
    for file in files:
        constants = {
            node.value
            for node in ast.walk(ast.parse(file.read_text("utf-8")))
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
        }
        assert not names & constants, file.name


def test_a_device_is_set_down_to_a_sixteenth_and_no_finer(make_job: MakeJob) -> None:
    """Its marks are read afterwards; nobody tapes a tenth of a millimetre beside a plotter."""
    from marking.layout.layout import lay_out
    from marking.sections.plan import divide_into_sections

    job = make_job(
        '[table]\nlength = "1537 mm"\nwidth = "1011 mm"\n[grid]\npitch = "23.7 mm"\n'
        'margin = "17.3 mm"\nend_margin = "19.9 mm"\n[hems]\ndepth = "80 mm"\nfolds = []\n'
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    report = markdown(layout, job, plan)
    tables = report[report.index("## Sections") : report.index("## Ink and time")]
    assert FINER_THAN_A_HAND.search(tables) is None, tables
    rows = re.findall(r"^\| \d+ \| (\w+) \| (.+?) in \| (.+?) in \|", tables, re.MULTILINE)
    assert [name for name, *_ in rows] == [section.id for section in plan.sections]
    for (_, along, across), section in zip(rows, plan.sections, strict=True):
        for shown, exact in zip((along, across), section.window[:2], strict=True):
            inches = sum(
                int(part.split("/")[0]) / int(part.split("/")[1]) if "/" in part else int(part)
                for part in shown.split()
            )
            assert abs(inches * 25.4 - exact) <= 25.4 / 32 + 1e-9


@pytest.mark.parametrize(
    ("millimetres", "units", "shown"),
    [(376.3, "in", "14 13/16 in"), (0.4, "in", "0 in"), (376.3, "mm", "376 mm")],
)
def test_a_rough_length_is_a_sixteenth_or_a_millimetre(millimetres, units, shown) -> None:
    assert rough_length(millimetres, units) == shown


def test_small_differences_are_shown_as_the_jobs_tape_reads_them(
    millrace: Job, millrace_layout: Layout
) -> None:
    report = markdown(millrace_layout, millrace, None)
    assert "leans 1/16 in (1.3 mm) outward" in report
    assert "disagree by under 1/32 in (0.3 mm)" in report


def test_a_lean_comes_with_the_way_to_see_diagonals_that_were_exchanged(make_job: MakeJob) -> None:
    """Exchanged diagonals close as well as right ones do, and turn the lean about."""
    from marking.layout.layout import lay_out

    sides = (
        '[table]\nlength = "150 in"\nwidth = "64 in"\n[table.survey]\nnear = "150 in"\n'
        'far = "150 in"\nzero_end = "64 in"\nfar_end = "64 in"\n'
    )
    leans = []
    for first, second in (("163 in", "163 1/8 in"), ("163 1/8 in", "163 in")):
        job = make_job(
            f'{sides}diagonal_from_zero_near = "{first}"\ndiagonal_from_zero_far = "{second}"\n'
        )
        layout = lay_out(job)
        leans.append(layout.top.out_of_square)
        report = markdown(layout, job, None)
        assert "if the end leans the other way, the two diagonals are exchanged" in report
    assert leans[0] == pytest.approx(-leans[1], abs=0.05)


def test_layout_gives_cautions_once_and_shortly(run_cli: RunCli, demo_folder) -> None:
    done = run_cli("layout", "--job", demo_folder)
    told = [line for line in done.stdout.splitlines() if "scrap" in line or "solvent" in line]
    assert len(told) == 1
    assert "README" in told[0]
    written = (demo_folder / "out" / "report.md").read_text("utf-8")
    assert all(caution in written for caution in CAUTIONS)
