"""The forecast against Cramér and Rao's bound, simulated inking and the limits it is asked for."""

from functools import cache
from typing import get_args

import numpy as np
import pytest
from msgspec.structs import replace

from marking.errors import BadInputError, RefusedError
from marking.measures.tape import Tape
from marking.network.allowed_errors import Allowed
from marking.network.confidence import radius_95
from marking.network.error_model import NO_ERRORS
from marking.output.tape_marks_words import forecast_lines
from marking.sections.neighbours import butts, outermost_ink
from marking.tape_marks.choice import TRIED, MarksChoice, Task, remedies, widest, work, written
from marking.tape_marks.forecast import forecast
from marking.tape_marks.imagined_covers import WorkOnCovers, imagined
from marking.tape_marks.readings_asked import Ties
from marking.tape_marks.visible import sights
from tests.placement.inking import (
    READING_SD,
    coverage,
    cramer_rao,
    ink_many,
    ink_once,
    millrace,
    naive_chain,
)
from tests.tape_marks.patterns import ORDERS, SettingOut, inking_order, tape_marks

A3 = "flatbed-a3"
LARGE = "flatbed-24x36"
LIMITS = {A3: Allowed(25.4 / 16, 1.0), LARGE: Allowed(25.4 / 32, 0.6)}
RUNS = 200


@cache
def bench(profile):
    return millrace(profile)


@cache
def seen(profile, spacing=152.4, ends=True, rows=0, order="near to far"):
    layout, plan = bench(profile)
    marks = tape_marks(plan, layout.grid, SettingOut(spacing, ends, rows))
    return sights(plan, layout.grid, marks, inking_order(plan, order))


def expected(profile, *arguments, repeats=1):
    _, plan = bench(profile)
    return forecast(plan, seen(profile, *arguments), READING_SD, LIMITS[profile], repeats)


@cache
def covers(profile):
    _, plan = bench(profile)
    sections = {section.id: section for section in plan.sections}
    return imagined(WorkOnCovers(sections, seen(profile), READING_SD, butts(plan.sections)))


def worst_sd(profile, *arguments):
    return max(section.sd for section in expected(profile, *arguments).sections)


@cache
def told(profile):
    return ink_many(bench(profile)[1], seen(profile), RUNS, seed=1)


def test_the_forecast_is_cramer_and_raos_bound():
    # The bound is assembled in tests/inking.py from Fisher's information alone.
    for profile in (A3, LARGE):
        _, plan = bench(profile)
        bounds = cramer_rao(plan, seen(profile))
        for section in expected(profile).sections:
            traces = np.trace(bounds[section.section], axis1=1, axis2=2)
            assert section.sd <= np.sqrt(traces.max()) * (1 + 1e-9)
            assert section.sd >= np.sqrt(traces.max()) * 0.95


def test_simulated_inking_errs_no_more_than_the_bound_allows():
    for profile in (A3, LARGE):
        _, plan = bench(profile)
        runs = told(profile)
        bounds = cramer_rao(plan, seen(profile))
        ratios = np.concatenate(
            [
                np.sqrt(
                    (runs.errors(name) ** 2).sum(axis=2).mean(axis=0)
                    / np.trace(bounds[name], axis1=1, axis2=2)
                )
                for name in bounds
            ]
        )
        # A root mean square of 200 errors in the plane strays by 5% at most at one standard
        # deviation; the benchmark holds 2,000 runs to 1.05.
        assert ratios.max() < 1.2
        assert 0.97 < np.sqrt((ratios**2).mean()) < 1.03


@pytest.mark.parametrize("profile", [A3, LARGE])
def test_regions_of_95_percent_hold_the_truth_in_about_95_of_100_inkings(profile):
    for shares in coverage(told(profile)).values():
        # Binomial: 200 runs stray by 1.5%; the mean over sections by less.
        assert shares.min() > 0.95 - 0.065
        assert 0.935 < shares.mean() < 0.965


def test_the_joint_forecast_is_what_simulated_covers_show():
    for profile in (A3, LARGE):
        said = expected(profile)
        runs = told(profile)
        assert np.mean(runs.worst_line() <= said.worst_line) == pytest.approx(0.95, abs=0.05)
        assert np.mean(runs.worst_step() <= said.worst_step) == pytest.approx(0.95, abs=0.05)
        # The correlation of neighbours: a step is forecast as simulation finds it.
        # Two thousand covers of either tell so small a covariance to an eighth.
        many = ink_many(bench(profile)[1], seen(profile), 2000, seed=1)
        drawn = np.cov(np.concatenate([many.ink[s.section] for s in said.sections][:2]))
        ink = covers(profile).ink
        told_so = np.cov(np.concatenate([ink[s.section] for s in said.sections][:2]))
        assert drawn[0, 3] == pytest.approx(told_so[0, 3], rel=0.35)


