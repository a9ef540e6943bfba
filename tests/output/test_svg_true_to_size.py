"""The written SVG, measured by programs that no one here wrote: a browser, svgelements and resvg.

Chromium opens the files as they are, with a script added that writes down where each path came
out in CSS pixels. CSS Values and Units Level 3, 5.2 (looked up in a translation): 1in = 2.54cm =
96px. svgelements gives the same in its own arithmetic, and resvg inks pixels.
"""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import resvg_py
from msgspec.structs import replace
from PIL import Image
from svgelements import SVG
from svgelements import Path as SvgPath

from marking.output.strokes_svg import strokes_svg
from tests.driving.machines import SAME_PENS
from tests.driving.side_by_side import way

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from devices.job import Job
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout, Stroke
    from marking.sections.plan import Plan, Section

    Box = tuple[float, float, float, float]

PX_PER_INCH = 96.0
PX_PER_MM = 96.0 / 25.4
IN_BROWSER = 1 / 64 + 1 / 1024
"""CSS px. Chromium rounds the page's size down to 1/64 px and fits the drawing into that, and its
coordinates are float32: steps of 1/1024 px at 14 400 px. Together 0.005 mm."""
IN_SVGELEMENTS = {"abs": 1e-4, "rel": 1e-6}
"""Millimetres: the file has four decimals, and svgelements takes 1 mm for 0.0393701 in, which is
5e-7 too much: 0.002 mm at the table's far end."""
SECTIONS = ("r1c1", "r4c5", "r7c10")
"""First, middle and last of the demo's seventy."""
INKED_PER_MM = 10
"""Pixels of the resvg pictures: 254 to the inch."""

MEASURE = """<script><![CDATA[
const found = {page: document.documentElement.getBoundingClientRect().toJSON(), paths: []};
for (const path of document.querySelectorAll("path")) {
  const seen = path.getBoundingClientRect(), own = path.getBBox(), way = path.getScreenCTM();
  const low = new DOMPoint(own.x, own.y).matrixTransform(way);
  const high = new DOMPoint(own.x + own.width, own.y + own.height).matrixTransform(way);
  found.paths.push([path.id, [seen.left, seen.top, seen.right, seen.bottom],
                    [low.x, low.y, high.x, high.y]]);
}
const note = document.createElementNS("http://www.w3.org/2000/svg", "desc");
note.id = "measured";
note.textContent = JSON.stringify(found);
document.documentElement.append(note);
]]></script></svg>"""


def chromium() -> str:
    """The browser's command."""
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    found = [path for path in map(shutil.which, names) if path]
    assert found, f"none of {', '.join(names)} is installed; tests/run says how to get one"
    return found[0]


