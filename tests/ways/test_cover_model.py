"""The simulator of whole covers: what each error alone does to the figures, and does not."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from tests.ways import figures
from tests.ways.adjustment import Adjustment
from tests.ways.cover_model import (
    INCH,
    NO_ERRORS,
    Clamping,
    Cover,
    Errors,
    Mark,
    Plan,
    Reading,
    Section,
    marked,
    onto_bed,
    onto_table,
    truth,
)

SIDE = 300.0


def _sections(rows: int = 2, columns: int = 3, fence: bool = False) -> list[Section]:
    def span(i: int) -> tuple[float, float]:
        return i * SIDE, (i + 1) * SIDE

    out = []
    for r in range(rows):
        for c in range(columns):
            (x0, x1), (y0, y1) = span(c), span(r)
            window = (x0 - 20, y0 - 20, x1 + 20, y1 + 20)
            name = f"r{r + 1}c{c + 1}"
            out.append(Section(name, r + 1, c + 1, (x0, y0, x1, y1), window, r if fence else None))
    return out


def _plan(fence: bool = False, ruled: bool = False, rows: int = 2) -> Plan:
    """Six sections of 300 mm with a mark at every corner and one reading across each join."""
    sections = _sections(rows, fence=fence)
    if ruled:
        moved = [s for s in sections if s.row == 2]
        apart = [replace(s, core=_up(s.core, 700), window=_up(s.window, 700)) for s in moved]
        sections = [s for s in sections if s.row == 1] + apart
    top = max(s.core[3] for s in sections)
    heights = sorted({s.core[1] for s in sections} | {top})
    marks = [Mark((x, y), j) for j, y in enumerate(heights) for x in np.arange(4) * SIDE]
    where = {(s.row, s.column): k for k, s in enumerate(sections)}
    readings = []
    for k, s in enumerate(sections):
        x0, y0, x1, y1 = s.core
        readings += [
            Reading(k, mark=i)
            for i, m in enumerate(marks)
            if m.at[0] in (x0, x1) and m.at[1] in (y0, y1)
        ]
        if s.column > 1:
            readings.append(Reading(k, of=where[s.row, s.column - 1], at=(x0 - 2, y0 + 100)))
    clampings = [Clamping(-20, 3 * SIDE + 20), Clamping(-20, 3 * SIDE + 20, (4, 7))]
    cross = INCH * np.arange(1, 35)
    long = np.concatenate([INCH * np.arange(1, 5), top - INCH * np.arange(4, 0, -1)])
    return Plan(sections, marks, readings, clampings if fence else (), 3 * SIDE, cross, long, ruled)


def _up(box: tuple[float, float, float, float], by: float) -> tuple[float, float, float, float]:
    return box[0], box[1] + by, box[2], box[3] + by


def _figures(
    plan: Plan, errors: Errors, assumed: Errors | None = None, covers: int = 60, rounds: int = 4
) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(7)
    placement = Adjustment(plan, assumed or errors, rounds)
    cover = marked(plan, errors, covers, rng, placement, figures.points(plan))
    return figures.figures(cover, errors, rng)


HAND = replace(NO_ERRORS, set_down=2.0, set_down_turn=5e-3)


def test_a_cover_without_errors_has_no_figures_however_the_device_is_set_down() -> None:
    for plan in (_plan(), _plan(fence=True), _plan(ruled=True)):
        for name, values in _figures(plan, HAND, Errors()).items():
            assert values.max() < 1e-4, name


def test_where_a_device_is_set_down_by_hand_does_not_matter() -> None:
    plan = _plan()
    near = _figures(plan, replace(Errors(), set_down=0.01, set_down_turn=1e-5))
    far = _figures(plan, replace(Errors(), set_down=5.0, set_down_turn=0.01))
    for name in figures.NAMES:
        np.testing.assert_allclose(near[name], far[name], atol=0.02, err_msg=name)


MOVES = {
    "reading": {"total", "square", "neighbours", "step"},
    "cloth": {"total", "square", "neighbours", "step"},
    "mark": {"total", "square"},
    "lean": {"line", "square"},
    "row_zero": {"line", "square"},
    "row_ends": {"line"},
    "tape_most": {"line", "total"},
}


@pytest.mark.parametrize("name", sorted(MOVES))
def test_each_error_alone_moves_the_figures_that_it_should(name: str) -> None:
    """Placed as if every error were there, so that the one is not explained away."""
    out = _figures(_plan(), replace(HAND, **{name: getattr(Errors(), name)}), Errors())
    for figure in MOVES[name]:
        assert np.median(out[figure]) > 0.02, figure


def test_a_tape_that_is_too_long_stretches_the_cover_by_as_much() -> None:
    """Over the 33 in between the first and the last cross line; the plotter's scale is unknown,
    or its own doubt of 0.03 % would tell the tape's error, which is larger here."""
    plan = _plan()
    errors = replace(HAND, temperature=1e-3)
    out = _figures(plan, errors, replace(Errors(), temperature=1e-3, scale=0.1))
    real = truth(plan, errors, 60, np.random.default_rng(7)).marks
    stretch = (real[:, 3, 0] - real[:, 0, 0]) / (3 * SIDE) - 1
    np.testing.assert_allclose(out["total"], abs(stretch) * 33 * INCH, rtol=0.05)


def test_a_plotter_known_better_than_the_tape_keeps_the_tapes_error_out() -> None:
    plan = _plan()
    errors = replace(HAND, temperature=1e-3)
    loose = _figures(plan, errors, replace(Errors(), temperature=1e-3, scale=0.1))
    known = _figures(plan, errors, replace(Errors(), temperature=1e-3, scale=1e-4))
    assert (known["total"] < 0.5 * loose["total"]).all()


