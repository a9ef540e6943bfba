"""Sections driven at a fence: the ends of a clamping are read, what lies between needs no mark."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from msgspec.structs import replace

from devices.commands import main
from devices.inking.section import ink_section
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.person import Person
from devices.session.session import Workplace
from devices.setting_down.slip_words import slip_report
from devices.setting_down.where_it_stands import from_readings
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.begun.on_the_cover import keep_tape_marks, setup_from
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.allowed_errors import Allowed
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.choice import MarksChoice, Task, work
from tests.inking.askew import Silent, Stood
from tests.job.command_cases import REFUSED

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


class Willing(Person, frozen=True):
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
        keep_tape_marks(record, layout, plan, done.tape_marks, done.fences)
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
    first, marks = first_marks(place, done)
    between = place.plan.sections[1]
    assert dict(done.tape_marks.read)[between.id] == ()
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


def first_marks(place, done):
    """The first section, and the marks that it is asked to read."""
    first = place.plan.sections[0]
    asked = dict(done.tape_marks.read)[first.id]
    return first, [one.mark for one in done.tape_marks.marks if one.mark.id in asked]


def test_no_fence_tells_whether_the_device_of_a_section_begun_was_moved(bench, capsys):
    place, done, _ = bench
    first, marks = first_marks(place, done)
    strokes = place.record.strokes

    def enough():
        return sum(one.event == "drawn" for one in strokes(first.id)) >= 6

    stopped = replace(place, person=Silent(said=[], enough=enough))
    assert driven(stopped, first, Stood(first).reads(place.job, marks)).ended == "stopped"
    folder = place.record.path.parent
    assert main(["place", "--job", str(folder), "--at-fence", first.id]) == REFUSED
    assert "no reading tells whether its device was moved" in capsys.readouterr().err


def test_a_fence_that_tells_no_place_shows_no_slip_either(bench):
    """As after a machine lost its place: its frame lies against the rail, its pen anywhere."""
    place, done, _ = bench
    first, marks = first_marks(place, done)
    at = place.plan, place.layout, place.job, place.record, place.correction
    readings = Stood(first).reads(place.job, marks)
    named = []
    for at_fence in (True, False):
        stance = from_readings(first, readings, *at, at_fence=at_fence)
        setup = stance.placed.inking.setup
        assert (setup.against is not None) == at_fence
        named.append(slip_report(stance.ground, first, setup.readings, []).slips.worst)
    assert len(marks) == 2
    assert math.isfinite(named[0])
    assert named[1] == math.inf
