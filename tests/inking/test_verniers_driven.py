"""Verniers over the joins, drawn by `drive` in the same set-down as the section's own ink."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from msgspec import Struct, field
from msgspec.structs import replace

from devices.commands import main
from devices.inking.section import ink_section
from devices.job import Job
from devices.plotter.bed import bed_of
from devices.session.person import Person
from devices.session.session import Workplace
from devices.setting_down.read_verniers import to_read_first
from devices.setting_down.where_it_stands import as_set_down, marks_in_sight
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import OnboardPort, simulated
from marking.begun.on_the_cover import keep_tape_marks, plan_hash
from marking.begun.plain_data import unpacked_division
from marking.begun.steps_kept import steps_on_the_cover
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.measures.tape import Tape
from marking.placement.laid_ink import stances
from marking.proof.drawn import with_verniers
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from marking.tape_marks.marks import set_out
from tests.inking.askew import Stood

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from devices.driving.driver import Wish
    from devices.inking.section import RunOutcome
    from marking.arrays import FloatArray
    from marking.layout.layout import Layout
    from marking.proof.verniers import JoinVernier
    from marking.record.record import Record
    from marking.sections.plan import Plan

SMALL = """title = "A side table"
[table]
length = "32 in"
width = "10 in"
[hems]
depth = "3 in"
folds = []
[plotter]
profile = "flatbed-a3"
"""


def test_a_section_draws_its_own_ink_first_and_then_its_halves_within_its_window(
    millrace: Job, millrace_layout: Layout, millrace_plan: Plan
) -> None:
    plan, verniers = with_verniers(millrace_plan, millrace_layout, millrace.pens)
    assert plan_hash(plan) == plan_hash(millrace_plan)
    drawn = set()
    for bare, section in zip(millrace_plan.sections, plan.sections, strict=True):
        own = len(bare.pieces)
        assert section.pieces[:own] == bare.pieces
        assert len(section.route.legs) == len(section.pieces)
        for piece in section.pieces[own:]:
            assert piece.stroke.pen == "removable"
            x0, y0, x1, y1 = section.window
            assert np.all(piece.stroke.points >= (x0, y0))
            assert np.all(piece.stroke.points <= (x1, y1))
            drawn.add(piece.stroke.id.rpartition("_")[0])
    # Each vernier twice over: the main scale by one section, its neighbour on the other.
    assert drawn == {f"{section}_{one.id}" for one in verniers for section in one.sections}


def test_drive_draws_and_keeps_them_and_the_job_is_begun_with_the_bare_sections(
    tmp_path: Path,
) -> None:
    (tmp_path / "job.toml").write_text(SMALL, "utf-8")
    words = ["--simulate", "--unattended", "--ink-anyway", "a trial", "--pace", "1000000"]
    assert main(["drive", "--job", str(tmp_path), "--verniers", *words]) == 0
    with open_record(tmp_path / "out" / "rehearsal") as record:
        (kept,) = record.divisions()
        strokes = {one.stroke for one in record.strokes() if one.event == "drawn"}
        inked = {ink.section for ink in record.ink() if ink.event == "done"}
    plan = unpacked_division(kept.data)
    assert inked == {section.id for section in plan.sections}
    assert {name for name in strokes if "_v01_" in name} >= {"r1c1_v01_00", "r1c2_v01_10"}
    assert not [p for s in plan.sections for p in s.pieces if "_v0" in p.stroke.id]


class Reader(Person, frozen=True):
    """Somebody who reads what the halves on the cloth show, to a tenth of a pitch of 2 mm."""

    table: Two | None = None
    said: list[str] = field(default_factory=list)
    typed: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    """Typed first in place of what is read."""
    stops: list[bool] = field(default_factory=list)
    """Whether to stop as soon as ink is under way."""

    def say(self, text: str) -> None:
        self.said.append(text)

    def agrees(self, question: str) -> bool:
        self.said.append(question)
        return True

    def tells(self, question: str) -> str:
        assert self.table is not None
        step = self.wrong.pop() if self.wrong else f"{self.table.step(question[:3]):.1f}"
        self.typed.append(step)
        return step

    def wish(self) -> Wish:
        assert self.table is not None
        drawn = {s.stroke for s in self.table.record.strokes("r1c2") if s.event == "drawn"}
        return "stop" if self.stops and any("_v" not in name for name in drawn) else "go on"


class Two(Struct):
    """Two sections beside each other, on a table whose tape marks were set wrong for one."""

    job: Job
    layout: Layout
    plan: Plan
    """With halves."""
    bare: Plan
    verniers: tuple[JoinVernier, ...]
    record: Record
    cloth: dict[str, list[FloatArray]] = field(default_factory=dict)
    drawing: str = ""
    laid: Callable[[], list[FloatArray]] = list
    """What the section that is being inked has drawn so far."""

    def inked(self, stood: Stood, person: Person, off: tuple[float, float] = (0, 0)) -> RunOutcome:
        """Inks a section; each tape mark lies `off` from where it should."""
        name = stood.section.id
        section = next(one for one in self.plan.sections if one.id == name)
        marks = marks_in_sight(section, self.plan, self.layout, self.job.units, self.record)
        moved = [
            replace(m, at_table=(m.at_table[0] + off[0], m.at_table[1] + off[1])) for m in marks
        ]
        readings = () if self.record.strokes(name) else stood.reads(self.job, moved)
        place = Workplace(
            *(self.job, self.layout, self.plan, self.record, person, readings),
            ink_anyway="a trial",
            begun_with=self.bare,
            verniers=self.verniers,
        )
        cloth, bed = Cloth(), bed_of(section, self.job.plotter)
        peer = simulated(self.job.plotter, bed, cloth)
        port = OnboardPort(peer, 2000)
        before = self.cloth.get(name, [])
        self.laid = lambda: [
            stood.on_table(bed.table_of(np.array(line.path))) for line in cloth.ink
        ]
        self.drawing = name
        outcome = ink_section(section, place, port, port.clock)
        peer.advance(port.clock() + 60)
        self.cloth[name] = [*before, *self.laid()]
        return outcome

    def near(self, name: str, at: tuple[float, float], axis: int) -> list[FloatArray]:
        """The long lines in the middle of a half of which the two should meet at `at`."""
        short = [line for line in self.cloth[name] if np.abs(line - at).max() < 8]
        return [
            line
            for line in short
            if np.ptp(line[:, axis]) < 0.3 and np.ptp(line[:, 1 - axis]) > 5.5
        ]

    def step(self, vernier: str) -> float:
        """What the pair shows: read off the cloth alone."""
        one = next(v for v in self.verniers if v.id == vernier)
        if self.drawing == one.sections[1] and self.drawing not in self.cloth:
            self.cloth = {**self.cloth, self.drawing: self.laid()}
            found = self.step(vernier)
            del self.cloth[self.drawing]
            return found
        first, second = (self.near(name, one.at, one.axis)[0] for name in one.sections)
        return float(second[:, one.axis].mean() - first[:, one.axis].mean())

    def worst_step(self) -> float:
        """mm across, at the ends of the long lines that meet at the join."""
        x = self.bare.sections[0].core[2]
        ends = []
        for name in ("r1c1", "r1c2"):
            long = [line for line in self.cloth[name] if np.ptp(line[:, 0]) > 50]
            points = np.concatenate(long)
            ends.append(points[np.abs(points[:, 0] - x) < 3])
        assert len(ends[0]) > 4
        return max(float(np.abs(ends[1] - one)[:, 1].min()) for one in ends[0])


@pytest.fixture
def two(tmp_path: Path) -> Iterator[Two]:
    text = SMALL.replace("32 in", "29 in").replace("10 in", "11 in")
    (tmp_path / "job.toml").write_text(text + '[inking]\ntried = "not asked"\n', "utf-8")
    job = load_job(tmp_path, Job)
    layout = lay_out(job)
    bare = divide_into_sections(layout, job, job.plotter.zone)
    plan, verniers = with_verniers(bare, layout, job.pens)
    with open_record(tmp_path) as record:
        keep_tape_marks(record, layout, bare, set_out(layout, 101.6, Tape(), "in"))
        made = Two(job, layout, plan, bare, verniers, record)
        one = Stood(bare.sections[0], (0.6, -0.4), 0.05)
        assert made.inked(one, Reader(False, made)).ended == "done"
        yield made


STANDS = (-0.5, 0.8), -0.1
SET_WRONG = (0.5, -0.6)


def test_what_the_pairs_show_before_the_ink_moves_it_to_meet_the_ink_beside_it(two: Two) -> None:
    stood, person = Stood(two.bare.sections[1], *STANDS), Reader(True, two)
    assert two.inked(stood, person, SET_WRONG).ended == "done", person.said
    steps = [two.step(one.id) for one in two.verniers]
    assert [float(typed) for typed in person.typed] == pytest.approx(steps, abs=0.06)
    # Its marks alone would have it step by what they are off, and what is left is meant.
    assert max(map(abs, steps)) > 0.5
    assert two.worst_step() < 0.7 * max(map(abs, steps))
    # The long lines of its halves were drawn over themselves after the ink: they came out single.
    for one in two.verniers:
        drawn = two.near("r1c2", one.at, one.axis)
        assert len(drawn) == 2
        assert np.abs(np.subtract(*(line[:, one.axis].mean() for line in drawn))) < 0.03
    begun = stances(two.record)
    assert {name: len(several) for name, several in begun.items()} == {"r1c1": 1, "r1c2": 1}
    told = steps_on_the_cover(two.record, two.layout, two.bare, begun)
    off = [step.step for step in told if step.axis == 1]
    assert abs(abs(off[0]) - two.worst_step()) < 0.15


def test_a_step_typed_wrong_is_asked_for_again_and_nobody_there_is_asked_nothing(two: Two) -> None:
    person = Reader(True, two, wrong=["-1.0", "x"])
    stood = Stood(two.bare.sections[1], *STANDS)
    assert two.inked(stood, person, SET_WRONG).ended == "done"
    assert any("it tells from" in said for said in person.said)
    assert any("was read as -1.00 mm" in said for said in person.said)
    assert len(person.typed) == 1 + 2 * len(two.verniers)
    nobody = Reader(False, two)
    place = Workplace(*(two.job, two.layout, two.plan, two.record, nobody), verniers=two.verniers)
    assert to_read_first(as_set_down(stood.section, allowed=True, advice=""), place) == ()


def test_going_on_after_a_stop_keeps_the_halves_where_they_are_and_the_ink_as_it_was_moved(
    two: Two,
) -> None:
    stood = Stood(two.bare.sections[1], *STANDS)
    assert two.inked(stood, Reader(True, two, stops=[True]), SET_WRONG).ended == "stopped"
    person = Reader(True, two)
    assert two.inked(stood, person).ended == "done", person.said
    assert not person.typed
    assert two.worst_step() < 0.45
    for one in two.verniers:
        drawn = two.near("r1c2", one.at, one.axis)
        places = [line[:, one.axis].mean() for line in drawn]
        assert len(drawn) == 2
        assert np.ptp(places) < 0.03
