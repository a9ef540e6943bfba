"""How far what reads stands from what inks: found by keys over crossings just inked, then counted.

The keyboard is a real pseudo-terminal, the plotter the simulated one; its pointer stands beside its
pen, so that whoever brings it onto a mark has sent the pen half a millimetre past it.
"""

from __future__ import annotations

import os
import pty
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest
from msgspec import field
from msgspec.structs import replace

from devices.history import device_name
from devices.inking.section import ink_section
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.plotter.pointer import PointerCheck, pen_changed, pointer_check
from devices.session.person import Person
from devices.session.session import Workplace
from devices.setting_down.pointer_known import pointers_kept
from devices.setting_down.where_it_stands import marks_in_sight, standing_by
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.begun.on_the_cover import keep_tape_marks
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.network.adjustment import adjust
from marking.network.inked import ink_error
from marking.record.record import open_record
from marking.sections.neighbours import outermost_ink
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from tests.inking.askew import Silent, Stood, Table
from tests.session.terminal import ENTER, LEFT, UP

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.record.readings import MarkReading

JOB = """[table]
length = "13 in"
width = "8 in"
[hems]
depth = "2 in"
folds = []
[inking]
tried = "not asked"
[plotter]
profile = "flatbed-a4"
"""
OFFSET = np.array([0.4, -0.3])
"""mm in the device's axes: a mark read at p lies under the pen at p + this."""
OFF = float(np.hypot(*OFFSET))
NUDGES, THERE = "1" + LEFT * 4 + UP * 3, "x -0.4, y +0.3"


class AtTheKeys(Person, frozen=True):
    """Somebody who answers each question and brings the pointer over each crossing."""

    attended: bool = True
    master: int = -1
    answers: str = ENTER
    """To whether it is found now."""
    said: list[str] = field(default_factory=list)
    pens: int = 99
    """How many new pens are at hand."""

    def say(self, text: str) -> None:
        self.said.append(text)
        if "Put a new pen" in text:
            left = self.pens - sum("Put a new pen" in one for one in self.said)
            self._type("n" if left < 0 else ENTER)
        elif "Find it now?" in text:
            self._type(self.answers)
        elif "[Enter: yes" in text:
            self._type(ENTER)
        elif "bring the pen over it" in text:
            self._type(NUDGES)
        elif THERE in text:
            self._type(ENTER)

    def _type(self, keys: str) -> None:
        os.write(self.master, keys.encode())


