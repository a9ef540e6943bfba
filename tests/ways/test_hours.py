"""What a way asks of a person: every act counted, one person's hours and two people's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from marking.job.keys import tape_of
from marking.layout.layout import lay_out
from marking.network.allowed_errors import Allowed
from marking.ways.acts import Act, hours, least_hours
from marking.ways.by_hand import hand_ways
from marking.ways.ink_counted import cover_of
from marking.ways.tape_scale import tape_scale_most
from marking.ways.way import ExpectedErrors, Way, best_of, ranked

if TYPE_CHECKING:
    from devices.job import Job
    from marking.layout.layout import Layout
    from tests.conftest import MakeJob

TINY = """
table = { length = "12 in", width = "10 in" }
hems = { depth = "2 in", folds = [] }
"""


def by_hand(job: Job, layout: Layout) -> dict[str, Way]:
    most = tape_scale_most_of(job)
    return {way.id: way for way in hand_ways(cover_of(layout), job.pace, most, "letter")}


def tape_scale_most_of(job: Job) -> float:
    return tape_scale_most(tape_of(job.tape))


def test_a_tiny_cover_by_hand_takes_what_adding_up_says(make_job: MakeJob) -> None:
    """Cross lines at 1 to 11 in from the zero end, long lines at 1 and 2 in from either edge."""
    job = make_job(TINY)
    way = by_hand(job, lay_out(job))["hand"]
    crosses, longs, numerals = 11, 4, 22
    by_hand_s = (
        2400  # base line and square
        + 2 * crosses * 8  # a tick at both ends of each cross line
        + crosses * 80  # ruled alone
        + longs * 180
        + numerals * 10
    )
    proof = 10 * 120
    alone = hours(way.acts, first_time=10_800, people=1)
    assert alone.clock[0] == pytest.approx((by_hand_s + proof) / 3600)
    assert alone.person[0] == pytest.approx((by_hand_s + 2 * proof) / 3600)
    assert alone.person[1] == pytest.approx(1.25 * alone.person[0] + 3)
    two = hours(way.acts, first_time=10_800, people=2)
    # Ticks and numerals from both edges at once, lines with a helper in 40 s, the rest as alone.
    clock = 2400 + 2 * crosses * 8 / 2 + crosses * 40 + longs * 180 + numerals * 10 / 2 + proof
    assert two.clock[0] == pytest.approx(clock / 3600)
    assert two.person[0] == pytest.approx(alone.person[0])
    assert (way.rulings, way.expected and way.expected.marks) == (crosses + longs, 22)


def test_the_hand_takes_six_to_seven_hours_for_the_demo_bench(
    millrace: Job, millrace_layout: Layout
) -> None:
    """Common practice, no source: 40 min for base line and square, 40 for ticks, 3.3 h for cross
    lines in two reaches, 55 min for long lines, 50 for numerals; the proof is not in it."""
    way = by_hand(millrace, millrace_layout)["hand"]
    minutes = {act.what: act.total / 60 for act in way.acts}
    proof = minutes.pop("proof")
    assert proof == pytest.approx(40)
    assert list(minutes.values()) == pytest.approx([40, 40, 198, 55, 50], abs=2)
    assert 6 <= sum(minutes.values()) / 60 <= 7


def test_who_helps_is_counted_for_that_time_only() -> None:
    acts = (Act("alone", 1, 3600), Act("set down", 2, 600, hands=2))
    alone = least_hours(acts, 0)
    assert (alone.person[0], alone.clock[0], alone.people) == pytest.approx((5 / 3, 4 / 3, 1))


def test_a_helper_who_saves_more_than_a_helpers_time_is_taken() -> None:
    least = least_hours((Act("ruled", 10, 90, helped_seconds=30),), 0)
    assert least.people == 2
    assert least.person[0] == pytest.approx(600 / 3600)


def told(step: float) -> ExpectedErrors:
    return ExpectedErrors(0.5, 0.5, 0.5, 0.5, step)


def a_way(name: str, hours_of_it: float, step: float = 0.5) -> Way:
    return Way(name, "", "hand", (Act("all", 1, hours_of_it * 3600),), told(step))


def test_what_holds_comes_first_and_then_the_fewest_person_hours() -> None:
    ways = (
        a_way("quick but rough", 1, step=1.2),
        a_way("slow", 6),
        a_way("quick", 4),
        Way("too small", "", "small", (), None, cannot="cannot be done: too small"),
        a_way("weeks", 40),
    )
    found = ranked(ways, Allowed(1.6), 0)
    assert [one.way.id for one in found] == [
        *("quick", "slow", "weeks", "quick but rough", "too small")
    ]
    assert [one.holds for one in found] == [True, True, True, False, False]
    best = best_of(found)
    assert best is not None
    assert best.way.id == "quick"
    why = {one.way.id: one.why for one in found}
    assert why["quick"] == "the fewest person-hours of all that hold within two days of work"
    assert why["slow"].startswith("2.0 person-hours more than the best")
    assert why["weeks"].startswith("don't: over two days of work (40.0 h")
    assert why["quick but rough"] == "step 1.20 mm, 1.00 allowed"
    assert why["too small"] == "cannot be done: too small"


def test_a_way_of_fewer_person_hours_that_takes_over_two_days_is_no_best_and_says_how_many() -> (
    None
):
    """One person for 17 hours is fewer person-hours than two for 10."""
    by_two = Way("two", "", "hand", (Act("all", 1, 10 * 3600, hands=2),), told(0.5))
    found = ranked((a_way("weeks", 17), by_two), Allowed(1.6), 0)
    best = best_of(found)
    assert best is not None
    assert best.way.id == "two"
    assert "3.0 person-hours fewer than the best" in found[0].why


def test_nothing_is_best_where_all_that_holds_takes_over_two_days() -> None:
    assert best_of(ranked((a_way("weeks", 17),), Allowed(1.6), 0)) is None
    assert best_of(ranked((a_way("two days", 15.9),), Allowed(1.6), 0)) is not None
