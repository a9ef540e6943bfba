"""The marking against published figures, a calculation by hand and the practice of the trade.

Each figure names its source. "Looked up" means read in the source or a quotation of it while this
was written; "from memory" means not.
"""

from __future__ import annotations

import itertools
import math
import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import numpy as np
import pytest

from devices.plotter.bed import bed_at
from marking.errors import RefusedError
from marking.layout.layout import lay_out
from marking.lettering.glyphs import letter_numeral
from marking.measures.lengths import INCH, parse_length
from marking.output.report import markdown
from marking.sections.plan import divide_into_sections

if TYPE_CHECKING:
    from pathlib import Path

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.layout.numerals import Legibility
    from tests.conftest import MakeJob

BENCH = {"table": {"length": "150 in", "width": "64 in"}}
"""64 x 150 in with every default: 1 in pitch, 1/8 in clear, 0.8 mm numeral pen."""
BIG = {"height": "13 mm"}
"""Numerals that fit an inch at two digits."""
HEIGHT_STEP = 0.01
"""Automatic heights are whole hundredths of a millimetre, rounded down."""


def lettered(make_job: MakeJob, **numerals: Any) -> tuple[Layout, Legibility]:
    """The bench laid out with these keys in [numerals]; `pen` is the numeral pen's width."""
    pen = numerals.pop("pen", "0.8 mm")
    pens = {"numerals": {"width": pen}}
    layout = lay_out(make_job({**BENCH, "numerals": numerals, "pens": pens}))
    assert layout.legibility is not None
    return layout, layout.legibility


@pytest.mark.parametrize(
    ("written", "millimetres"),
    [
        ("1 in", Fraction("25.4")),
        ('1"', Fraction("25.4")),
        ("1/16 in", Fraction("1.5875")),
        ("8 1/4 in", Fraction("209.55")),
        ("5' 4\"", Fraction("1625.6")),
        ("1 ft", Fraction("304.8")),
        ("150 in", Fraction(3810)),
    ],
)
def test_an_inch_is_25_4_mm_exactly(written: str, millimetres: Fraction) -> None:
    """NIST SP 811 appendix B.8: inch 2.54 E-02 m and foot 3.048 E-01 m, both exact (from memory).

    The nearest float64 to the exact product, to the last bit.
    """
    assert Fraction(127, 5) == INCH
    assert parse_length(written) == float(millimetres)


def test_an_inch_is_1016_plotter_units_of_0_025_mm(millrace: Job) -> None:
    """HP-GL's unit is 1/1016 in or 0.025 mm: manual of a 7475A emulation, p. 9-4 (looked up)."""
    bed = bed_at(millrace.plotter, (0.0, 0.0, 400.0, 272.0))
    inches = 25.4 * np.array([[0, 0], [1, 2], [15, 10]])
    units = bed.units(inches, "inches")
    assert (units - units[0]).tolist() == [[0, 0], [1016, 2032], [15240, 10160]]


def test_an_inch_of_the_svg_is_96_css_reference_pixels(demo_folder: Path) -> None:
    """CSS Values and Units Level 3, 5.2: 1in = 2.54cm = 96px (looked up in a translation)."""
    root = ElementTree.parse(demo_folder / "out" / "marking.svg").getroot()
    width, unit = root.attrib["width"][:-2], root.attrib["width"][-2:]
    assert unit == "mm"
    px_per_user_unit = float(width) * 96 / 25.4 / float(root.attrib["viewBox"].split()[2])
    paths = {path.get("id"): path.attrib["d"] for path in root.iterfind(".//{*}path")}
    first, second = (float(paths[f"cross-{n}"][1:].split(",")[0]) for n in (0, 1))
    assert (second - first) * px_per_user_unit == pytest.approx(96, abs=1e-3)


