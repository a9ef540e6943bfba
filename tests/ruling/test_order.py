"""The order in which lines are ruled: every line once, and nothing laid on wet ink."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest

from devices.machine_zones import divided
from marking.hand.plan import by_hand
from marking.layout.layout import lay_out
from marking.ruling.order import HAND_ROOM, RULE_WIDTH, LineRuled, WhoRules, ruling_order
from marking.ruling.reaches import out_of_reach, reaches
from tests.conftest import MILLRACE
from tests.hand.benches import BENCHES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan
    from tests.conftest import MakeJob

RULED = '\n[inking]\ncross_lines = "ruled"\n'
SLANTED = 'schema = 1\n[table]\nlength = "150 in"\nwidth = "64 in"\n[grid]\nbias = [3, 12]\n'
MANNERS = [WhoRules(hand, two) for hand in ("right", "left") for two in (False, True)]


def planned(make_job: MakeJob, text: str) -> tuple[Job, Layout, Plan]:
    job = make_job(text)
    layout = lay_out(job)
    return job, layout, divided("plotter", layout, job, None)


def laid_on_wet(
    steps: Sequence[LineRuled], drying: float, manner: WhoRules
) -> list[tuple[str, str]]:
    """Pairs of a line and a wet one under its rule or hand, each place along both asked for.

    A simulation of its own: for each line laid, all lines ruled before it that are not dry yet,
    at heights along the table a quarter of an inch apart.
    """
    left, right = (RULE_WIDTH, HAND_ROOM) if manner.hand == "right" else (HAND_ROOM, RULE_WIDTH)
    found = []
    for now, before in itertools.product(steps, steps):
        if not before.ends <= now.begins < before.ends + drying - 1e-6:
            continue
        (ax, ay), (bx, by) = now.line.points.tolist()
        (cx, cy), (dx, dy) = before.line.points.tolist()
        y = max(ay, cy)
        while y <= min(by, dy):
            here = ax + (bx - ax) * (y - ay) / (by - ay)
            wet = cx + (dx - cx) * (y - cy) / (dy - cy)
            if -left <= wet - here <= right:
                found.append((now.line.of, before.line.of))
                break
            y += 6.35
    return found


@pytest.mark.parametrize("manner", MANNERS)
@pytest.mark.parametrize("drying", ["20 s", "2 min", "15 min"])
@pytest.mark.parametrize("pace", ["20 s", "80 s"])
def test_no_rule_and_no_hand_comes_on_a_line_that_is_not_dry(
    make_job: MakeJob, manner: WhoRules, drying: str, pace: str
) -> None:
    text = SLANTED + RULED + f'drying = "{drying}"\n[pace]\nline_ruled = "{pace}"\n'
    job, _, plan = planned(make_job, text)
    steps = ruling_order(plan.ruled, job, manner)
    assert sorted(step.line.id for step in steps) == sorted(line.id for line in plan.ruled)
    for before, after in itertools.pairwise(steps):
        assert after.begins == pytest.approx(before.ends + after.waits)
    assert laid_on_wet(steps, job.inking.drying, manner) == []
    assert [step.line.of for step in steps[-2:]] in (["bias-3", "bias-12"], ["bias-12", "bias-3"])


def test_ruled_one_after_another_they_would_be_laid_on_wet_ink(make_job: MakeJob) -> None:
    """The simulation finds what the order avoids."""
    job, _, plan = planned(make_job, MILLRACE + RULED)
    one_by_one = [
        LineRuled(line, 80.0 * n, 80.0 * (n + 1), 0.0, new_tip=False)
        for n, line in enumerate(plan.ruled)
    ]
    assert len(laid_on_wet(one_by_one, job.inking.drying, WhoRules())) > 100


def test_twelve_lines_that_lie_together_are_ruled_before_the_next_twelve(
    make_job: MakeJob,
) -> None:
    job, _, plan = planned(make_job, MILLRACE + RULED)
    steps = ruling_order(plan.ruled, job, WhoRules())
    numbers = [int(step.line.of.removeprefix("cross-")) for step in steps]
    for first in range(0, 148, 12):
        assert sorted(numbers[first : first + 12]) == list(range(first, min(first + 12, 148)))
    left = [step.line.of for step in ruling_order(plan.ruled, job, WhoRules("left"))]
    assert left[0] == "cross-147", "the left hand begins at the other end"
    waiting = sum(step.waits for step in steps)
    assert waiting < 0.03 * steps[-1].ends, "order and not waiting keeps the rule off wet lines"


def test_where_lines_stand_a_centimetre_apart_the_walk_is_longer_and_nobody_waits_for_hours(
    make_job: MakeJob,
) -> None:
    """Twelve such lines lie under one rule and one hand; 3.4 h of waiting came of it."""
    job = make_job(BENCHES["metric"])
    layout = lay_out(job)
    for manner in MANNERS:
        steps = by_hand(layout, job, manner).steps
        assert laid_on_wet(steps, job.inking.drying, manner) == []
        assert sum(step.waits for step in steps) < 0.03 * steps[-1].ends


@pytest.mark.parametrize("by_two", [False, True])
def test_the_tip_is_changed_before_more_line_than_it_lasts(make_job: MakeJob, by_two: bool) -> None:
    """Two markers share each line, so that the tips of both last for twice as many."""
    job, _, plan = planned(make_job, MILLRACE + RULED + '[pace]\ntip = "30 m"\n')
    run = 0.0
    changes = 0
    for step in ruling_order(plan.ruled, job, WhoRules(by_two=by_two)):
        share = (2 if step.line.heavy else 1) / (2 if by_two else 1)
        run = run * (not step.new_tip) + step.line.stroke.length * share
        changes += step.new_tip
        assert run <= 30_000
    total = sum(line.stroke.length * (2 if line.heavy else 1) for line in plan.ruled)
    tips = total / 30_000 / (2 if by_two else 1)
    assert tips - 1 <= changes <= tips + 1


def test_a_line_is_ruled_whole_from_two_edges_or_from_one_that_reaches_it(
    make_job: MakeJob,
) -> None:
    job, layout, plan = planned(make_job, MILLRACE + RULED)
    near, far = reaches(plan.ruled[0], layout, job.reach)
    assert (near.edge, far.edge) == ("near", "far")
    assert (near.start, far.start) == tuple(plan.ruled[0].points[:, 1])
    assert near.end == far.end
    assert out_of_reach(layout, job.reach) == pytest.approx(layout.top.inscribed[3] / 2)
    assert max(near.end, layout.top.inscribed[3] - far.end) == out_of_reach(layout, job.reach)
    deep, layout, plan = planned(make_job, MILLRACE + RULED + '[reach]\ndepth = "60 in"\n')
    (only,) = reaches(plan.ruled[0], layout, deep.reach)
    assert (only.start, only.end) == tuple(plan.ruled[0].points[:, 1])
    assert out_of_reach(layout, deep.reach) is None


def test_what_is_ruled_already_leaves_the_groups_of_the_sheet_as_they_are(
    make_job: MakeJob,
) -> None:
    job, _, plan = planned(make_job, MILLRACE + RULED)
    done = {line.id for line in plan.ruled[:5]} | {plan.ruled[14].id}
    steps = ruling_order(plan.ruled, job, WhoRules(), done)
    left = [line.id for line in plan.ruled if line.id not in done]
    assert sorted(step.line.id for step in steps) == sorted(left)
    assert {step.line.of for step in steps[:7]} == {f"cross-{n}" for n in range(5, 12)}
    assert laid_on_wet(steps, job.inking.drying, WhoRules()) == []
