"""The light of a section: stage, SVG and PNG against OpenCV's camera model, pixel by pixel."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
import resvg_py
from msgspec import Struct
from msgspec.structs import replace
from PIL import Image
from svgelements import SVG, Line, Path

from devices.projector.desk.beam_work import work_for
from devices.projector.desk.desk import acted, begun
from devices.projector.desk.memory import keep, remembered
from devices.projector.desk.what_pages_show import geometry
from devices.projector.light.files import Look, sheet_png, sheet_svg
from devices.projector.light.mapping import LightMapping
from devices.projector.light.overlay import carried, clipped
from devices.projector.light.throw import lens_axis, lens_over
from devices.projector.trueup.calibration import Landing, calibrate
from devices.projector.trueup.result import Trued
from marking.record.record import open_record
from tests.projector.browsers import beam, chromium, millrace, stage_page, when

QUARTER = 0.25
SECTION = "r1c2"


class Hung(Struct, frozen=True):
    """A projector as OpenCV's camera run backwards, and our true-up of it."""

    work: object
    folder: object
    pixels: tuple[int, int]
    px: object
    """Pixels of table points, by OpenCV."""
    mapping: LightMapping


@pytest.fixture(scope="module", params=[(1920, 1080), (3840, 2160)], ids=["1080", "2160"])
def hung(request, tmp_path_factory):
    pixels = request.param
    folder = tmp_path_factory.mktemp("light")
    work = millrace(folder, pixels)
    window = work.section(SECTION).window
    over = lens_over(work.job.projector, work.job.reach.depth, window)
    focal = work.job.projector.throw_ratio * pixels[0]
    camera = np.array([[focal, 0, pixels[0] / 2], [0, focal, pixels[1] / 2], [0, 0, 1]])
    turned = cv2.Rodrigues(np.array([np.pi, 0.03, 0.05]))[0]
    lens = np.array([over[0], over[1], work.job.projector.distance])

    def px(table):
        raised = np.column_stack([table, np.zeros(len(table))])
        lens_model = np.array([-0.03, 0, 0, 0, 0.0])
        found, _ = cv2.projectPoints(raised, turned, -turned @ lens, camera, lens_model)
        return found[:, 0]

    x0, y0, x1, y1 = window
    table = np.array([[x, y] for y in np.linspace(y0, y1, 3) for x in np.linspace(x0, x1, 3)])
    lit = px(table)
    landings = [Landing(str(n), tuple(lit[n]), tuple(table[n])) for n in range(len(table))]
    mapping = calibrate(landings, *lens_axis(work.job.projector)).mapping
    return Hung(work, folder, pixels, px, mapping)


def off_lines(picture, hung):
    """How far in pixels each cross line's middle lies from OpenCV's place, at three heights."""
    grey = np.asarray(picture.convert("L"), dtype=float)
    x0, y0, x1, y1 = hung.work.section(SECTION).core
    # Between the hem band and the scale bar, and above the section's name.
    heights = [y1 - 60, y1 - 150, y0 + 205]
    offs = []
    for x in hung.work.layout.grid.cross_x:
        if not x0 < x < x1:
            continue
        for y in heights:
            (u0, v0), (u1, v1) = hung.px(np.array([[x, y], [x, y + 10]]))
            row = int(v0)
            expected = u0 + (row + 0.5 - v0) * (u1 - u0) / (v1 - v0)
            first = int(expected) - 6
            seen = grey[row, first : first + 13]
            assert seen.max() > 40, f"no line at {x:.0f}, {y:.0f}"
            offs.append((seen * (np.arange(first, first + 13) + 0.5)).sum() / seen.sum() - expected)
    assert len(offs) > 100
    return np.abs(offs)


def light_of(hung):
    return hung.work.light(SECTION, hung.mapping)


def test_the_written_picture_has_every_line_where_opencv_puts_it(hung):
    picture = Image.open(io.BytesIO(sheet_png(light_of(hung), Look(), 3.0)))
    assert picture.size == hung.pixels
    assert off_lines(picture, hung).max() < QUARTER