def test_888_is_54_by_21_hershey_units() -> None:
    """By hand from the Hershey simplex digits: 8 is 14 wide and 21 high in a cell of 20, so two
    stand 6 apart and three are 14 + 6 + 14 + 6 + 14 = 54 wide: 2.57 heights."""
    drawn = letter_numeral("888")
    assert (drawn.width, drawn.height) == (54, 21)
    assert drawn.width / drawn.height == pytest.approx(2.57, abs=0.005)


ROOM = 25.4 - 25.4 / 8 - 0.8
"""Millimetres for the centre lines of two half numerals: an inch less the gap and a pen width."""


def test_numerals_as_wide_as_888_can_be_8_3_mm_high_at_an_inch_apart(make_job: MakeJob) -> None:
    """By hand: (25.4 - 3.175 - 0.8) / (54 / 21) = 8.33 mm between the centre lines, and 0.8 mm of
    pen makes 9.13 mm of ink.

    Held against the first four lines of the bench counted by 250, since 250, 500 and 750 have the
    width of 888 and no other numeral is there to be wider.
    """
    by_hand = ROOM / (54 / 21)
    assert by_hand == pytest.approx(8.33, abs=0.005)
    bench = {"table": {"length": "5 in", "width": "64 in"}, "numerals": {"per_line": 250}}
    largest, _ = largest_that_fits(make_job, bench)
    assert by_hand - HEIGHT_STEP <= largest - 0.8 <= by_hand
    bench["numerals"]["height"] = f"{largest} mm"
    layout = lay_out(make_job(bench))
    fit = layout.legibility
    assert fit is not None
    assert fit.height == pytest.approx(fit.centre_line_height + 0.8)
    boxes = {
        placed.numeral.text: placed.numeral.box_table
        for placed in layout.numerals
        if placed.numeral.side == "near"
    }
    assert list(boxes) == ["0", "250", "500", "750"]
    gaps = [boxes["500"][0] - boxes["250"][2], boxes["750"][0] - boxes["500"][2]]
    assert gaps == [pytest.approx(25.4 / 8 + HEIGHT_STEP, abs=2 * HEIGHT_STEP)] * 2
    assert min(gaps) >= 25.4 / 8


@pytest.mark.parametrize(
    ("per_line", "widest", "first", "second"),
    [(1, "143 and 144", 5 + 6 + 15 + 6 + 14, 5 + 6 + 15 + 6 + 15), (5, "440 and 445", 56, 56)],
)
def test_the_widest_neighbours_of_the_table_set_the_height(
    make_job: MakeJob, per_line: int, widest: str, first: int, second: int
) -> None:
    """By hand from the Hershey simplex digits: a 1 is 5 wide, a 4 is 15, 6 and 9 are 13 and the
    rest 14, all 6 apart. 440 and 445 are 15 + 6 + 15 + 6 + 14 = 56 both."""
    largest, _ = largest_that_fits(make_job, {**BENCH, "numerals": {"per_line": per_line}})
    by_hand = ROOM / ((first + second) / 2 / 21)
    assert by_hand - HEIGHT_STEP <= largest - 0.8 <= by_hand
    _, fit = lettered(make_job, per_line=per_line, height=f"{largest} mm")
    assert widest in fit.limited_by


def largest_that_fits(make_job: MakeJob, tables: dict[str, Any]) -> tuple[float, str]:
    """The greatest height in mm that is not refused, as the refusal of a greater one tells it."""
    asked = {**tables, "numerals": {**tables["numerals"], "height": "60 mm"}}
    with pytest.raises(RefusedError) as refused:
        lay_out(make_job(asked))
    said = re.search(r"The largest that fits is ([\d.]+) mm", str(refused.value))
    assert said, refused.value
    return float(said[1]), str(refused.value)