@pytest.fixture(scope="session")
def measured(
    demo_folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str], dict[str, Any]]:
    """Opens a file of the demo in Chromium; page and paths in CSS px, left top right bottom."""
    folder = tmp_path_factory.mktemp("browser")
    as_root = ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []
    quiet = [
        *("--headless", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
        *("--disable-background-networking", "--disable-component-update"),
        f"--user-data-dir={folder / 'profile'}",
    ]
    seen: dict[str, dict[str, Any]] = {}

    def measure(name: str) -> dict[str, Any]:
        if name not in seen:
            text = (demo_folder / "out" / name).read_text("utf-8")
            page = folder / "page.svg"
            end = text.rindex("</svg>")
            page.write_text(text[:end] + MEASURE, "utf-8")
            done = subprocess.run(
                [chromium(), *as_root, *quiet, "--dump-dom", page.as_uri()],
                capture_output=True,
                text=True,
                encoding="utf-8",
                check=True,
            )
            (note,) = re.findall(r'<desc id="measured">(.*?)</desc>', done.stdout, re.DOTALL)
            seen[name] = json.loads(note)
        return seen[name]

    return measure


def page_boxes(strokes: Mapping[str, Stroke], sheet: Box) -> dict[str, FloatArray]:
    """Left, top, right, bottom of where the pen goes for a stroke, mm on a page covering `sheet`.

    The near edge is at the bottom of the page.
    """
    boxes = {}
    for name, stroke in strokes.items():
        _, passes, width = SAME_PENS[stroke.pen]
        points = way(stroke.points, passes, width)
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        boxes[name] = np.array([x0 - sheet[0], sheet[3] - y1, x1 - sheet[0], sheet[3] - y0])
    return boxes


def whole_sheet(layout: Layout) -> Box:
    """The box around the real top's four corners, which `marking.svg` covers."""
    corners = layout.top.corners_table
    return (*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())


def named(plan: Plan, name: str) -> Section:
    (section,) = [section for section in plan.sections if section.id == name]
    return section


def strokes_of(section: Section) -> dict[str, Stroke]:
    return {piece.stroke.id: piece.stroke for piece in section.pieces}


def _check_in_browser(found: dict[str, Any], expected: Mapping[str, FloatArray]) -> None:
    names = [name for name, _, _ in found["paths"]]
    assert sorted(names) == sorted(expected)
    in_mm = np.array([expected[name] for name in names])
    for how in (1, 2):
        in_px = np.array([path[how] for path in found["paths"]])
        off = np.abs(in_px - in_mm * PX_PER_MM).max(axis=1)
        assert off.max() <= IN_BROWSER, names[int(off.argmax())]


def test_a_browser_shows_every_stroke_of_the_marking_where_it_lies_on_the_table(
    measured: Callable[[str], dict[str, Any]], millrace_layout: Layout
) -> None:
    strokes = {stroke.id: stroke for stroke in millrace_layout.strokes}
    sheet = whole_sheet(millrace_layout)
    found = measured("marking.svg")
    _check_in_browser(found, page_boxes(strokes, sheet))
    size = np.array([sheet[2] - sheet[0], sheet[3] - sheet[1]]) * PX_PER_MM
    assert [found["page"]["width"], found["page"]["height"]] == pytest.approx(size, abs=IN_BROWSER)


@pytest.mark.parametrize("name", SECTIONS)
def test_a_browser_shows_every_stroke_of_a_section_where_it_lies_in_the_window(
    measured: Callable[[str], dict[str, Any]], millrace_plan: Plan, name: str
) -> None:
    section = named(millrace_plan, name)
    found = measured(f"sections/{name}.svg")
    _check_in_browser(found, page_boxes(strokes_of(section), section.window))
    bed = np.array([400, 272]) * PX_PER_MM
    assert [found["page"]["width"], found["page"]["height"]] == pytest.approx(bed, abs=IN_BROWSER)


def test_a_foot_of_cross_lines_is_1152_css_pixels_and_the_margin_96(
    measured: Callable[[str], dict[str, Any]],
) -> None:
    """By hand from the job: 1 in pitch and margin. 12 x 96 = 1152."""
    found = measured("marking.svg")
    boxes = {name: box for name, box, _ in found["paths"]}
    assert boxes["cross-12"][0] - boxes["cross-0"][0] == pytest.approx(1152, abs=IN_BROWSER)
    margin = found["page"]["height"] - boxes["long-near"][1]
    assert margin == pytest.approx(PX_PER_INCH, abs=IN_BROWSER)
    assert boxes["hem-near-8"][1] == pytest.approx(
        found["page"]["height"] - 8 * PX_PER_INCH, abs=IN_BROWSER
    )


def test_in_a_browser_a_numeral_and_its_pen_measure_the_reported_height(
    measured: Callable[[str], dict[str, Any]], millrace_layout: Layout
) -> None:
    """Rule 6 of the design. Digits of this face are all of one height."""
    assert millrace_layout.legibility is not None
    pen = 0.8 * PX_PER_MM
    wanted = millrace_layout.legibility.height * PX_PER_MM
    boxes = {name: box for name, box, _ in measured("marking.svg")["paths"]}
    for side in ("near", "far"):
        for text in ("0", "8", "88", "108"):
            drawn = [b for name, b in boxes.items() if name.startswith(f"num-{side}-{text}-")]
            height = max(b[3] for b in drawn) - min(b[1] for b in drawn) + pen
            assert height == pytest.approx(wanted, abs=2 * IN_BROWSER), f"{side} {text}"


def _check_in_svgelements(file: Path, expected: Mapping[str, FloatArray], size: Any) -> None:
    drawing = SVG.parse(str(file), ppi=PX_PER_INCH)
    assert [drawing.width / PX_PER_MM, drawing.height / PX_PER_MM] == pytest.approx(
        size, **IN_SVGELEMENTS
    )
    paths = [path for path in drawing.elements() if isinstance(path, SvgPath)]
    assert sorted(path.id for path in paths) == sorted(expected)
    for path in paths:
        in_mm = np.array(path.bbox()) / PX_PER_MM
        assert in_mm == pytest.approx(expected[path.id], **IN_SVGELEMENTS), path.id


def test_svgelements_finds_the_whole_marking_where_the_layout_says(
    demo_folder: Path, millrace_layout: Layout
) -> None:
    strokes = {stroke.id: stroke for stroke in millrace_layout.strokes}
    sheet = whole_sheet(millrace_layout)
    size = (sheet[2] - sheet[0], sheet[3] - sheet[1])
    _check_in_svgelements(demo_folder / "out" / "marking.svg", page_boxes(strokes, sheet), size)


def test_svgelements_finds_every_section_where_the_plan_says(
    demo_folder: Path, millrace_plan: Plan
) -> None:
    for section in millrace_plan.sections:
        file = demo_folder / "out" / "sections" / f"{section.id}.svg"
        _check_in_svgelements(file, page_boxes(strokes_of(section), section.window), (400, 272))


def test_each_path_is_as_wide_as_the_pen_that_draws_it(
    demo_folder: Path, millrace_layout: Layout
) -> None:
    """The widths of the design's job.toml: 1 mm for lines, 0.8 mm for numerals."""
    widths = {"lines": 1.0, "heavy": 1.0, "numerals": 0.8}
    pens = {stroke.id: stroke.pen for stroke in millrace_layout.strokes}
    drawing = SVG.parse(str(demo_folder / "out" / "marking.svg"), ppi=PX_PER_INCH)
    for path in drawing.elements():
        if isinstance(path, SvgPath):
            width = path.stroke_width / PX_PER_MM
            assert width == pytest.approx(widths[pens[path.id]], **IN_SVGELEMENTS), path.id


@pytest.fixture(scope="session")
def inked(demo_folder: Path) -> Callable[[str], FloatArray]:
    """How far each pixel of a section is inked, 0 to 1, row 0 at the top, as resvg renders it."""
    seen: dict[str, FloatArray] = {}

    def ink(name: str) -> FloatArray:
        if name not in seen:
            svg = (demo_folder / "out" / "sections" / f"{name}.svg").read_text("utf-8")
            png = resvg_py.svg_to_bytes(
                svg_string=svg, dpi=25.4 * INKED_PER_MM, skip_system_fonts=True
            )
            picture = Image.open(io.BytesIO(bytes(png)))
            seen[name] = np.asarray(picture.getchannel("A"), dtype=float) / 255
        return seen[name]

    return ink


def _runs(pixels: FloatArray) -> list[tuple[float, float]]:
    """Centre and width in mm of each unbroken run of ink along a row or column of pixels."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], pixels > 0, [0]]).astype(int)))
    runs = []
    for start, end in edges.reshape(-1, 2):
        cover = pixels[start:end]
        centre = (cover * (np.arange(start, end) + 0.5)).sum() / cover.sum()
        runs.append((centre / INKED_PER_MM, cover.sum() / INKED_PER_MM))
    return runs


@pytest.mark.parametrize(("name", "inches"), [("r1c1", 3.5), ("r4c5", 32.0), ("r7c10", 58.0)])
def test_rendered_lines_are_inked_on_their_centres_and_a_pen_wide(
    inked: Callable[[str], FloatArray],
    millrace_layout: Layout,
    millrace_plan: Plan,
    name: str,
    inches: float,
) -> None:
    """Along a row, that far in from the near edge, and a column that run clear between two lines.

    Nothing may be inked there but the lines that cross, centred where the grid says, to a tenth of
    a pixel or 0.01 mm: 1 mm wide, every twelfth, drawn in two passes half a tip apart, 1.5 mm.
    """
    section, pixels = named(millrace_plan, name), inked(name)
    assert pixels.shape == (272 * INKED_PER_MM, 400 * INKED_PER_MM)
    left, _, _, top = section.window
    x0, y0, x1, y1 = section.core
    cross = [x for x in millrace_layout.grid.cross_x.tolist() if x0 < x < x1]
    long = [line.y for line in millrace_layout.grid.long_lines if y0 < line.y < y1]

    row = _runs(pixels[int((top - inches * 25.4) * INKED_PER_MM)])
    column = _runs(pixels[:, int(((cross[2] + cross[3]) / 2 - left) * INKED_PER_MM)])
    tenth = 0.1 / INKED_PER_MM
    assert [at for at, _ in row] == pytest.approx([x - left for x in cross], abs=tenth)
    assert [at for at, _ in column] == pytest.approx(sorted(top - y for y in long), abs=tenth)
    foot = np.array(millrace_layout.grid.cross_x[::12])
    wide = [1.5 if np.abs(foot - x).min() < 1e-6 else 1.0 for x in cross]
    assert [wide for _, wide in row + column] == pytest.approx(wide + [1.0] * len(long), abs=tenth)


def test_the_rendered_ink_of_a_numeral_fills_its_box_and_no_more(
    inked: Callable[[str], FloatArray], millrace_layout: Layout, millrace_plan: Plan
) -> None:
    """Within one pixel, 0.1 mm, all round: the box that clearances are reckoned with is the ink."""
    section, pixels = named(millrace_plan, "r1c1"), inked("r1c1")
    left, _, _, top = section.window
    within = [
        placed.numeral
        for placed in millrace_layout.numerals
        if placed.numeral.side == "near" and section.core[0] < placed.numeral.at_table[0]
        if placed.numeral.at_table[0] < section.core[2]
    ]
    assert [numeral.text for numeral in within] == [str(value) for value in range(15)]
    margin = int((top - 24.5) * INKED_PER_MM)
    for numeral in within:
        first = int((numeral.at_table[0] - 12.7 - left) * INKED_PER_MM)
        ink = pixels[margin:, max(first, 0) : first + 254] > 0.5
        rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
        found = (
            left + (max(first, 0) + columns[0]) / INKED_PER_MM,
            top - (margin + rows[-1] + 1) / INKED_PER_MM,
            left + (max(first, 0) + columns[-1] + 1) / INKED_PER_MM,
            top - (margin + rows[0]) / INKED_PER_MM,
        )
        assert found == pytest.approx(numeral.box_table, abs=1 / INKED_PER_MM), numeral.text


def test_a_line_begun_with_passes_over_itself_is_darker_no_wider_and_said_to_be_drawn_again(
    millrace: Job, millrace_layout: Layout
) -> None:
    """Passes lay ink on ink: a second pass over the same line makes it no wider."""
    over = [replace(stroke, beside=()) for stroke in millrace_layout.strokes]
    text = strokes_svg(
        over, millrace.pens, whole_sheet(millrace_layout), "Bench", "The whole."
    ).decode()
    assert "The whole. To be drawn over itself, for a darker line: cross-heavy 2 times.<" in text
    once = re.search(r'<g[^>]*id="cross-lines"[^>]*>', text)
    twice = re.search(r'<g[^>]*id="cross-heavy"[^>]*>', text)
    assert once is not None
    assert twice is not None
    widths = {re.search(r'stroke-width="([^"]+)"', group[0])[1] for group in (once, twice)}
    assert widths == {"1.0"}
    shades = [re.search(r'stroke="#(..)', group[0])[1] for group in (once, twice)]
    assert int(shades[1], 16) < int(shades[0], 16)
