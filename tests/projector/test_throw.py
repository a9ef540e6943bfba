"""What a projector lights, held against published arithmetic."""

from __future__ import annotations

import re

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from devices.projector.light.mapping import apply
from devices.projector.light.throw import (
    beam_zone,
    largest_upright,
    lens_over,
    nominal,
    raised_by,
    throw,
    throw_ratio,
)
from devices.projector.trueup.forecast import plan_lines
from marking.errors import RefusedError
from marking.sections.plan import divide_into_sections
from tests.projector.browsers import millrace


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    return millrace(tmp_path_factory.mktemp("throw"))


def with_keys(work, **keys):
    return work.job.projector.model_copy(update=keys)


def test_a_throw_ratio_of_two_lights_a_picture_half_as_wide_as_the_lens_is_high(work):
    # Throw ratio = throw distance / image width: the definition used throughout the trade, as
    # in ANSI/INFOCOMM 3M and SMPTE literature (from memory).
    thrown = throw(with_keys(work, throw_ratio=2.0, distance=3000.0))
    width, height = np.ptp(thrown.corners_beam, axis=0)
    assert width == pytest.approx(1500)
    assert height == pytest.approx(1500 * 1080 / 1920)
    assert thrown.pixel == pytest.approx((1500 / 1920, 1500 / 1920))


def test_lumens_over_square_metres_are_lux(work):
    # 1 lx = 1 lm/m2 (SI Brochure, 9th ed., table 4).
    thrown = throw(with_keys(work, throw_ratio=2.0, distance=3000.0, lumens=1000.0))
    assert thrown.lux[0] == pytest.approx(1000 / thrown.area)
    assert thrown.area == pytest.approx(1.5 * 1.5 * 1080 / 1920)


def test_a_measured_picture_overrules_the_throw_ratio(work):
    projector = with_keys(work, picture_width=1000.0, distance=2000.0)
    assert throw_ratio(projector) == 2.0
    assert np.ptp(throw(projector).corners_beam[:, 0]) == pytest.approx(1000)


def test_a_whole_offset_puts_the_lens_level_with_the_picture_s_edge_half_a_height_beyond(work):
    thrown = throw(with_keys(work, offset=0.5))
    assert thrown.corners_beam[:, 1].min() == pytest.approx(0)


def test_keystone_of_a_tilted_projector_is_that_of_its_edge_rays(work):
    # Plane trigonometry: at tilt t and half angle a the two sides lie at distances in the
    # ratio cos(t - a) / cos(t + a), and so are their widths.
    projector = with_keys(work, tilt=15.0, throw_ratio=1.5)
    half = np.arctan(1080 / 1920 / 1.5 / 2)
    tilt = np.radians(15)
    assert throw(projector).keystone == pytest.approx(np.cos(tilt - half) / np.cos(tilt + half))


def test_a_tilt_past_the_horizon_is_refused(work):
    with pytest.raises(RefusedError, match="never comes down on the table"):
        nominal(with_keys(work, tilt=45.0, throw_ratio=0.3))


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_the_usable_rectangle_lies_in_the_footprint_by_shapely(work, turn):
    thrown = throw(with_keys(work, tilt=18.0, offset=0.2, turn=turn))
    footprint = Polygon(thrown.corners_beam)
    usable = box(*thrown.usable)
    assert footprint.buffer(1e-6).contains(usable)
    assert usable.area > 0.5 * footprint.area


def test_the_largest_upright_rectangle_of_a_trapezium_is_the_textbook_one():
    # A triangle's largest inscribed rectangle has half its height and half its area (a standard
    # exercise of the calculus); a trapezium that is nearly a triangle comes near it.
    corners = np.array([[-1e-6, 100.0], [1e-6, 100.0], [50.0, 0.0], [-50.0, 0.0]])
    x0, y0, x1, y1 = largest_upright(corners)
    assert (x1 - x0) * (y1 - y0) == pytest.approx(2500, rel=1e-3)
    assert y1 == pytest.approx(50, abs=1)


def test_every_section_lies_within_footprint_and_arm_s_reach(work):
    projector = with_keys(work, tilt=20.0, distance=1100.0)
    arm = work.job.reach.depth
    plan = divide_into_sections(work.layout, work.job, beam_zone(work.job.reach, projector))
    width = work.layout.top.inscribed[3]
    assert plan.rows > 2
    for section in plan.sections:
        x0, y0, x1, y1 = section.window
        lens = lens_over(projector, arm, section.window)
        footprint = Polygon(throw(projector).corners_beam + lens)
        assert footprint.contains(box(x0, y0, x1, y1))
        assert y1 <= arm + 1e-6 or y0 >= width - arm - 1e-6
        for piece in section.pieces:
            low, high = piece.stroke.points.min(axis=0), piece.stroke.points.max(axis=0)
            assert (low >= (x0, y0)).all()
            assert (high <= (x1, y1)).all()
        assert section.order == 1 or len(section.locating_marks) >= 2


def test_the_beam_s_sections_and_the_strip_nobody_reaches_hold_all_ink_once(work):
    projector = with_keys(work, tilt=20.0, distance=1100.0)
    plan = divide_into_sections(work.layout, work.job, beam_zone(work.job.reach, projector))
    inked = sum(
        p.stroke.length for s in plan.sections for p in s.pieces if p.stroke.layer != "witness"
    )
    left = sum(p.stroke.length for part in plan.unreached for p in part.pieces)
    ticks = [p for part in plan.unreached for p in part.pieces if p.stroke.layer == "witness"]
    assert not ticks
    assert inked + left == pytest.approx(sum(s.length for s in work.layout.strokes))
    assert "Do not climb" in " ".join(plan.warnings)


def test_light_on_a_raised_spot_falls_off_by_its_ray_s_lean(work):
    projector = with_keys(work, throw_ratio=1.0, distance=1000.0, pixels=(2000, 2000))
    corner = np.hypot(500, 500)
    assert raised_by(projector, 10.0) == pytest.approx(10 * corner / 990)


def test_the_picture_s_middle_is_below_a_lens_that_looks_straight_down(work):
    mapping = nominal(with_keys(work), (1000.0, 500.0))
    assert apply(mapping.matrix, np.array([[1000.0, 500.0]]))[0] == pytest.approx((960, 540))
    assert mapping.to_px(np.array([[1000.0, 501.0]]))[0, 1] < 540


def test_a_figure_that_is_one_all_over_the_picture_is_told_once(work):
    told = list(plan_lines(work.job, work.layout))
    assert next(line for line in told if "A pixel is" in line).startswith("- A pixel is 0.76 mm;")
    tilted = work.job.model_copy(update={"projector": with_keys(work, tilt=12.0)})
    told = list(plan_lines(tilted, work.layout))
    assert re.search(r"A pixel is 0\.\d\d to \d\.\d\d mm;", "\n".join(told))