@pytest.mark.parametrize(
    ("h", "d", "weight"),
    [
        ("10 mm", "1 mm", 10),
        ("5 mm", "0.5 mm", 10),
        ("2.5 mm", "0.25 mm", 10),
        ("14 mm", "1 mm", 14),
        ("7 mm", "0.5 mm", 14),
    ],
)
def test_the_standard_lettering_weights_are_ten_and_fourteen_pen_widths(
    make_job: MakeJob, h: str, d: str, weight: int
) -> None:
    """ISO 3098-0 (looked up in extracts, not in the standard): type B, h = 10, 5 and 2.5 with
    lines of 1, 0.5 and 0.25, that is h/10; type A, h = 14 with 1, that is h/14. h = 7 from memory.

    h is the height of the letters as they stand, which is the ink's.
    """
    _, fit = lettered(make_job, height=h, pen=d, every=2)
    assert fit.height_to_stroke == pytest.approx(weight)


@pytest.mark.parametrize(
    ("height", "verdict"),
    [
        ("9.9 mm", "They are heavy"),
        ("10 mm", "They are as bold as"),
        ("14 mm", "They are as bold as"),
        ("14.1 mm", "They are light"),
    ],
)
def test_the_report_places_the_lettering_among_the_standard_weights(
    make_job: MakeJob, height: str, verdict: str
) -> None:
    """ISO 3098: h/10 for type B, h/14 for type A; above, for a pen of 1 mm."""
    (line,) = _report_lines(make_job, "pen widths high", height=height, pen="1 mm", every=2)
    assert verdict in line


def _report_lines(make_job: MakeJob, about: str, **numerals: Any) -> list[str]:
    pens = {"numerals": {"width": numerals.pop("pen")}}
    job = make_job({**BENCH, "numerals": numerals, "pens": pens})
    report = markdown(lay_out(job), job, None)
    return [line for line in report.splitlines() if about in line]


def nureg_height(distance: float, minutes: float) -> float:
    """NUREG-0700 1.3.1-4 (looked up): Height = 6.283 D MA / 21600, D the viewing distance."""
    return 6.283 * distance * minutes / 21600


@pytest.mark.parametrize("distance_in", [18, 24, 36, 48, 120])
def test_minutes_of_arc_agree_with_the_formula_of_nureg_0700(
    make_job: MakeJob, distance_in: int
) -> None:
    """To 2 parts in 10 000: 6.283 is 2 pi to 3 parts in 100 000, and a chord is not its arc."""
    _, fit = lettered(make_job, height="9 mm", view_from=f"{distance_in} in")
    assert nureg_height(25.4 * distance_in, fit.arc_minutes) == pytest.approx(9, rel=2e-4)


def test_one_minute_of_arc_at_3438_heights(make_job: MakeJob) -> None:
    """By hand: 1 / tan(1') = 3437.75, so 2 mm seen from 6.8755 m subtends one minute."""
    assert 1 / math.tan(math.radians(1 / 60)) == pytest.approx(3437.75, abs=0.01)
    _, fit = lettered(make_job, height="2 mm", view_from="6875.5 mm")
    assert fit.arc_minutes == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize(
    ("minutes", "verdict"),
    [(15.9, "hard to read"), (16.1, "readable"), (19.9, "readable"), (20.1, "easily read")],
)
def test_numerals_under_16_minutes_of_arc_are_called_hard_to_read(
    make_job: MakeJob, minutes: float, verdict: str
) -> None:
    """ISO 9241-3, quoted by IBM Healthy Computing and by NUREG-0700 1.3.1-4 (both looked up): 16
    minutes at least, 20 to 22 preferred. It speaks of displays; the report says so."""
    height = f"{nureg_height(914.4, minutes):.4f} mm"
    layout, _ = lettered(make_job, height=height, view_from="36 in", pen="0.4 mm")
    asked = {"height": height, "view_from": "36 in", "pen": "0.4 mm"}
    (line,) = _report_lines(make_job, "- From 36 in", **asked)
    assert line.endswith(f" {verdict}.")
    assert any("hard to read" in warning for warning in layout.warnings) == (minutes < 16)
    (last,) = _report_lines(make_job, "ISO 9241", **asked)
    assert f"here {minutes:.0f} from 36 in" in last