@pytest.fixture
def keys(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The far end of the terminal that stands for the keyboard."""
    master, slave = pty.openpty()
    with os.fdopen(slave, "r") as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        yield master
    os.close(master)


@pytest.fixture
def table(tmp_path: Path) -> Iterator[Table]:
    (tmp_path / "job.toml").write_text(JOB, "utf-8")
    job = load_job(tmp_path, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    with open_record(tmp_path) as record:
        yield Table(job, Workplace(job, layout, plan, record, Silent()), plan, {})


def inked(
    table: Table,
    name: str,
    person: Person,
    readings: Sequence[MarkReading],
    stood: Stood,
    ended: str = "done",
) -> None:
    """Inks a section whose marks lie where they should, read by a pointer beside the pen."""
    beside = [
        replace(one, at_bed=(one.at_bed[0] - OFFSET[0], one.at_bed[1] - OFFSET[1]))
        for one in readings
    ]
    place = replace(table.place, person=person, readings=beside, ink_anyway="a trial")
    cloth, bed = Cloth(), bed_of(stood.section, table.job.plotter)
    peer = simulated(table.job.plotter, bed, cloth)
    port = OnboardPort(peer, 2000)
    assert ink_section(stood.section, place, port, port.clock).ended == ended
    peer.advance(port.clock() + 60)
    table.ink[name] = [stood.on_table(bed.table_of(np.array(line.path))) for line in cloth.ink]


@pytest.mark.parametrize("found", [True, False])
def test_a_section_meets_the_ink_that_it_reads_once_the_pointer_is_known(
    table: Table, keys: int, *, found: bool
) -> None:
    person = AtTheKeys(master=keys) if found else Silent()
    first, second = (Stood(one) for one in table.plan.sections)
    inked(table, "r1c1", person, (), first)
    kept = pointers_kept(table.place.record, table.job.plotter)
    if found:
        (check,) = kept
        # A nudge is 0.1 mm, and the pen stands on whole units of 0.025 mm.
        assert np.abs(np.array(check.offset) - OFFSET).max() < 0.03
        assert check.count == 4
        assert 0.05 <= check.doubt < 0.07
        assert any("counted from now on" in said for said in person.said)
    else:
        assert not kept
        assert any("nobody found how far" in said for said in person.said)
    stood = Stood(second.section, (0.7, -0.5), 0.06)
    read = stood.reads(table.job, second.section.locating_marks)
    inked(table, "r1c2", person, read, stood)
    # Without it all lines of the second lie off those of the first by as much: a step at the join.
    off = table.faults("r1c2")[1]
    assert off < 0.12 if found else abs(off - OFF) < 0.12
    assert len(pointers_kept(table.place.record, table.job.plotter)) == len(kept)


def test_what_was_placed_before_it_was_found_is_known_to_lie_off_by_it(
    table: Table, keys: int
) -> None:
    at = table.place
    work = at.plan, at.layout, at.job.units, at.record
    keep_tape_marks(at.record, at.layout, at.plan, set_out(at.layout, 50.8, Tape(), "in"))
    person = AtTheKeys(master=keys)
    for section, stands in zip(at.plan.sections, ((0.6, -0.4), (-0.5, 0.8)), strict=True):
        stood = Stood(section, stands, 0.05)
        read = stood.reads(at.job, marks_in_sight(section, *work))
        inked(table, section.id, person, read, stood)
    assert abs(table.faults("r1c1")[1] - OFF) < 0.12
    # What lies there already is met a part of the way: true to the table all the same.
    assert table.faults("r1c2")[1] < 0.45 * OFF
    stands, errors = standing_by(at.record, at.layout, at.plan, at.job)
    network = adjust(stands.sights.targets.values(), stands.laid, stands.datum, errors).network
    first = at.plan.sections[0]
    told, _ = ink_error(network, "r1c1", outermost_ink(first))
    to_bed = bed_of(first, at.job.plotter).to_bed
    # The pen was sent where the pointer read: its ink lies short of the mark by the offset.
    assert np.abs(told @ to_bed.T + OFFSET).max() < 0.2


def test_a_new_pen_is_asked_about_again_and_stands_in_doubt_where_it_is_not_found(
    table: Table, keys: int
) -> None:
    inked(table, "r1c1", AtTheKeys(master=keys), (), Stood(table.plan.sections[0]))
    (before,) = pointers_kept(table.place.record, table.job.plotter)
    pens = table.job.pens
    short = pens.model_copy(update={"lines": pens.lines.model_copy(update={"ink_length": 1500.0})})
    job = table.job.model_copy(update={"pens": short})
    again = Table(job, replace(table.place, job=job), table.plan, {})
    person = AtTheKeys(master=keys, answers="n")
    stood = Stood(table.plan.sections[1])
    inked(again, "r1c2", person, stood.reads(job, stood.section.locating_marks), stood)
    assert any("Put a new pen" in said for said in person.said)
    assert any("with the last pen" in said for said in person.said)
    _, after = pointers_kept(table.place.record, job.plotter)
    assert after.offset == before.offset
    assert after.count == 0
    assert after.doubt == pytest.approx(np.hypot(before.doubt, 0.05))
    checks = table.place.record.checks("pointer", device_name(job.plotter))
    assert len(checks) == 2


def test_a_new_pen_counts_though_its_section_was_left_and_is_asked_about_once_it_is_inked(
    table: Table, keys: int
) -> None:
    inked(table, "r1c1", AtTheKeys(master=keys), (), Stood(table.plan.sections[0]))
    (before,) = pointers_kept(table.place.record, table.job.plotter)
    pens = table.job.pens
    short = pens.model_copy(update={"lines": pens.lines.model_copy(update={"ink_length": 500.0})})
    job = table.job.model_copy(update={"pens": short})
    again = Table(job, replace(table.place, job=job), table.plan, {})
    stood = Stood(table.plan.sections[1])
    read = stood.reads(job, stood.section.locating_marks)
    leaves = AtTheKeys(master=keys, pens=1)
    inked(again, "r1c2", leaves, read, stood, "paused")
    assert not any("Find it now?" in said for said in leaves.said)
    changed = pointers_kept(table.place.record, job.plotter)[-1]
    assert (changed.offset, changed.count) == (before.offset, 0)
    assert changed.doubt > before.doubt
    # Enough for what is left, so that no pen is changed any more.
    longer = pens.model_copy(update={"lines": pens.lines.model_copy(update={"ink_length": 9e6})})
    job = table.job.model_copy(update={"pens": longer})
    again = Table(job, replace(table.place, job=job), table.plan, {})
    goes_on = AtTheKeys(master=keys)
    inked(again, "r1c2", goes_on, (), stood)
    assert not any("Put a new pen" in said for said in goes_on.said)
    assert pointers_kept(table.place.record, job.plotter)[-1].count == 4


def test_what_was_found_goes_on_where_a_person_leaves_it_at_that(table: Table, keys: int) -> None:
    inked(table, "r1c1", AtTheKeys(master=keys), (), Stood(table.plan.sections[0]))
    found = pointers_kept(table.place.record, table.job.plotter)
    again = Table(table.job, replace(table.place, pointer=True), table.plan, {})
    stood, person = Stood(table.plan.sections[1]), AtTheKeys(master=keys, answers="n")
    inked(again, "r1c2", person, stood.reads(table.job, stood.section.locating_marks), stood)
    assert any("where it was found before" in said for said in person.said)
    assert pointers_kept(table.place.record, table.job.plotter) == found


def test_the_doubt_told_of_few_readings_holds_95_of_100() -> None:
    rng, sd, held, runs = np.random.default_rng(5), 0.2, 0, 2000
    for _ in range(runs):
        found = pointer_check(OFFSET + sd * rng.standard_normal((4, 2)), 0)
        assert found is not None
        held += abs(found.offset[0] - OFFSET[0]) < 1.96 * found.doubt
    # A two-sided 99.9 % interval of the binomial distribution about 0.95.
    assert 0.934 < held / runs < 0.966


def test_readings_of_it_that_contradict_each_other_give_none_and_few_count_as_any_other() -> None:
    good = OFFSET + np.array([[0.1, 0.0], [0.0, 0.1], [-0.1, 0.0], [0.0, -0.1]])
    slipped = good + np.array([[3.0, 0.0], [0, 0], [0, 0], [0, 0]])
    assert pointer_check(good, 0) is not None
    assert pointer_check(slipped, 0) is None
    one = pointer_check(good[:1], 7)
    assert one is not None
    assert (one.doubt, one.count, one.after) == (0.25, 1, 7)
    assert pen_changed(one, 0.05, 9) == PointerCheck(one.offset, float(np.hypot(0.25, 0.05)), 0, 9)