@pytest.mark.parametrize("outlines", [False, True], ids=["strokes", "outlines"])
def test_the_written_picture_is_what_another_renderer_makes_of_the_written_svg(hung, outlines):
    # PDFium draws the one, resvg the other.
    light, look = light_of(hung), Look(outlines=outlines)
    by_resvg = resvg_py.svg_to_bytes(svg_string=sheet_svg(light, look, 9.0, "light").decode())
    pictures = [bytes(by_resvg), sheet_png(light, look, 9.0)]
    theirs, ours = (
        np.asarray(Image.open(io.BytesIO(one)).convert("L"), dtype=float) for one in pictures
    )
    # Edges are smoothed a little differently; a line a quarter pixel off would be 64 of 255.
    apart = np.abs(theirs - ours)
    assert np.percentile(apart[(theirs > 0) | (ours > 0)], 99) < 64
    assert theirs.sum() == pytest.approx(ours.sum(), rel=0.01)


def test_the_written_svg_drawn_by_others_has_every_line_where_opencv_puts_it(hung):
    # Read by svgelements, drawn by OpenCV.
    svg = SVG.parse(io.BytesIO(sheet_svg(light_of(hung), Look(), 3.0, "light")))
    canvas = np.zeros((hung.pixels[1], hung.pixels[0]), dtype=np.uint8)
    lines = svg.elements(lambda one: isinstance(one, Path) and one.stroke == "#ffffff")
    ends = [
        [(part.start.x, part.start.y), (part.end.x, part.end.y)]
        for path in lines
        for part in path
        if isinstance(part, Line)
    ]
    # OpenCV's pixel centres lie on whole numbers.
    fixed = np.round((np.array(ends) - 0.5) * 256).astype(np.int32)
    cv2.polylines(canvas, list(fixed), False, 255, 2, cv2.LINE_AA, 8)
    assert off_lines(Image.fromarray(canvas), hung).max() < QUARTER


def test_the_stage_in_a_browser_has_every_line_where_opencv_puts_it(hung):
    with open_record(hung.folder) as record:
        before = remembered(record, hung.work)
        trued = Trued(hung.mapping, 1.0, (), True)
        after = replace(before, trued={SECTION: trued})
        keep(
            record,
            hung.work,
            before,
            acted(after, hung.work, {"do": "section", "section": SECTION}),
        )
    with chromium() as browser, beam(hung.folder) as run:
        stage = stage_page(browser, run, hung.pixels)
        when(stage, "scene.lines.length > 0 && display.ok && look && look.lit")
        stage.evaluate("pairing.hidden = true")
        stage.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        picture = Image.open(io.BytesIO(stage.screenshot()))
    assert picture.size == hung.pixels
    assert off_lines(picture, hung).max() < QUARTER


def test_bent_lines_are_followed_to_a_tenth_of_a_pixel(hung):
    for stroke in hung.work.layout.strokes[:40:7]:
        ends = stroke.points
        dense = ends[0] + np.linspace(0, 1, 2001)[:, None] * (ends[-1] - ends[0])
        exact = hung.mapping.to_px(dense)
        inside = ((exact >= 0) & (exact <= hung.pixels)).all(axis=1)
        parts = carried(ends, hung.mapping, hung.pixels)
        if not inside.any():
            assert not parts
            continue
        from shapely.geometry import LineString, Point

        line = LineString(parts[0])
        assert max(line.distance(Point(p)) for p in exact[inside][::20]) < 0.1


def test_light_is_clipped_to_the_picture_as_shapely_clips_it():
    from shapely.geometry import LineString, box

    rng = np.random.default_rng(8)
    frame = (0.0, 0.0, 100.0, 60.0)
    for _ in range(300):
        points = rng.uniform(-60, 160, (6, 2))
        parts = clipped(points, frame)
        theirs = LineString(points).intersection(box(*frame))
        ours = sum(np.linalg.norm(np.diff(part, axis=0), axis=1).sum() for part in parts)
        assert ours == pytest.approx(theirs.length, abs=1e-9)
        for part in parts:
            assert (part >= -1e-9).all()
            assert (part <= np.array(frame[2:]) + 1e-9).all()