def test_placing_every_section_for_real_errs_as_forecast():
    _, plan = bench(LARGE)
    said = {section.section: section for section in expected(LARGE).sections}
    within = []
    for seed in range(20):
        for section, placed, true in ink_once(plan, seen(LARGE), LIMITS[LARGE], seed):
            points = outermost_ink(section)
            laid = true.after(placed.pose.inverse)
            worst = np.abs(points - said[section.id].at_table).sum(axis=1).argmin()
            error = np.linalg.norm(laid(points)[worst] - points[worst])
            within.append(error <= said[section.id].error)
    # 300 placements that share errors within a cover: 95% strays by 2%.
    assert 0.90 < np.mean(within) < 0.99


def test_the_figures_of_the_issue_are_of_the_size_foretold():
    # One standard deviation at the worst point as the issue gives them, a sanity check and no
    # truth: marks every 6 in along both edges and both end lines 0.64 mm, every 3 in 0.50 mm;
    # with the 24 by 36 in bed 0.45 and 0.31 mm.
    for profile, spacing, quoted in (
        (A3, 152.4, 0.64),
        (A3, 76.2, 0.50),
        (LARGE, 152.4, 0.45),
        (LARGE, 76.2, 0.31),
    ):
        assert worst_sd(profile, spacing) == pytest.approx(quoted, rel=0.25)
    edges_only = worst_sd(A3, 152.4, False)
    assert edges_only > 1.3 * worst_sd(A3, 152.4, True)


def test_the_error_map_is_worst_where_the_forecast_says():
    _, plan = bench(LARGE)
    for section, said in zip(plan.sections, expected(LARGE).sections, strict=True):
        inked = [p.stroke.points for p in section.pieces if p.stroke.layer != "witness"]
        everywhere = radius_95(covers(LARGE).covariance(section.id, np.concatenate(inked)))
        assert everywhere.max() == pytest.approx(said.error, rel=0.01)


def test_a_chain_without_control_drifts_many_times_as_far():
    _, plan = bench(A3)
    row = [section for section in plan.sections if section.row == 1]
    far_end = naive_chain(plan, row, 2000, seed=3)
    rms = float(np.sqrt((far_end**2).mean()))
    assert rms > 8 * worst_sd(A3)


def test_more_marks_and_more_readings_never_make_it_worse():
    sparse = expected(A3)
    for other in (expected(A3, 76.2), expected(A3, 152.4, True, 2), expected(A3, repeats=2)):
        for before, after in zip(sparse.sections, other.sections, strict=True):
            assert after.error <= before.error * 1.02


@pytest.mark.parametrize("profile", [A3, LARGE])
@pytest.mark.parametrize("order", ORDERS)
def test_every_order_inks_all_sections_with_marks_that_lie_by_then(profile, order):
    _, plan = bench(profile)
    there = seen(profile, 152.4, True, 0, order)
    assert sorted(there.order) == sorted(section.id for section in plan.sections)
    inked = set()
    windows = {section.id: section.window for section in plan.sections}
    for name in there.order:
        x0, y0, x1, y1 = windows[name]
        assert len(there.seen[name]) >= 2
        for mark in there.seen[name]:
            target = there.targets[mark]
            assert target.inked_by is None or target.inked_by in inked
            assert x0 <= target.mark.at_table[0] <= x1
            assert y0 <= target.mark.at_table[1] <= y1
        inked.add(name)
    assert expected(profile, 152.4, True, 0, order).worst_line > 0


def test_in_the_plans_order_the_geometry_finds_what_the_plan_laid():
    from marking.tape_marks.visible import _in_order

    layout, plan = bench(LARGE)
    found = _in_order(plan.sections, layout.grid, plan.zone.set_down, {})
    for section in plan.sections[1:]:
        assert len(found[section.id]) >= len(section.locating_marks) - 1


def test_a_section_that_sees_too_little_is_named():
    layout, plan = bench(A3)
    with pytest.raises(RefusedError, match="section r1c1 sees no marks"):
        forecast(plan, sights(plan, layout.grid, ()), READING_SD, LIMITS[A3])
    with pytest.raises(BadInputError, match="every section"):
        sights(plan, layout.grid, (), ["r1c1"])