def test_numerals_a_digits_width_apart_are_told_apart_and_closer_ones_are_not_called_easily_read(
    make_job: MakeJob, millrace: Job, millrace_layout: Layout
) -> None:
    """NUREG-0700 rev. 3, 11.4.1.5-7 (looked up), of labels: at least a character's width between
    words.

    By hand: 143 and 144 are 46 and 47 units wide and a nought 14, of 21 high. An inch less two
    half pens of 0.8 mm on either side of the gap, 23.8 mm, holds 46.5 and 14 of them: 9.06 mm
    high with the pen.
    """
    near = millrace_layout.legibility.neighbours
    assert near.values == (143, 144)
    assert near.apart_height == pytest.approx(23.8 / 60.5 * 21 + 0.8, abs=0.01)
    assert "easily read" in markdown(millrace_layout, millrace, None)
    boxes = [p.numeral.box_table for p in millrace_layout.numerals if p.numeral.side == "near"]
    gaps = [after[0] - this[2] for this, after in itertools.pairwise(boxes)]
    assert near.gap == pytest.approx(min(gaps[9:]))

    higher = make_job({**BENCH, "numerals": {"height": "10 mm"}})
    report = markdown(lay_out(higher), higher, None)
    assert "easily read" not in report
    assert "143 and 144 would read as one number" in report
    assert '`numerals.height = "9.0 mm"`' in report

    lower = make_job({**BENCH, "numerals": {"height": "9.0 mm"}})
    layout = lay_out(lower)
    noughts = layout.numerals[0].numeral.box_table
    boxes = [p.numeral.box_table for p in layout.numerals if p.numeral.side == "near"]
    gaps = [after[0] - this[2] for this, after in itertools.pairwise(boxes)]
    assert min(gaps[9:]) >= noughts[2] - noughts[0]
    assert "easily read" in markdown(layout, lower, None)


def test_automatic_numerals_are_the_greatest_that_read_as_two_and_let_a_join_pass(
    make_job: MakeJob,
) -> None:
    """Of the bench's numerals 143 and 144 are the first to run together, at 9.06 mm (see above).

    Every second number at 1 in, a 1 1/4 in margin: numerals could be nearly 2 in wide, and the only
    cloth between them would lie under the odd lines. What is left free between two numerals and the
    line between them must hold a join: by hand, 1 1/4 mm from the line's ink and 0.1 mm from the
    numeral's.
    """
    _, fit = lettered(make_job, height="auto")
    assert fit.height == pytest.approx(23.8 / 60.5 * 21 + 0.8, abs=2 * HEIGHT_STEP)
    assert fit.limited_by == "143 and 144 would read as one number"
    tables = {
        "table": {"length": "171 in", "width": "64 in"},
        "grid": {"margin": "1 1/4 in"},
        "numerals": {"every": 2, "clear": "1/16 in"},
    }
    job = make_job(tables)
    layout = lay_out(job)
    assert layout.legibility.height <= layout.legibility.neighbours.apart_height + HEIGHT_STEP
    boxes = [p.numeral.box_table for p in layout.numerals if p.numeral.side == "near"]
    for this, after in itertools.pairwise(boxes):
        between = (this[2] + after[0]) / 2  # Where the odd line stands.
        assert between - 0.5 - 1.25 - (this[2] + 0.1) > 0
    assert divide_into_sections(layout, job, job.plotter.zone).sections


def test_the_report_speaks_as_a_workroom_does_and_names_standards_in_one_line_at_the_end(
    make_job: MakeJob,
) -> None:
    for height in ("auto", "10 mm", "4 mm"):
        job = make_job({**BENCH, "numerals": {"height": height}})
        layout = lay_out(job)
        lines = [line for line in markdown(layout, job, None).splitlines() if line]
        standards = [
            n for n, line in enumerate(lines) if re.search("ISO|NUREG|minutes of arc", line)
        ]
        assert len(standards) == 1
        assert lines[standards[0]].startswith("- Held against: ")
        assert not any("minutes of arc" in warning for warning in layout.warnings)


