"""Sections inked on the little of the network that they have to do with: as on the whole of it."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from marking.job.work_keys import FenceTable
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.error_model import ErrorModel
from marking.network.fence import Against
from marking.network.network import Reading, Setup, known
from marking.network.part_of_network import used
from marking.network.pose import as_planned
from marking.network.section_after_section import STRETCH, walk
from marking.network.worth_of_readings import gain, with_inked
from marking.sections.neighbours import window_middle
from marking.sections.plan import divide_into_sections
from marking.tape_marks.clampings import clampings
from marking.tape_marks.marks import row_joins, set_out, tape_datum
from marking.tape_marks.visible import sights

RUNS = 5


@pytest.mark.parametrize("rail", [None, "3 ft"])
def test_each_section_of_a_long_table_is_as_sure_as_the_whole_network_says(make_job, rail):
    """Held against the same readings in a network that leaves nothing out, ever."""
    job = make_job(
        {"table": {"length": "150 in", "width": "40 in"}, "plotter": {"profile": "flatbed-a3"}}
    )
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    control = set_out(layout, 300.0, Tape(), "in", heights=row_joins(plan))
    marks = [mark.mark for mark in control.marks]
    seen = sights(plan, layout.grid, marks)
    clamped = {} if rail is None else clampings(plan, FenceTable(length=rail), marks)
    sections = {section.id: section for section in plan.sections}
    middles = {name: window_middle(section) for name, section in sections.items()}
    empty = known(seen.targets.values(), tape_datum(control), ErrorModel(pointer=0.1))
    uses = [(seen.seen[name], clamped.get(name)) for name in seen.order]
    blocks = [
        each | {name} for name, each in zip(seen.order, used(empty, uses, middles), strict=True)
    ]
    rng = np.random.default_rng(1)
    whole = replace(empty, mean=np.zeros((0, RUNS)))
    walked = walk(whole, blocks)
    assert len(seen.order) > 3 * STRETCH
    for name in seen.order:
        read = seen.seen[name]
        readings = tuple(Reading(m, seen.targets[m].mark.at_table, 0.25) for m in read)
        clamping = clamped.get(name)
        against = None if clamping is None else Against(clamping, sections[name].window)
        setup = Setup(name, as_planned(middles[name]), readings)
        gained = gain(whole, readings, middles[name], "rigid", against)
        misfits = rng.standard_normal((len(gained.covariance), RUNS))
        whole = with_inked(gained, setup, misfits)
        near = gain(walked.network, readings, middles[name], "rigid", against)
        walked = walked.inked(near, setup, misfits)
        assert_the_same(walked.network, whole)
        walked = walked.onward()
        assert len(walked.network.mean) < len(whole.mean) / 2 or len(whole.setups) < 2 * STRETCH


def assert_the_same(near, whole):
    """All of what is left is as the whole has it, each figure beside its standard deviation."""
    index = np.concatenate([np.r_[whole.places[place]] for place in near.places])
    here = np.concatenate([np.r_[near.places[place]] for place in near.places])
    sd = np.sqrt(np.diag(whole.by_tape)[index])
    for found, wanted in (
        (near.mean[here] / sd[:, None], whole.mean[index] / sd[:, None]),
        (near.common[here] / sd[:, None], whole.common[index] / sd[:, None]),
        (
            near.by_tape[np.ix_(here, here)] / np.outer(sd, sd),
            whole.by_tape[np.ix_(index, index)] / np.outer(sd, sd),
        ),
    ):
        np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-8)
