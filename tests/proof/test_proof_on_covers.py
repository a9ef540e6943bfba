"""A verdict rests on what was measured after the ink: covers with known errors, taped and judged.

The covers and the tape are `covers`, which shares no code with the proof. The long score is
`tests/benchmarks/proof.py`.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.proof.distances import plan_proof
from marking.proof.distortion import distortion_of
from marking.proof.limits import Limit, within
from marking.proof.outcome import furthest
from marking.proof.sheet_words import sheet_lines, sheet_record
from marking.proof.verdict import prove
from marking.proof.verniers import steps_read, verniers_over
from marking.proof.words import proof_lines, proof_record, since, since_lines
from marking.sections.plan import divide_into_sections
from tests.proof.covers import cover_of, knocked, taped

SIXTEENTH = 25.4 / 16
LIMITS = within(SIXTEENTH)
TABLE = {"length": "150 in", "width": "64 in"}
LONG_BED = {
    "profile": "flatbed-24x36",
    "x_size": "154 in",
    "y_size": "34 in",
    "coordinate_limit": 8388607,
}
"""Two set-downs, one beside the other."""


def bench(millrace_layout, millrace, make_job, **plotter):
    job = make_job({"table": TABLE, "plotter": plotter})
    return divide_into_sections(millrace_layout, millrace, job.plotter.zone)


@pytest.fixture(scope="module")
def long_bed(millrace, millrace_layout, make_job):
    return bench(millrace_layout, millrace, make_job, **LONG_BED)


@pytest.fixture(scope="module")
def sheet(millrace_layout, long_bed):
    return plan_proof(millrace_layout, long_bed, Tape(), LIMITS, "in")


@pytest.fixture(scope="module")
def few(millrace_layout, millrace_plan):
    """The demo's A3 sections, many of which these do not touch."""
    return plan_proof(millrace_layout, millrace_plan, Tape(), LIMITS, "in", most=48)


def judged(plan, cover, noise=None, tape=None):
    rng = None if noise is None else np.random.default_rng(noise)
    return prove(plan, taped(cover, plan, rng), tape or Tape(), LIMITS)


def test_a_section_where_no_measured_distance_ends_never_passes(
    few, millrace_layout, millrace_plan
):
    verdict = judged(few, cover_of(millrace_layout, millrace_plan))
    assert verdict.outcome == "cannot tell"
    assert verdict.untold
    rng = np.random.default_rng(16)
    for name in rng.choice(verdict.untold, 2, replace=False):
        for slip in (2.0, 3.0, 5.0, 8.0):
            moved = {str(name): (slip, 0.0, 0.0)}
            slipped = judged(few, cover_of(millrace_layout, millrace_plan, poses=moved))
            assert slipped.outcome == "cannot tell"
            assert name in slipped.untold
            assert name in proof_record(slipped)["untold"]
    said = "\n".join(proof_lines(verdict, "in"))
    assert f"Resting on nothing: {verdict.untold[0]}" in said


def test_a_quarter_of_the_sheet_cannot_pass_and_says_what_is_missing(few, sheet):
    for plan in (few, sheet):
        true = {one.id: one.nominal for one in plan.distances[:12]}
        verdict = prove(plan, true, Tape(), LIMITS)
        assert verdict.outcome == "cannot tell"
        left = len(plan.distances) - 12
        assert len(verdict.missing) == len(proof_record(verdict)["missing"]) == left
        said = "\n".join(proof_lines(verdict, "in"))
        assert f"Not measured: {left} of the sheet's {len(plan.distances)} measurements" in said


def test_three_sections_3_mm_off_never_pass(few, millrace_layout, millrace_plan):
    names = [section.id for section in millrace_plan.sections]
    rng = np.random.default_rng(33)
    for _ in range(6):
        poses = knocked(rng, names, 0.0, 3, 3.0)
        verdict = judged(few, cover_of(millrace_layout, millrace_plan, poses=poses))
        assert verdict.outcome != "pass"


@pytest.mark.parametrize("error", ["stretch", "lean", "width"])
def test_a_line_too_far_is_told_in_full_from_the_zero_line_and_the_near_line(
    sheet, millrace_layout, long_bed, error
):
    x = millrace_layout.grid.cross_x
    ys = [line.y for line in millrace_layout.grid.long_lines]
    errors = {
        "stretch": {"stretch": (2.8 / (x[-1] - x[0]), 0.0)},
        "width": {"stretch": (0.0, 2.8 / (ys[-1] - ys[0]))},
        "lean": {"lean": 2.8},
    }[error]
    verdict = judged(sheet, cover_of(millrace_layout, long_bed, **errors))
    assert verdict.worst_line.estimate.value == pytest.approx(2.8, abs=0.1)
    assert verdict.worst_line.axis == ("across" if error == "width" else "along")


