"""What each way is expected to hold, held against closed forms and the independent cover model."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from marking.measures.tape import Tape
from marking.network.error_model import NO_ERRORS, ErrorModel
from marking.ways.hand_errors import HandDoubts, by_tape
from marking.ways.row_errors import Doubts, Row, rows_hold
from marking.ways.tape_scale import tape_scale_most
from tests.ways import plans

LINES = np.arange(148) * 25.4 + 25.4
NEAR = 0.03
"""How close 2000 imagined covers come to a 95 % figure, as a ratio."""


def largest_of(count: int, sd: float) -> float:
    """What the largest of `count` normal errors keeps within 95 times in 100 (scipy's normal)."""
    return float(sd * stats.norm.ppf((1 + 0.95 ** (1 / count)) / 2))


def columns(count: int) -> tuple[tuple[float, float], ...]:
    joins = np.linspace(LINES[0] - 12.7, LINES[-1] + 12.7, count + 1)
    return tuple((a, b) for a, b in pairwise(joins.tolist()))


def test_a_rule_laid_anew_slips_as_the_normal_law_says() -> None:
    held = by_tape(LINES, 1575.0, HandDoubts(0.0, 0.0, 0.0, slip=0.2, lean=0.0))
    assert held.step == pytest.approx(largest_of(148, 0.2), rel=NEAR)
    assert (held.total, held.square, held.neighbours) == (0, 0, 0)


def test_a_tape_that_is_off_evenly_within_its_limit_shifts_the_last_line_most() -> None:
    held = by_tape(LINES, 1575.0, HandDoubts(2e-4, 0.0, 0.0, 0.0, 0.0))
    assert held.total == pytest.approx(0.95 * 2e-4 * (LINES[-1] - LINES[0]), rel=NEAR)


def test_stops_alone_part_lines_that_meet_at_a_join() -> None:
    doubts = Doubts(replace(NO_ERRORS, stops=0.1), 0.0, 0.0, lean=0.0)
    held = rows_hold((Row(0.0, 250.0, columns(2)),), LINES, doubts, 1, ruled=False)
    assert held.neighbours == pytest.approx(largest_of(1, 0.1 * 2**0.5), rel=NEAR)
    assert held.step == 0


def test_without_any_error_nothing_is_off_but_what_ruling_adds() -> None:
    doubts = Doubts(NO_ERRORS, 0.0, 0.0, lean=0.0)
    rows = Row(0.0, 250.0, columns(10)), Row(1400.0, 1650.0, columns(10))
    whole = rows_hold(rows, LINES, doubts, 0, ruled=False)
    assert max(whole.total, whole.square, whole.neighbours, whole.step) < 1e-9
    ruled = rows_hold(rows, LINES, doubts, 0, ruled=True)
    assert 0.35 < ruled.neighbours <= 0.4
    assert 0.19 < ruled.step <= 0.2


def test_bands_at_a_fence_hold_about_what_the_independent_model_says() -> None:
    """`tests.ways` imagines the same covers from another estimator and another cloth: the two may
    differ by what those choices make, a quarter of a millimetre here."""
    way = next(w for w in plans.ways() if w.name == "A3 bands, fence, ruled within 0.2")
    said, _ = plans.told(way.plan, way.errors, 200, follow=way.follow)
    doubts = Doubts(ErrorModel(), tape_scale_most(Tape()), 0.25)
    sections = way.plan.sections
    rows = []
    for number in sorted({section.row for section in sections}):
        own = [section.core for section in sections if section.row == number]
        rows.append(Row(own[0][1], own[0][3], tuple((core[0], core[2]) for core in own)))
    held = rows_hold(tuple(rows), LINES, doubts, 1, ruled=True)
    for name, figure in (
        ("along", held.total),
        ("square", held.square),
        ("neighbours", held.neighbours),
        ("step", held.step),
    ):
        assert figure == pytest.approx(said[name], abs=0.25), name
