"""Sections driven at a fence: the ends of a clamping are read, what lies between needs no mark."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from devices.inking.section import ink_section
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.person import Person
from devices.session.session import Workplace
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.begun.on_the_cover import keep_tape_marks, setup_from
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.allowed import Allowed
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.choice import MarksChoice, Task, work
from tests.inking.askew import Stood

JOB = """schema = 1
[table]
length = "40 in"
width = "10 in"
[hems]
depth = "3 in"
[plotter]
profile = "flatbed-a3"
[fence]
length = "4 ft"
"""


@dataclass(frozen=True)
class Willing(Person):
    """Somebody who does as told and says yes."""

    attended: bool = True
    heard: tuple[list[str], ...] = ()

    def say(self, line: str) -> None:
        self.heard[0].append(line)

    def agrees(self, question: str) -> bool:
        self.heard[0].append(question)
        return True


@pytest.fixture
def bench(tmp_path):
    Path(tmp_path, "job.toml").write_text(JOB, "utf-8")
    job = load_job(tmp_path, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    task = Task(layout, plan, Tape(), "in", Allowed(3.0, 3.0), fence=job.fence)
    done = work(task, MarksChoice(at_nodes="ends"))
    with open_record(tmp_path) as record:
        keep_tape_marks(record, layout, plan, done.control, done.fences)
        said: list[str] = []
        person = Willing(heard=(said,))
        yield Workplace(job, layout, plan, record, person), done, said


def driven(place, section, readings=()):
    place = replace(place, readings=readings)
    peer = simulated(place.job.plotter, bed_of(section, place.job.plotter), Cloth())
    port = OnboardPort(peer, 400)
    return ink_section(section, place, port, port.clock)


def test_a_section_between_the_ends_is_placed_by_fence_and_stop_and_inked(bench):
    place, done, said = bench
    first, between = place.plan.sections[:2]
    asked = dict(done.control.read)
    assert asked[between.id] == ()
    marks = [one.mark for one in done.control.marks if one.mark.id in asked[first.id]]
    outcome = driven(place, first, Stood(first, (0.3, 0.2)).reads(place.job, marks))
    assert outcome.ended == "done", said
    assert any("Fence 1, from r1c1 on: clamp it" in line for line in said)
    said.clear()
    outcome = driven(place, between)
    assert outcome.ended == "done", said
    assert any("push the device against the fence" in line for line in said)
    assert any("Is the device against fence 1 and its stop" in line for line in said)
    assert not any("clamp it" in line for line in said)
    kept = setup_from(place.record.placements(between.id)[-1])
    assert kept.readings == ()
    assert kept.against is not None
    assert kept.against.clamping == done.fences[between.id]