def test_scale_left_in_the_plotter_is_found_by_marks_at_the_corners() -> None:
    out = _figures(_plan(), replace(HAND, scale=3e-4), replace(NO_ERRORS, scale=3e-4, reading=0.01))
    assert out["total"].max() < 0.005


def test_the_pointers_offset_shifts_everything_alike_where_only_tape_marks_are_read() -> None:
    plan = _plan()
    plan = replace(plan, readings=[r for r in plan.readings if r.mark is not None])
    out = _figures(plan, replace(HAND, pointer=0.2), replace(Errors(), pointer=0.0))
    assert out["line"].max() > 0.2
    for name in ("total", "neighbours", "step", "square"):
        assert out[name].max() < 0.02, name


def test_the_pointers_offset_adds_up_from_ink_to_ink_unless_it_is_allowed_for() -> None:
    """Each section reads its neighbour's ink with it, and inks with none."""
    plan, errors = _plan(), replace(HAND, pointer=0.2)
    unknown = _figures(plan, errors, replace(Errors(), pointer=0.0))
    estimated = _figures(plan, errors, replace(Errors(), pointer=0.2))
    assert np.median(unknown["neighbours"]) > 0.02
    assert np.mean(estimated["neighbours"]) < 0.9 * np.mean(unknown["neighbours"])


def test_ruling_moves_ruled_lines_only() -> None:
    plan = _plan(ruled=True)
    out = _figures(plan, replace(HAND, ruled=0.25), Errors())
    assert np.median(out["step"]) > 0.4
    assert np.median(out["neighbours"]) > 0.5
    bounded = _figures(plan, replace(HAND, ruled=0.25, ruled_most=0.3), Errors())
    assert bounded["step"].max() <= 0.3 + 1e-6
    assert bounded["neighbours"].max() <= 0.6 + 1e-6


@pytest.mark.parametrize("name", ["stops", "contact", "bow", "rail_along", "rail_ends"])
def test_each_error_of_a_fence_moves_ink_that_nothing_is_read_for(name: str) -> None:
    plan = replace(_plan(fence=True), readings=())
    out = _figures(plan, replace(NO_ERRORS, **{name: getattr(Errors(), name)}), Errors())
    assert np.median(out["line"]) > 0.05
    still = _figures(plan, NO_ERRORS, Errors())
    assert still["line"].max() < 1e-6


def _moved(cover: Cover, by: np.ndarray, turn: float) -> Cover:
    """The whole marking shifted and turned on the table, to first order."""
    return Cover(
        cover.plan,
        [(p, d + by + turn * np.stack([-p[:, 1], p[:, 0]], axis=-1)) for p, d in cover.displaced],
    )


def test_a_shift_and_a_turn_of_the_whole_marking_change_no_limit() -> None:
    plan, rng = _plan(), np.random.default_rng(3)
    cover = marked(plan, Errors(), 20, rng, Adjustment(plan, Errors()), figures.points(plan))
    before = figures.figures(cover, Errors(), rng)
    after = figures.figures(_moved(cover, np.array([1.0, -2.0]), 1e-3), Errors(), rng)
    for name in ("total", "square", "square_width", "neighbours", "step", "gap"):
        np.testing.assert_allclose(before[name], after[name], atol=1e-9, err_msg=name)
    assert (after["line"] > before["line"]).all()


def test_each_figure_is_what_its_words_say_on_a_cover_made_by_hand() -> None:
    """Line 5 lies 1 mm off in the second row only, the first long line 0.4 in one section."""
    plan = _plan()
    displaced = []
    for k, points in enumerate(figures.points(plan)):
        off = np.zeros((1, len(points), 2))
        section = plan.sections[k]
        cross, heights, _, _ = figures._pieces(plan, k)
        on_line = np.isclose(points[:, 0], plan.cross_x[5])
        on_line &= np.arange(len(points)) < len(cross) * len(heights)
        if section.row == 2:
            off[0, on_line, 0] = 1.0
        if section.id == "r1c3":
            off[0, np.isclose(points[:, 1], plan.long_y[0]), 1] = 0.4
        displaced.append((points, off))
    out = figures.figures(Cover(plan, displaced), NO_ERRORS, np.random.default_rng(0))
    assert out["line"][0] == pytest.approx(1.0)
    assert out["total"][0] == pytest.approx(1.0)
    assert out["neighbours"][0] == pytest.approx(1.0)
    assert out["step"][0] == pytest.approx(1.0)
    assert out["gap"][0] == pytest.approx(1.0)
    assert 0.9 < out["square"][0] < 1.5


def test_bed_and_table_are_each_others_inverse() -> None:
    rng = np.random.default_rng(0)
    pose = rng.normal(0, [2, 2, 0.1, 1e-3, 1e-3, 1e-3], (50, 6))
    at = rng.normal(0, 200, (50, 2))
    centre = np.array([500.0, 300.0])
    np.testing.assert_allclose(onto_table(pose, centre, onto_bed(pose, centre, at)), at, atol=1e-9)


def test_no_tape_mark_is_further_off_than_the_class_allows() -> None:
    """Directive 2014/32/EU, annex X: class II, 0.3 + 0.2 mm for each metre begun."""
    plan = _plan()
    errors = replace(NO_ERRORS, tape_most=Errors().tape_most, graduation=Errors().graduation)
    marks = truth(plan, errors, 4000, np.random.default_rng(5)).marks
    nominal = np.array([m.at for m in plan.marks])
    allowed = 0.3 + 0.2 * np.ceil(nominal / 1000 - 1e-12)
    off = abs(marks - nominal)
    assert (off <= allowed).all()
    assert off[:, 3, 0].std() > 0.05