def test_joins_are_those_that_lines_cross():
    _, plan = bench(LARGE)
    joints = butts(plan.sections)
    along, across = plan.columns, plan.rows
    assert len(joints) <= along * (across - 1) + across * (along - 1)
    # Cross lines cross every join between rows; long lines only those of the outer rows here.
    rows = {s.id: s.row for s in plan.sections}
    between = [b for b in joints if rows[b.sections[0]] != rows[b.sections[1]]]
    assert len(between) == along * (across - 1)


def task(profile, tape=None, limits=None):
    layout, plan = bench(profile)
    return Task(layout, plan, tape or Tape(), "in", limits or LIMITS[profile])


def test_the_widest_spacing_that_holds_does_so_in_an_inking_of_its_own():
    _, plan = bench(LARGE)
    # A tape whose scale is known, and nothing else that errs: simulated marks err by themselves
    # and share nothing here.
    alone = replace(task(LARGE, Tape(scale_sd=1e-9)), errors=NO_ERRORS)
    chosen = widest(alone, 1, 1, lambda way: None)
    assert chosen.forecast.holds
    there = sights(plan, bench(LARGE)[0].grid, [m.mark for m in chosen.tape_marks.marks])
    runs = ink_many(plan, there, 500, seed=9)
    limits = LIMITS[LARGE]
    assert np.quantile(runs.worst_line(), 0.95) <= limits.tolerance
    assert np.quantile(runs.worst_step(), 0.95) <= limits.step


def test_remedies_are_computed_each_and_the_cheapest_that_holds_comes_first():
    now = MarksChoice(152.4)
    hard = task(LARGE, limits=Allowed(25.4 / 20, 0.7))
    assert not work(hard, now).forecast.holds
    found = remedies(hard, now)
    assert found[0].forecast.holds
    holding = [remedy.minutes for remedy in found if remedy.forecast.holds]
    assert holding == sorted(holding)
    assert len(holding) < len(found)
    assert now not in [remedy.way for remedy in found]
    for remedy in found[:3]:
        alone = work(hard, remedy.way)
        assert alone.forecast == remedy.forecast
        assert len(alone.tape_marks.marks) == len(remedy.tape_marks.marks)


def test_remedies_are_few_and_of_every_amount_of_work_where_nothing_holds():
    """Each takes seconds on a whole bench, so they are counted here and not timed."""
    none = task(LARGE, limits=Allowed(0.3, 0.2))
    found = remedies(none, MarksChoice(304.8))
    assert len(found) == TRIED
    assert not any(remedy.forecast.holds for remedy in found)
    assert [f.worst for f in found] == sorted(f.worst for f in found)
    ways = [remedy.way for remedy in found]
    assert {way.ties for way in ways if way.spacing is None} == set(get_args(Ties)) - {
        "beside and few below"
    }  # which is for sections at a fence
    assert {way.repeats for way in ways} == {1, 2}
    assert {304.8, 76.2} < {way.spacing for way in ways}
    assert MarksChoice(76.2, 1, 2) in ways, "the most work that may be asked for"


@pytest.mark.parametrize("name", ["square", "neighbours"])
def test_a_limit_that_is_not_kept_is_named_whichever_it_is(name):
    wide = Allowed(10.0, 10.0)
    chosen = work(task(LARGE, limits=wide), MarksChoice(304.8))
    assert chosen.forecast.holds
    tight = replace(wide, **{name: 1e-3})
    broken = work(task(LARGE, limits=tight), MarksChoice(304.8))
    assert broken.forecast.broken == (name,)
    assert broken.worst == pytest.approx(getattr(broken.forecast.figures, name) / 1e-3)
    figure = f"{getattr(broken.forecast.figures, name):.2f} mm (0.00 mm is allowed)"
    *_, said, verdict = forecast_lines(broken, "in")
    assert figure in said
    assert verdict == "  DOES NOT HOLD"
    assert len(list(forecast_lines(chosen, "in"))) == len(list(forecast_lines(broken, "in"))) - 1


def test_a_spacing_is_named_so_that_typing_it_asks_for_the_same():
    assert written(76.2, "in") == "3 in"
    assert written(75.0, "mm") == "75 mm"
    assert written(100.0, "in") == "100 mm"
    assert written(25.4 / 3, "in") == "8.467 mm"


def test_control_marks_stand_on_cross_lines_and_have_one_id_each():
    layout, plan = bench(A3)
    marks = tape_marks(plan, layout.grid, SettingOut(152.4, True, 1))
    assert len({mark.id for mark in marks}) == len({mark.at_table for mark in marks}) == len(marks)
    xs = {mark.at_table[0] for mark in marks}
    assert xs <= set(layout.grid.cross_x.tolist())
    assert {float(layout.grid.cross_x[0]), float(layout.grid.cross_x[-1])} <= xs
