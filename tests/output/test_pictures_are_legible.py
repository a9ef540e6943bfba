"""The picture and the error map: no word over another or off the sheet, and nothing alarming
where all is well.

Words and where their ink lies are what PDFium reads in the drawing's PDF.
"""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from msgspec.structs import replace
from PIL import Image

from devices.projector.light.throw import beam_zone
from marking.drawing.png import png
from marking.drawing.svg import svg
from marking.layout.layout import lay_out
from marking.network.allowed_errors import Allowed
from marking.output.error_map import error_map
from marking.output.report import markdown
from marking.output.table_picture import Picture, table_picture
from marking.sections.locating_marks import Mark
from marking.sections.plan import divide_into_sections
from marking.sections.zones import reach_zone
from marking.tape_marks.figures import Figures
from marking.tape_marks.forecast import Forecast, JoinForecast, SectionForecast
from tests.conftest import MILLRACE
from tests.output.printed import words_of
from tests.output.test_sheets_are_legible import overprinted

if TYPE_CHECKING:
    from devices.job import Job
    from marking.drawing.artwork import Artwork
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob

ALARM = "#c2410c"
NEAR = 0.12
"""Letter heights that words stand apart at least."""
METRIC = """title = "Metric bench"
units = "mm"
[table]
length = "213 cm"
width = "91 cm"
[grid]
pitch = "2 cm"
margin = "3 cm"
half_ticks = true
[hems]
depth = "20 cm"
folds = ["double 10 cm", "double 7.5 cm", "double 5 cm", "double 4 cm", "single 4 cm"]
"""
CROOKED = """title = "The long bench by the window, whose top was planed and never came square"
[table]
length = "147 1/2 in"
width = "58 1/2 in"
[table.survey]
near = "147 1/2 in"
far = "147 3/4 in"
zero_end = "58 1/2 in"
far_end = "58 5/8 in"
diagonal_from_zero_near = "158 13/16 in"
diagonal_from_zero_far = "158 11/16 in"
[plotter]
profile = "flatbed-24x36"
"""
SMALL = '[table]\nlength = "30 in"\nwidth = "40 in"\n[hems]\ndepth = "8 in"\nfolds = '
FOLDS = '["single 3 in", "double 3 in", "double 1 1/2 in", "single 6 in", "double 6 1/2 in"]'
LOOSE = """
table = { length = "72 in", width = "30 in" }
cloth = { stretch_length = "0.8 %", stretch_width = "0.4 %" }
plotter = { profile = "roll-36" }
"""
JOBS = {
    "demo": MILLRACE,
    "metric": METRIC,
    "crooked": CROOKED,
    "many hems": SMALL + FOLDS,
    "no hems": SMALL + "[]",
    "fed loose": LOOSE,
}


def clear(artwork: Artwork, letters: float) -> list[tuple[str, str]]:
    """Pairs of texts of a picture that stand too near; none may run over the sheet's edge."""
    written = words_of(artwork)
    assert written
    x0, y0, x1, y1 = artwork.box
    for text, (left, low, right, high) in written:
        assert x0 < left < right < x1, f"{text} is written over the edge of the sheet"
        assert y0 < low < high < y1, f"{text} is written over the edge of the sheet"
    return overprinted(written, NEAR * letters)


def expected(plan: Plan, line: float, step: float, limits: Allowed) -> Forecast:
    """A forecast of these figures: the worst line of a cover, and the worst step at its joins."""
    sections = tuple(
        SectionForecast(one.id, 2, (one.core[0], one.core[1]), 0.8 * line, 0.3 * line)
        for one in plan.sections
    )
    first, second = plan.sections[:2]
    join = JoinForecast((first.id, second.id), (second.core[0], second.core[1]), 0.8 * step)
    order = tuple(one.id for one in plan.sections)
    worst = Figures(line, line, line, step)
    return Forecast(order, sections, (join,), line, step, 9, 5, limits, worst)


def laid_out(job: Job) -> tuple[Layout, Plan]:
    layout = lay_out(job)
    return layout, divide_into_sections(layout, job, job.plotter.zone)


@pytest.mark.parametrize("name", JOBS)
def test_no_word_of_the_picture_stands_over_another_or_off_the_sheet(
    make_job: MakeJob, name: str
) -> None:
    job = make_job(JOBS[name])
    layout = lay_out(job)
    letters = Picture(layout, job, None).letters
    assert clear(table_picture(layout, job), letters) == []
    for zone in (job.plotter.zone, reach_zone(job.reach), beam_zone(job.reach, job.projector)):
        picture = table_picture(layout, job, divide_into_sections(layout, job, zone))
        assert clear(picture, letters) == [], zone.name