def test_the_first_long_line_lies_an_inch_in_from_both_long_edges(
    millrace_layout: Layout,
) -> None:
    """Common practice, no source."""
    firsts = {line.side: line.offset for line in millrace_layout.grid.long_lines[:1]}
    firsts |= {line.side: line.offset for line in millrace_layout.grid.long_lines[-1:]}
    assert firsts == {"near": 25.4, "far": 25.4}


@pytest.mark.parametrize("side", ["near", "far"])
def test_eight_inches_of_long_lines_run_down_both_long_sides(
    millrace_layout: Layout, side: str
) -> None:
    """Common practice, no source."""
    offsets = {line.offset for line in millrace_layout.grid.long_lines if line.side == side}
    inches = [pytest.approx(25.4 * n) for n in range(1, 9)]
    assert [sorted(offsets)[n] for n in (0, 2, 3, 4, 5, 6, 7, 8)] == inches
    assert len(offsets) == 9
    assert sorted(offsets)[1] == pytest.approx(38.1)


def test_a_double_4_in_hem_uses_the_8_in_line(millrace_layout: Layout) -> None:
    """Common practice, no source."""
    assert _side_folds(millrace_layout, "double 4 in") == {
        4: "hem-near-4",
        8: "hem-near-8",
    }


def test_side_hems_of_a_double_1_and_a_half_in_use_3(millrace_layout: Layout) -> None:
    """Common practice, no source."""
    assert _side_folds(millrace_layout, "double 1 1/2 in") == {
        1.5: "fold-near-1",
        3: "hem-near-3",
    }


def _side_folds(layout: Layout, hem: str) -> dict[float, str | None]:
    """Which line serves each fold of a side hem, by inches from the edge."""
    return {
        round(fold.distance / 25.4, 6): fold.line
        for fold in layout.folds
        if fold.hem == hem and fold.edge == "side"
    }


def test_numbering_starts_with_0_at_the_same_end_on_both_sides(millrace_layout: Layout) -> None:
    """Common practice, no source. Number n stands n inches from the zero line on both sides."""
    places = {
        side: [
            (placed.numeral.text, placed.numeral.at_table[0])
            for placed in millrace_layout.numerals
            if placed.numeral.side == side
        ]
        for side in ("near", "far")
    }
    assert places["near"] == places["far"]
    assert places["near"][0] == ("0", pytest.approx(25.4))
    for number, (text, x) in enumerate(places["near"]):
        assert (text, x) == (str(number), pytest.approx(25.4 * (1 + number)))


def test_large_numerals_that_look_well_at_two_digits_touch_from_100_on(make_job: MakeJob) -> None:
    """Common practice, no source."""
    short = make_job({"table": {"length": "101 in", "width": "64 in"}, "numerals": BIG})
    assert [placed.numeral.text for placed in lay_out(short).numerals][98] == "98"
    with pytest.raises(RefusedError, match="99 and 100 would come too near each other"):
        lay_out(make_job({**BENCH, "numerals": BIG}))


def test_a_height_that_does_not_fit_is_refused_with_changes_that_would_give_larger_numerals(
    make_job: MakeJob,
) -> None:
    """By hand at two digits, 43 and 44 being 35 and 36 wide: 21.425 / (35.5 / 21) + 0.8 = 13.47.

    A wider margin or a finer pen gives no larger ones here, so neither may be offered as if it did.
    """
    table = {"length": "101 in", "width": "64 in"}
    with pytest.raises(RefusedError) as refused:
        lay_out(make_job({"table": table, "numerals": {"height": "14 mm"}}))
    message = str(refused.value)
    assert "The largest that fits is 13.47 mm" in message
    offered = re.findall(r"\((\d+\.\d+) mm\)", message.partition("Larger would")[2])
    assert offered
    assert all(float(height) > 13.47 for height in offered), message