def test_verdict_and_figures_never_disagree(sheet, millrace_layout, long_bed):
    rng = np.random.default_rng(14)
    names = [section.id for section in long_bed.sections]
    seen = set()
    for _ in range(60):
        cover = cover_of(
            millrace_layout,
            long_bed,
            poses=knocked(rng, names, rng.choice([0.0, 0.2, 1.0])),
            stretch=tuple(rng.normal(0, rng.choice([0, 0.0002, 0.0006]), 2)),
            lean=rng.normal(0, rng.choice([0, 0.5, 2])),
        )
        verdict = judged(sheet, cover, int(rng.integers(1 << 30)))
        said = "\n".join(proof_lines(verdict, "in"))
        seen.add(verdict.outcome)
        if verdict.outcome == "measure again":
            continue
        found = []
        for name in ("Total, from zero", "Square over the width", "Straight, long lines"):
            line = re.search(rf"^{name}: .*$", said, re.MULTILINE)[0]
            most = float(re.search(r"nowhere more than ([\d.]+) mm off", line)[1])
            least = re.search(r"somewhere at least ([\d.]+) mm", line)
            least = float(least[1]) if least else 0.0
            found.append("fail" if least > SIXTEENTH else "pass" if most <= SIXTEENTH else "")
        figures = "fail" if "fail" in found else "cannot tell" if "" in found else "pass"
        assert figures == verdict.outcome, said
        for limit in proof_record(verdict)["limits"].values():
            assert limit["at_least"] <= abs(limit["mm"]) <= limit["at_most"] + 1e-9
    assert {"pass", "fail", "cannot tell"} <= seen


