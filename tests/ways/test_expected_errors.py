"""What each way is expected to hold, held against closed forms."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import stats

from devices.machine_zones import divided
from marking.ruling.errors import LAID
from marking.tape_marks.figures import figures
from marking.tape_marks.imagined_covers import InkedCovers
from marking.ways.hand_errors import HandDoubts, by_tape

if TYPE_CHECKING:
    from devices.job import Job
    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

LINES = np.arange(148) * 25.4 + 25.4
NEAR = 0.03
"""How close 2000 imagined covers come to a 95 % figure, as a ratio."""


def largest_of(count: int, sd: float) -> float:
    """What the largest of `count` normal errors keeps within 95 times in 100 (scipy's normal)."""
    return float(sd * stats.norm.ppf((1 + 0.95 ** (1 / count)) / 2))


def largest_apart(count: int, most: float) -> float:
    """What the largest of `count` differences of two even errors keeps within 95 times in 100.

    Their difference is spread as a triangle (scipy's), from twice the bound to twice the bound.
    """
    triangle = stats.triang(0.5, loc=-2 * most, scale=4 * most)
    return float(triangle.ppf((1 + 0.95 ** (1 / count)) / 2))


def test_a_rule_laid_anew_slips_as_the_normal_law_says() -> None:
    held = by_tape(LINES, 1575.0, HandDoubts(0.0, 0.0, laid=0.0, slip=0.2, lean=0.0))
    assert held.step == pytest.approx(largest_of(148, 0.2), rel=NEAR)
    assert (held.total, held.square, held.neighbours) == (0, 0, 0)


def test_a_tape_that_is_off_evenly_within_its_limit_shifts_the_last_line_most() -> None:
    held = by_tape(LINES, 1575.0, HandDoubts(2e-4, 0.0, laid=0.0, slip=0.0, lean=0.0))
    assert held.total == pytest.approx(0.95 * 2e-4 * (LINES[-1] - LINES[0]), rel=NEAR)


@pytest.fixture(scope="module")
def ruled(millrace: Job, millrace_layout: Layout) -> Plan:
    inking = millrace.inking.model_copy(update={"cross_lines": "ruled"})
    return divided("plotter", millrace_layout, millrace.model_copy(update={"inking": inking}), None)


def drawn_true(plan: Plan) -> InkedCovers:
    """Covers on which the device itself draws without any error."""
    return InkedCovers(
        {section.id: section.window for section in plan.sections},
        {section.id: np.zeros((3, 2000)) for section in plan.sections},
        {section.id: np.zeros((3, 3)) for section in plan.sections},
        cloth=0.0,
    )


def test_between_stubs_that_are_true_only_the_rule_errs(ruled: Plan) -> None:
    """Both ends of a ruled line err by themselves: scipy's triangle says what the largest of 148
    leans and of 147 gaps at either end is. A line is ruled over less than 54 in."""
    each = figures(ruled, drawn_true(ruled))
    held = {name: float(np.quantile(values, 0.95)) for name, values in each.items()}
    assert len(ruled.ruled) == 148
    assert held["step"] == pytest.approx(0.95 ** (1 / 296) * LAID, rel=NEAR)
    # Ends and stubs together: a lean of the rule, or its end against the stub.
    assert held["square"] == pytest.approx(largest_apart(148, LAID), rel=2 * NEAR)
    assert held["neighbours"] == pytest.approx(largest_apart(294, LAID), rel=2 * NEAR)


def test_a_device_that_inks_lines_whole_leaves_nothing_to_the_rule(millrace_plan: Plan) -> None:
    each = figures(millrace_plan, drawn_true(millrace_plan))
    assert all(np.max(values) == 0 for values in each.values())