def test_a_line_past_the_horizon_is_not_folded_back_into_the_picture():
    matrix = np.array([[1.0, 0, 500], [0, 1.0, 300], [0, -0.002, 1]])
    mapping = LightMapping(matrix, (500.0, 300.0), 600.0)
    # At y = 500 the beam runs level; what lies beyond is behind the lens.
    parts = carried(np.array([[0.0, 0.0], [0.0, 2000.0]]), mapping, (1000, 600))
    assert len(parts) == 1
    assert mapping.to_table(parts[0])[:, 1].max() < 500


def test_what_falls_outside_the_picture_is_measured_and_not_silent(hung):
    whole = hung.work.light(SECTION, hung.mapping)
    assert whole.unlit == 0
    aside = hung.mapping.shifted(hung.pixels[0] / 2, 0)
    half = hung.work.light(SECTION, aside)
    ink = sum(piece.stroke.length for piece in hung.work.section(SECTION).pieces)
    assert 0.2 * ink < half.unlit < 0.8 * ink


def test_the_scale_bar_measures_what_it_says(hung):
    light = light_of(hung)
    bar = next(one for one in light.lights if one.kind == "scale")
    ends = hung.mapping.to_table(bar.points[[0, -1]])
    assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(light.bar, abs=1e-6)
    assert light.bar == 20 * 25.4


@pytest.mark.parametrize("seed", range(6))
def test_the_scale_bar_keeps_half_a_pitch_from_every_line_along_it(make_job, seed):
    rng = np.random.default_rng(seed)
    widths = [58.5, *rng.integers(40 * 16, 72 * 16, 3) / 16]
    for width in widths:
        # The wider pitches, and long lines over the whole width, leave least room.
        pitch = rng.choice(["1 in", "3/4 in", "1 1/4 in"])
        full = rng.choice(["bands", "full"])
        work = work_for(
            make_job(
                f'[table]\nlength = "96 in"\nwidth = "{width} in"\n'
                f'[grid]\npitch = "{pitch}"\nlong_lines = "{full}"\n'
            )
        )
        along = [s.points for s in work.layout.strokes if s.layer in ("long", "hem")]
        heights = np.array([points[:, 1].mean() for points in along])
        for section in work.section_ids:
            mapping = work.expected(section)
            desk = replace(
                begun(work), section=section, trued={section: Trued(mapping, 1, (), True)}
            )
            drawn = geometry(desk, work)
            bar = next(one for one in drawn["aside"] if one["kind"] == "scale")
            y = mapping.to_table(np.reshape(bar["points"], (-1, 2)))[:, 1]
            clear = np.abs(heights[:, None] - y).min()
            # Told to the page in thousandths of a pixel.
            assert clear >= work.job.grid.pitch / 2 - 0.01, (width, pitch, full, section)


def test_registration_targets_stand_round_the_section_s_witness_marks(hung):
    light = light_of(hung)
    for mark in hung.work.section(SECTION).locating_marks:
        ring = next(one for one in light.lights if one.kind == "witness" and one.id == mark.id)
        middle = hung.mapping.to_table(ring.points).mean(axis=0)
        assert middle == pytest.approx(mark.at_table, abs=0.5)


def test_numerals_as_outlines_leave_their_inside_dark(hung):
    light = light_of(hung)
    ink = 9.0
    png = sheet_png(light, Look(outlines=True), ink)
    grey = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    numeral = max((o for o in light.lights if o.layer == "numeral"), key=lambda o: len(o.points))
    x, y = numeral.points[len(numeral.points) // 2]
    assert grey[int(y), int(x)] < 10
    around = grey[int(y) - 8 : int(y) + 9, int(x) - 8 : int(x) + 9]
    assert around.max() > 200
