"""What the record says stands is the whole network of all readings, only carried more lightly."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from marking.begun.on_the_cover import OnTheCover, keep_tape_marks, standing
from marking.measures.tape import Tape
from marking.network.adjustment import adjust
from marking.network.allowed_errors import Allowed
from marking.network.datum import EXACT
from marking.network.misfits import ink
from marking.network.network import Reading, Setup, known
from marking.network.pose import as_planned
from marking.placement.placement import network_for, place
from marking.record.record import open_record
from marking.sections.neighbours import butts, window_middle
from marking.tape_marks.marks import set_out, tape_datum
from marking.tape_marks.visible import sights

if TYPE_CHECKING:
    from pathlib import Path

    from marking.layout.layout import Layout
    from marking.sections.plan import Plan

INKED = 12
LIMITS = Allowed(25.4 / 16)


@pytest.fixture(scope="module")
def stands(millrace_layout: Layout, millrace_plan: Plan) -> OnTheCover:
    rng = np.random.default_rng(8)
    control = set_out(millrace_layout, 76.2, Tape(), "in")
    seen = sights(millrace_plan, millrace_layout.grid, [mark.mark for mark in control.marks])
    setups = []
    for section in millrace_plan.sections[:INKED]:
        readings = []
        for mark in seen.seen[section.id]:
            x, y = seen.targets[mark].mark.at_table + 0.25 * rng.standard_normal(2)
            readings.append(Reading(mark, (float(x), float(y)), 0.25))
        setups.append(Setup(section.id, as_planned(window_middle(section)), tuple(readings)))
    return OnTheCover(control, seen, tuple(setups), ())


def test_marks_let_go_leave_the_next_placement_as_it_was(
    stands: OnTheCover, millrace_plan: Plan
) -> None:
    section = millrace_plan.sections[INKED]
    readings = [
        Reading(mark, stands.sights.targets[mark].mark.at_table, 0.25)
        for mark in stands.sights.seen[section.id]
    ]
    whole = known(stands.sights.targets.values())
    for setup in stands.setups:
        whole = ink(whole, setup)
    joints = butts(millrace_plan.sections)
    light = network_for(section, tuple(stands.sights.targets.values()), stands.setups, joints)
    assert light.covariance.shape[0] < 0.7 * whole.covariance.shape[0]
    one, two = (place(state, section, readings, joints, LIMITS) for state in (whole, light))
    assert two.pose.shift == pytest.approx(one.pose.shift, abs=1e-9)
    assert two.covariance == pytest.approx(one.covariance, abs=1e-12)
    assert (two.inking.error, two.inking.step) == pytest.approx(
        (one.inking.error, one.inking.step), abs=1e-9
    )


def test_all_readings_adjusted_at_once_say_the_same_of_the_ink(
    stands: OnTheCover, millrace_plan: Plan
) -> None:
    at_once = adjust(stands.sights.targets.values(), stands.setups).network
    section, joints = millrace_plan.sections[INKED], butts(millrace_plan.sections)
    light = network_for(section, tuple(stands.sights.targets.values()), stands.setups, joints)
    beside = [setup for setup in stands.setups if setup.section in light.places]
    assert beside
    for setup in beside:
        one, two = at_once.places[setup.section], light.places[setup.section]
        assert light.mean[two] == pytest.approx(at_once.mean[one], abs=1e-8)


def test_what_all_marks_share_is_in_the_error_that_place_tells(
    stands: OnTheCover, millrace_plan: Plan
) -> None:
    joints, targets = butts(millrace_plan.sections), stands.sights.targets
    # At the corner of far end and far edge the tape alone is off by 0.37 mm, one in three times.
    for section, least in ((millrace_plan.sections[0], 0.0), (millrace_plan.sections[-1], 0.8)):
        marks = [m for m in stands.sights.seen[section.id] if not targets[m].inked_by]
        readings = [Reading(m, targets[m].mark.at_table, 0.25) for m in marks]
        exact, told = (
            place(near, section, readings, joints, LIMITS)
            for near in (
                network_for(section, tuple(targets.values()), (), joints, datum)
                for datum in (EXACT, stands.datum)
            )
        )
        assert told.inking.error**2 - exact.inking.error**2 > least**2
        assert told.pose.shift == pytest.approx(exact.pose.shift)


def test_the_record_gives_back_each_marks_own_error_and_what_all_share(
    tmp_path: Path, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    tape = Tape("I", temperature=27.0)
    control = set_out(millrace_layout, 152.4, tape, "in", heights=[500.0])
    with open_record(tmp_path) as record:
        keep_tape_marks(record, millrace_layout, millrace_plan, control)
        found = standing(record, millrace_layout, millrace_plan, "in")
    for mark in control.marks:
        assert found.sights.targets[mark.mark.id].sd == pytest.approx(mark.sd)
    assert found.datum == tape_datum(control)
    assert found.datum.scale_sd == pytest.approx(np.hypot(0.05e-3, 2 * 11.6e-6))