@pytest.mark.parametrize("name", [name for name in JOBS if name != "fed loose"])
def test_no_word_of_the_error_map_stands_over_another_wherever_the_figures_fall(
    make_job: MakeJob, name: str
) -> None:
    job = make_job(JOBS[name])
    layout, plan = laid_out(job)
    monk = replace(plan, sections=plan.sections[:2])
    letters = Picture(layout, job, monk).letters
    for line in np.geomspace(0.1, 9.0, 24).tolist():
        drawn = error_map(layout, job, monk, expected(monk, line, 0.5, Allowed(job.tolerance)), [])
        assert clear(drawn, letters) == [], f"{line:.2f} mm"


def test_the_edges_carry_the_figures_that_the_person_measured(
    make_job: MakeJob,
) -> None:
    """Adjusted, the crooked top's are other ones, which nobody has read off a tape."""
    for text, sides in (
        (CROOKED, ("147 1/2 in", "147 3/4 in", "58 1/2 in", "58 5/8 in")),
        (CROOKED.replace("title", 'units = "mm"\ntitle'), ("3746.5", "3752.8", "1485.9", "1489.1")),
        # What the cloth will give is no part of the table.
        (MILLRACE + '[cloth]\nstretch_length = "2 %"\n', ("150 in", "150 1/16 in", "64 in")),
    ):
        job = make_job(text)
        labels = {words for words, _ in words_of(table_picture(lay_out(job), job))}
        for edge, side in zip(
            ("near edge", "far edge", "zero end", "far end"), sides, strict=False
        ):
            assert {f"{edge} {side}", f"{edge} {side} mm"} & labels, (edge, side, labels)


def test_a_map_that_holds_has_nothing_in_the_alarms_colour_and_one_that_does_not_has(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    marks = [Mark("n0", (25.4, 25.4), "control")]
    limits = Allowed(1.5)
    maps = {
        step: error_map(
            millrace_layout,
            millrace,
            millrace_plan,
            expected(millrace_plan, 1.0, step, limits),
            marks,
        )
        for step in (0.5, 1.5)
    }
    assert ALARM not in svg(maps[0.5]).decode()
    assert ALARM in svg(maps[1.5]).decode()
    words = [text for drawn in maps.values() for text, _ in words_of(drawn)]
    titles = [text for text in words if text.startswith(millrace.title)]
    # One title, and the verdict once and in a place of its own.
    assert titles == [f"{millrace.title}: the error to expect of each section"] * 2
    assert [text for text in words if "hold" in text.lower()] == [
        "Forecast: HOLDS",
        "Forecast: DOES NOT HOLD",
    ]


def test_a_section_past_the_tolerance_is_told_without_colour(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    """By an exclamation mark, and by hatching that a grey print shows."""
    found = expected(millrace_plan, 1.0, 0.5, Allowed(1.5))
    bad = millrace_plan.sections[34]
    spoilt = replace(
        found,
        sections=tuple(
            replace(one, error=1.6) if one.section == bad.id else one for one in found.sections
        ),
    )
    grey = []
    for each in (found, spoilt):
        picture = error_map(millrace_layout, millrace, millrace_plan, each, [])
        drawn = np.asarray(Image.open(io.BytesIO(png(picture, 2400))).convert("L"), dtype=float)
        x0, _, x1, y1 = picture.box
        a, b, c, d = bad.core
        # The strip over the figures of the section, well inside its own borders.
        scale = drawn.shape[1] / (x1 - x0)
        rows = slice(int((y1 - d + 30) * scale), int((y1 - d + 70) * scale))
        columns = slice(int((a + 20 - x0) * scale), int((c - 20 - x0) * scale))
        assert b < d
        grey.append(float(drawn[rows, columns].std()))
    assert grey[1] > 2 * grey[0]
    assert "1.60!" in [text for text, _ in words_of(picture)]


def test_who_reaches_in_is_told_which_edge_to_stand_at(make_job: MakeJob) -> None:
    """A reading across would have a person of the far edge stand in the middle of the table."""
    job = make_job(METRIC)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, reach_zone(job.reach))
    assert plan.rows == 2
    rows = re.findall(
        r"^\| \d+ \| (r\dc\d) \| \d+ mm \| (.+?) \|", markdown(layout, job, plan), re.M
    )
    assert [name for name, _ in rows] == [section.id for section in plan.sections]
    for name, stand in rows:
        assert stand == ("near edge" if name.startswith("r1") else "far edge")