def test_ruled_lines_are_named_as_not_judged_on_the_sheet_and_whatever_the_verdict(make_job):
    job = make_job(
        {
            "table": TABLE,
            "inking": {"cross_lines": "ruled"},
            "plotter": {
                "profile": "flatbed-24x36",
                "x_size": "154 in",
                "coordinate_limit": 8388607,
            },
        }
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    crossing = {s.id for s in layout.strokes if s.layer == "cross" and np.ptp(s.points[:, 1]) > 600}
    sheet = plan_proof(layout, plan, Tape(), LIMITS, "in")
    assert crossing
    assert set(sheet.model.apart) == crossing
    low, high = (f(y for s in plan.sections for y in (s.core[1], s.core[3])) for f in (min, max))
    gap = [y for s in plan.sections for y in (s.core[1], s.core[3]) if low < y < high]
    for distance in sheet.distances:
        assert not [end for end in distance.ends if min(gap) < end[1] < max(gap)]
    named = f"of {len(crossing)} lines. No distance shows it"
    assert named in "\n".join(sheet_lines(sheet, (), Tape(), "in", job.numerals))
    record = sheet_record(sheet, (), (), Tape(), "in")
    assert set(record["not_judged"]) == crossing
    assert named in "\n".join(record["says"])
    for stretch in (0.0, 0.01):
        verdict = judged(sheet, cover_of(layout, plan, stretch=(stretch, 0.0)))
        outcome, said, *_ = proof_lines(verdict, "in")
        assert verdict.outcome == ("fail" if stretch else "pass")
        assert outcome.startswith("FAIL:" if stretch else "PASS, for what the sections hold")
        assert named in said
        for line in proof_lines(verdict, "in"):
            assert ("nowhere more" in line) == ("by what the sections hold" in line)
        assert set(proof_record(verdict)["not_judged"]) == crossing


def test_the_limits_are_those_of_one_line_where_there_is_but_one():
    # Normal quantiles from any table: 1.645 one-sided.
    one = furthest(np.array([-2.0]), np.array([0.5]), 1.96)
    assert (one.at_least, one.at_most) == pytest.approx((2 - 0.98, 2 + 0.8224), abs=1e-3)
    assert [one.outcome(tolerance) for tolerance in (1.0, 2.0, 3.0)] == [
        "fail",
        "cannot tell",
        "pass",
    ]


def test_no_more_is_said_to_be_unmoved_than_the_sections_found_out_of_place_allow(
    millrace_layout, long_bed
):
    sheet = plan_proof(millrace_layout, long_bed, Tape(), LIMITS, "in", most=48)
    first = judged(sheet, cover_of(millrace_layout, long_bed), 1)
    slipped = cover_of(millrace_layout, long_bed, poses={"r2c1": (0.0, 2.8, 0.0)})
    later = judged(sheet, slipped, 2)
    said = "\n".join(since_lines(since(proof_record(first), later)))
    assert "The cloth has not moved" not in said
    assert "No section has moved" not in said
    assert re.search(r"a section by itself: r\dc1, \d\.\d+ \+/- \d\.\d+ mm across", said)


def test_one_slip_of_the_tape_fails_nobody_and_is_named(sheet, millrace_layout, long_bed):
    shown = taped(cover_of(millrace_layout, long_bed), sheet)
    for distance in sheet.distances:
        verdict = prove(sheet, {**shown, distance.id: shown[distance.id] + 8.0}, Tape(), LIMITS)
        assert verdict.outcome == "measure again"
        assert distance.id in verdict.again


def test_the_default_sheet_is_the_fewest_that_can_pass(sheet, millrace_layout, long_bed):
    count = len(sheet.distances)
    assert count == sheet.fewest
    fewer = plan_proof(millrace_layout, long_bed, Tape(), LIMITS, "in", most=count - 8)
    assert not fewer.could_pass()
    assert fewer.distances == sheet.distances[: count - 8]
    # As often as the sheet says, by covers and a tape that know nothing of the proof.
    true = cover_of(millrace_layout, long_bed)
    passed = [judged(sheet, true, seed).outcome == "pass" for seed in range(100)]
    chance = sheet.forecast.chance
    assert np.mean(passed) == pytest.approx(chance, abs=3 * np.sqrt(chance * (1 - chance) / 100))


def test_a_grown_sheet_keeps_the_names_of_one_begun_with_another_tape(
    sheet, millrace_layout, long_bed
):
    finer = Tape("I", 25.4 / 64)
    grown = plan_proof(
        millrace_layout, long_bed, finer, LIMITS, "in", most=90, begun=sheet.distances
    )
    assert grown.distances[: len(sheet.distances)] == sheet.distances


def test_where_no_number_is_enough_it_is_said_why_and_what_would_do(millrace_layout, long_bed):
    coarse = Tape(division=25.4 / 8)
    none = plan_proof(millrace_layout, long_bed, coarse, LIMITS, "in")
    assert none.fewest is None
    assert not none.could_pass()
    assert none.hindrance.by_reading > none.hindrance.by_tape
    assert none.hindrance.wider > 1
    wider = plan_proof(
        millrace_layout, long_bed, coarse, within(1.1 * none.hindrance.wider * SIXTEENTH), "in"
    )
    assert wider.fewest is not None
    short = plan_proof(millrace_layout, long_bed, Tape(), within(SIXTEENTH / 2.2), "in")
    assert any(one.finer for one in short.hindrance.remedies)


def test_false_verdicts_are_as_rare_as_they_are_said_to_be(sheet, millrace_layout, long_bed):
    rng = np.random.default_rng(95)
    names = [section.id for section in long_bed.sections]
    passed, told, gross = [], [], []
    for _ in range(60):
        poses = knocked(rng, names, 0.2, int(rng.integers(0, 2)), float(rng.uniform(2, 4)))
        stretch = (float(rng.normal(0, 0.0005)), float(rng.normal(0, 0.0005)))
        cover = cover_of(
            millrace_layout, long_bed, poses=poses, stretch=stretch, lean=float(rng.normal(0, 1.5))
        )
        verdict = judged(sheet, cover, int(rng.integers(1 << 30)))
        true = cover.figures()
        told += [
            one.limits.at_least <= true[one.limit.name] + 1e-3
            and true[one.limit.name] <= one.limits.at_most + 1e-3
            for one in verdict.limits
        ]
        worst = max(true[one.limit.name] for one in verdict.limits if one.limit.asked)
        if worst > SIXTEENTH:
            passed.append(verdict.outcome == "pass")
        if worst > 2 * SIXTEENTH:
            gross.append(verdict.outcome == "pass")
    assert len(gross) > 15
    assert not any(gross)
    assert np.mean(passed) <= 0.05
    assert np.mean(told) >= 0.93
    true = cover_of(millrace_layout, long_bed)
    assert not any(judged(sheet, true, seed).outcome == "fail" for seed in range(100, 160))


TRADE = (
    Limit("total", 25.4 / 8),
    Limit("square", SIXTEENTH, over=54 * 25.4),
    Limit("neighbours", 25.4 / 32),
    Limit("step", 1.0),
    Limit("straight", 25.4 / 8),
)


@pytest.fixture(scope="module")
def read_at_joins(millrace_layout, millrace_plan):
    model = distortion_of(millrace_layout, millrace_plan)
    steps = steps_read(model, verniers_over(millrace_plan, model, 0.5))
    return plan_proof(millrace_layout, millrace_plan, Tape(), TRADE, "in", steps=steps)


def test_where_steps_are_read_at_the_joins_ten_distances_prove_70_sections(read_at_joins):
    assert len(read_at_joins.distances) == 10
    assert len({patch for step in read_at_joins.steps for patch in step.patches}) == 70


def test_what_no_tape_tells_at_a_join_passes_nobody_and_verniers_are_named(
    millrace_layout, millrace_plan
):
    sheet = plan_proof(millrace_layout, millrace_plan, Tape(), TRADE, "in", most=60)
    assert sheet.by_vernier == ("neighbours", "step")
    assert not sheet.could_pass()
    true = {one.id: one.nominal for one in sheet.distances}
    verdict = prove(sheet, true, Tape(), TRADE)
    assert verdict.outcome == "cannot tell"
    said = "\n".join(proof_lines(verdict, "in"))
    assert "Neighbours within 1/32 in cannot be told by tape" in said


def test_the_limits_told_hold_of_covers_read_at_their_joins(
    read_at_joins, millrace_layout, millrace_plan
):
    rng = np.random.default_rng(70)
    names = [section.id for section in millrace_plan.sections]
    told, wrong, good = [], 0, []
    for _ in range(12):
        scatter = float(rng.choice([0.05, 0.1, 0.3]))
        poses = knocked(rng, names, scatter, int(rng.integers(0, 2)), float(rng.uniform(1, 3)))
        stretch = tuple(rng.normal(0, 0.0003, 2))
        cover = cover_of(millrace_layout, millrace_plan, poses=poses, stretch=stretch)
        shown = taped(cover, read_at_joins, rng)
        verdict = prove(read_at_joins, shown, Tape(), TRADE)
        true = cover.figures(over=54 * 25.4)
        told += [
            one.limits.at_least <= true[one.limit.name] <= one.limits.at_most
            for one in verdict.limits
        ]
        kept = all(true[one.limit.name] <= one.limit.allowed for one in verdict.limits)
        wrong += verdict.outcome == "pass" and not kept
        good += [verdict.outcome == "pass"] if scatter < 0.1 and kept else []
    assert np.mean(told) >= 0.93
    assert wrong == 0
    assert any(good)


def test_one_slip_at_a_vernier_is_named_or_changes_nothing_and_fails_nobody(
    read_at_joins, millrace_layout, millrace_plan
):
    shown = taped(cover_of(millrace_layout, millrace_plan), read_at_joins)
    rng = np.random.default_rng(9)
    named = []
    for step in rng.choice(np.array(read_at_joins.steps, dtype=object), 8, replace=False):
        verdict = prove(read_at_joins, {**shown, step.id: 1.0}, Tape(), TRADE)
        assert verdict.outcome in ("measure again", "pass")
        if verdict.outcome == "measure again":
            named.append(verdict.again[0] == step.id)
        else:
            # What it hides is counted: no figure is told that the slip would break.
            assert max(one.limits.at_most for one in verdict.limits) < TRADE[0].allowed
    assert len(named) >= 5
    assert all(named)


def test_long_lines_that_all_bow_alike_do_not_pass(sheet, millrace_layout, long_bed):
    shown = taped(cover_of(millrace_layout, long_bed), sheet)
    x0, _, x1, _ = sheet.model.rect
    for one in sheet.distances:
        if one.thread is not None and one.thread_axis == 1:
            share = (one.ends[0][0] - x0) / (x1 - x0)
            shown[one.id] = 4 * share * (1 - share) * 5.0
    verdict = prove(sheet, shown, Tape(), LIMITS)
    assert verdict.outcome != "pass"
    assert {one.limit.name: one.outcome for one in verdict.limits}["straight"] == "fail"


def test_a_section_whose_joins_lie_on_whole_pitches_is_told_as_well_as_any(make_job):
    # Two inches off one another and rows of 8 in: every level lies on a join.
    job = make_job(
        {
            "table": {"length": "213 cm", "width": "91 cm"},
            "grid": {"pitch": "2 in"},
            "plotter": {"profile": "flatbed-a3"},
        }
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    sheet = plan_proof(layout, plan, Tape(), LIMITS, "in")
    joins = {y for section in plan.sections for y in (section.core[1], section.core[3])}
    assert any(abs((y - layout.grid.long_lines[0].y) % 50.8) < 1e-6 for y in joins)
    assert sheet.worst_sd < 0.8
    assert sheet.untold == ()
    for distance in sheet.distances:
        assert min(abs(y - join) for _, y in distance.ends for join in joins) > 1.0
