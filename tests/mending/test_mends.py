"""A finished cover of which some is inked anew: what lies where is known to the cloth alone.

The oracle is the simulated cloth, in the table's own frame: where the old ink really lies, which
the device's places in the record do not say, and what was laid anew over or beside it.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.spatial import cKDTree
from shapely import LineString

from devices.commands import main
from devices.plotter.bed import bed_of
from devices.setting_down.where_it_stands import marks_in_sight
from marking.begun.on_the_cover import keep_tape_marks
from marking.errors import BadInputError, RefusedError
from marking.job.folder import JOB_FILE
from marking.measures.tape import Tape
from marking.mending.mend import Mend, MendAsked, ask, look_over, mends, set_downs, take_back
from marking.record.readings import MarkReading
from marking.tape_marks.marks import set_out
from tests.inking.askew import SAMPLING, Stood, Table, bare_table
from tests.inking.kills import samples
from tests.job.command_cases import REFUSED

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from marking.sections.plan import Section

ONE, TWO = "r1c1", "r1c2"
LAID = {ONE: ((0.9, -0.7), 0.05), TWO: ((0.5, -0.3), -0.04)}
"""How far off, in mm and degrees, the devices really stood when the cover was inked."""
AGAIN = ((-2.4, 1.9), 0.3)
"""And how they stand when they are put down there once more."""
INCH = 25.4
JOB = (
    'schema = 1\n[table]\nlength = "13 in"\nwidth = "8 in"\n[hems]\ndepth = "2 in"\n'
    'folds = ["single 1 in"]\n[pens]\nremovable = { slot = 1, width = "0.5 mm" }\n'
    '[plotter]\nprofile = "flatbed-a4"\n'
)


@pytest.fixture
def bare(tmp_path: Path) -> Iterator[Table]:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / JOB_FILE).write_text(JOB, "utf-8")
    with bare_table(folder) as table:
        assert [section.id for section in table.plan.sections] == [ONE, TWO]
        yield table


@pytest.fixture
def cover(bare: Table) -> Table:
    for name, (shift, turn) in LAID.items():
        outcome, said = bare.inked(Stood(bare.section(name), shift, turn), anyway="by tape")
        assert outcome.ended == "done", said
    return bare


def asked(table: Table, **wanted: object) -> Mend:
    at = table.place
    made, _ = ask(at.record, at.layout, at.plan, at.job.pens, MendAsked(why="a test", **wanted))
    return made


def to_ink(table: Table, section: str = ONE) -> Section:
    """What waits to be inked anew in a section."""
    at = table.place
    several = set_downs(at.record, at.layout, at.plan, at.job.pens)[section]
    (found,) = [one for one, done in several if not done]
    return found


def really_read(table: Table, again: Stood, laid: Stood) -> tuple[MarkReading, ...]:
    """What the device shows over the crossings to read, where they really lie on the cloth."""
    bed = bed_of(again.section, table.job.plotter)
    found = []
    for mark in again.section.locating_marks:
        lies = laid.on_table(np.array(mark.at_table))
        c, s = np.cos(np.radians(again.degrees)), np.sin(np.radians(again.degrees))
        x0, y0, x1, y1 = again.section.window
        middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        planned = (lies - middle - again.shift) @ np.array([[c, -s], [s, c]]) + middle
        x, y = (planned - bed.origin_table) @ bed.to_bed.T
        found.append(MarkReading(again.section.id, mark.id, (float(x), float(y)), 0.25, "a test"))
    return tuple(found)


def mended(table: Table, section: str = ONE) -> tuple[list[np.ndarray], Stood]:
    """The ink that a mend really laid, on the table, and how the old ink's device stood."""
    part = to_ink(table, section)
    laid = Stood(table.section(section), *LAID[section])
    again = Stood(part, *AGAIN)
    outcome, said = table.inked(again, really_read(table, again, laid))
    assert outcome.ended == "done", said
    return table.ink[part.id], laid


def lies_at(laid: Stood, line: Sequence[tuple[float, float]]) -> LineString:
    """Where what was planned as `line` really lies."""
    return LineString(laid.on_table(np.array(line)))


def off(ink: Sequence[np.ndarray], wanted: Sequence[np.ndarray]) -> tuple[float, float]:
    """How far the least inked point of `wanted`, and the most displaced ink, lie off."""
    want, have = samples(wanted), samples(ink)
    return float(cKDTree(have).query(want)[0].max()), float(cKDTree(want).query(have)[0].max())


def test_a_worn_patch_is_inked_over_its_old_ink_wherever_that_lies_and_nothing_else(
    cover: Table,
) -> None:
    before = {name: len(ink) for name, ink in cover.ink.items()}
    box = (2.3 * INCH, 1.5 * INCH, 4.6 * INCH, 3.4 * INCH)
    asked(cover, box=box)
    part = to_ink(cover)
    ink, laid = mended(cover)
    # Every cross line in the box from its lower to its upper edge, and the long line at 2 in.
    lines = [[(x * INCH, box[1]), (x * INCH, box[3])] for x in (3, 4)]
    lines += [[(box[0], 2 * INCH), (box[2], 2 * INCH)]]
    lines = [laid.on_table(np.array(line)) for line in lines]
    assert max(off(ink, lines)) <= SAMPLING + 0.05
    # Far from where the plan has it: what is around it is what it is laid true to.
    planned = [np.array(one.stroke.points) for one in part.pieces]
    assert min(off(ink, planned)) > 0.5
    assert {name: len(cover.ink[name]) for name in before} == before


def test_numerals_in_a_patch_are_inked_whole(cover: Table) -> None:
    numeral = next(
        one.numeral
        for one in cover.place.layout.numerals
        if (one.numeral.text, one.numeral.side) == ("3", "near")
    )
    x0, y0, x1, y1 = numeral.box_table
    made = asked(cover, box=(x0 - 1, (y0 + y1) / 2, x1 + 1, y1 + 1))
    inked = [p for p in made.pieces[ONE] if p.stroke.layer == "numeral"]
    assert {p.of for p in inked} == {"num-near-3-0"}
    whole = next(s for s in cover.place.layout.strokes if s.id == "num-near-3-0")
    assert inked[0].stroke.length == pytest.approx(whole.length)


def test_a_line_over_two_sections_is_inked_anew_in_both_and_a_numeral_in_its_own(
    cover: Table,
) -> None:
    made = asked(cover, lines="long-near, 2, 3 far")
    assert set(made.pieces) == {ONE, TWO}
    assert {p.of for p in made.pieces[TWO]} == {"long-near"}
    for section in (ONE, TWO):
        ink, laid = mended(cover, section)
        wanted = [laid.on_table(p.stroke.points) for p in made.pieces[section]]
        assert max(off(ink, wanted)) <= SAMPLING + 0.05
    at = cover.place
    (one,) = mends(at.record, at.layout, at.plan)
    assert one.state == "inked"
    # What is done once is not asked for again.
    assert all(done for several in set_downs(*_of(cover)).values() for _, done in several)


def _of(table: Table) -> tuple[object, ...]:
    at = table.place
    return at.record, at.layout, at.plan, at.job.pens


def test_a_slip_in_the_marks_around_is_named_and_nothing_inked(cover: Table) -> None:
    asked(cover, lines="3")
    part = to_ink(cover)
    again = Stood(part, *AGAIN)
    read = list(really_read(cover, again, Stood(cover.section(ONE), *LAID[ONE])))
    assert len(read) >= 4
    x, y = read[0].at_bed
    read[0] = replace(read[0], at_bed=(x, y + INCH))
    outcome, said = cover.inked(again, read)
    assert outcome.ended == "not allowed"
    assert read[0].mark in "\n".join(said)
    assert part.id not in cover.ink or not cover.ink[part.id]


def test_nothing_is_inked_anew_where_no_mark_around_is_read_whatever_the_reason(
    cover: Table,
) -> None:
    asked(cover, lines="3")
    with pytest.raises(RefusedError, match="no marks around it were read"):
        cover.inked(Stood(to_ink(cover)), anyway="it will be right")


def test_marks_to_read_are_crossings_around_the_ink_and_none_on_it(cover: Table) -> None:
    asked(cover, lines="3, long-near")
    part = to_ink(cover)
    assert len(part.locating_marks) >= 4
    assert not [
        m.id for m in part.locating_marks if {"cross-3", "long-near"} & set(m.id.split("/"))
    ]
    xs = [m.at_table[0] for m in part.locating_marks]
    assert min(xs) < 3 * INCH < max(xs)


def test_a_wrong_line_is_struck_out_where_it_lies_and_drawn_where_it_belongs(
    cover: Table,
) -> None:
    wrong = 6.0
    made = asked(cover, lines="3", off=wrong)
    ink, laid = mended(cover)
    right = lies_at(laid, [(4 * INCH, INCH), (4 * INCH, 7 * INCH)])
    beside = lies_at(laid, [(4 * INCH + wrong, INCH), (4 * INCH + wrong, 7 * INCH)])
    slashes = [LineString(line) for line in ink if LineString(line).length < 10]
    drawn = [LineString(line) for line in ink if LineString(line).length > 10]
    assert len(slashes) >= 8
    assert len(drawn) == 1
    assert drawn[0].hausdorff_distance(right) < 0.1
    for slash in slashes:
        assert slash.intersects(beside)
        assert slash.distance(right) > 1.5
    # No slash touches any ink but the line that it strikes out.
    pens = cover.job.pens
    for stroke in cover.place.layout.strokes:
        there = LineString(laid.on_table(np.array(stroke.points)))
        room = pens.named(stroke.pen).width / 2 + pens.lines.width / 2
        assert min(slash.distance(there) for slash in slashes) > room, stroke.id
    assert made.off == wrong


@pytest.mark.parametrize(
    ("wanted", "why"),
    [
        ({"lines": "3", "off": 1.0}, "nobody could tell which holds"),
        ({"lines": "3 near", "off": 6.0}, "only straight lines can"),
    ],
)
def test_what_cannot_be_struck_out_plainly_is_refused_with_what_would_do(
    cover: Table, wanted: dict[str, object], why: str
) -> None:
    with pytest.raises(RefusedError, match=why) as fault:
        asked(cover, **wanted)
    assert "over itself" in str(fault.value)
    assert not mends(*_of(cover)[:3])


def test_a_spoilt_section_that_is_begun_is_mended_in_what_it_inked_and_driven_for_the_rest(
    bare: Table,
) -> None:
    first = bare.section(ONE)
    stood = Stood(first, *LAID[ONE])
    bare.inked(stood, anyway="by tape", stops_after=12)
    drawn = bare.drawn(ONE)
    assert 0 < len(drawn) < len(first.pieces)
    made = asked(bare, section=ONE, lines="long-near, 0-11")
    kept = {p.of for p in made.pieces[ONE]}
    assert kept == {p.of for p in first.pieces if p.stroke.id in drawn} & {
        "long-near",
        *(f"cross-{n}" for n in range(12)),
    }
    # The section itself goes on with what is open, and that alone.
    before = len(bare.ink[ONE])
    outcome, _ = bare.inked(stood, anyway="by tape")
    assert outcome.ended == "done"
    assert len(bare.ink[ONE]) - before <= len(first.pieces) - len(drawn) + 2


def test_what_was_never_inked_is_not_inked_anew(bare: Table) -> None:
    with pytest.raises(RefusedError, match=r"line 3: not inked by the record.*canvasrule drive"):
        asked(bare, lines="3")
    with pytest.raises(BadInputError, match="there is no cross line 400; the last is"):
        asked(bare, lines="400")
    with pytest.raises(BadInputError, match="nothing here is called 'the long one'"):
        asked(bare, lines="the long one")


def test_a_mend_is_taken_back_before_it_is_begun_and_never_after(cover: Table) -> None:
    made = asked(cover, lines="3")
    at = cover.place
    take_back(at.record, at.layout, at.plan, made)
    assert not set_downs(*_of(cover))
    second = asked(cover, lines="3")
    assert second.id == "m2"
    mended(cover)
    inked = mends(at.record, at.layout, at.plan)[-1]
    with pytest.raises(RefusedError, match="ink stays"):
        take_back(at.record, at.layout, at.plan, inked)
    look_over(at.record, at.layout, at.plan, inked, 0.5)
    assert mends(at.record, at.layout, at.plan)[-1].step == 0.5


def test_a_mend_leaves_the_record_of_the_cover_as_it_was(cover: Table) -> None:
    """What is inked anew places no later section, and the sections stay done."""
    from marking.begun.inked import done_sections, guard_division
    from marking.placement.laid_ink import stances

    at = cover.place
    before = stances(at.record)
    strokes = [one for one in at.record.strokes() if one.section == ONE]
    asked(cover, lines="3")
    mended(cover)
    assert stances(at.record) == before
    assert [one for one in at.record.strokes() if one.section == ONE] == strokes
    assert done_sections(at.record, at.layout, at.plan) == {ONE, TWO}
    guard_division(at.record, at.layout, at.plan)


def test_by_command_a_mend_is_asked_for_rehearsed_and_listed(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    job = ["--job", str(tmp_path / "job")]
    assert main(["mend", *job, "--lines", "3"]) == 2
    assert "--why REASON" in capsys.readouterr().err
    assert main(["mend", *job, "--lines", "3, 5 near", "--why", "dry pen"]) == 0
    told = capsys.readouterr()
    assert "m1: asked; line 3, numeral 5 near: inked anew over itself (dry pen)" in told.out
    words = ["--simulate", "--unattended", "--pace", "2000"]
    assert main(["drive", *job, *words]) == 0
    assert capsys.readouterr().out.splitlines() == [
        f"{one.id}: done, {len(one.pieces)} strokes drawn"
        for several in set_downs(*_of(cover)).values()
        for one, _ in several
    ]
    # A rehearsal leaves it asked for; without anyone to read marks, nothing is inked.
    assert main(["mend", *job, "--undo", "m7"]) == 2
    assert "there are m1" in capsys.readouterr().err
    assert main(["mend", *job, "--looked-over", "m1", "--step", "1 mm"]) == REFUSED
    assert "not inked" in capsys.readouterr().err
    assert main(["mend", *job, "--json"]) == 0


def test_a_cover_passes_no_proof_before_its_mends_are_looked_over(cover: Table) -> None:
    from marking.mending.words import seen_lines, told_by_mends

    asked(cover, lines="3")
    at = cover.place

    def told(allowed: float = 1.0) -> tuple[str, list[str]]:
        found = mends(at.record, at.layout, at.plan)
        return told_by_mends(found, allowed, "pass"), list(seen_lines(found, allowed))

    assert told()[0] == "cannot tell"
    assert "asked for and not inked" in told()[1][0]
    mended(cover)
    assert told()[0] == "cannot tell"
    assert "--looked-over m1" in told()[1][0]
    look_over(at.record, at.layout, at.plan, mends(at.record, at.layout, at.plan)[0], 0.7)
    assert told() == ("pass", [])
    assert told(0.5)[0] == "fail"


def test_the_verdict_by_command_waits_for_the_look_over(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    job = ["--job", str(tmp_path / "job")]
    asked(cover, lines="3")
    mended(cover)
    assert main(["prove", *job, "--json"]) == 0
    sheet = json.loads(capsys.readouterr().out)
    rows = []
    for one in sheet["distances"]:
        (ax, ay), (bx, by) = one["ends"]
        length = 0.0 if one["kind"] == "thread" else np.hypot(bx - ax, by - ay)
        rows.append(f"{one['id']},{length:.4f} mm")
    path = tmp_path / "measured.csv"
    path.write_text("\n".join(["id,length", *rows, ""]), "utf-8")
    measured = ["prove", *job, "--measured", str(path)]
    assert main(measured) == REFUSED
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert first.startswith("CANNOT TELL")
    assert "m1 was inked anew" in second
    assert main(["mend", *job, "--looked-over", "m1", "--step", "0.4 mm"]) == 0
    assert main(measured) == 0
    said = capsys.readouterr().out
    assert "PASS" in said
    # Its sections are kept as inked.
    assert "By the record no section" not in said


def test_who_sends_files_places_a_mend_as_a_section_and_tells_that_it_is_inked(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder, at = tmp_path / "job", cover.place
    keep_tape_marks(at.record, at.layout, at.plan, set_out(at.layout, 4 * INCH, Tape(), "in"))
    made = asked(cover, lines="3")
    again = Stood(to_ink(cover), *AGAIN)
    read = really_read(cover, again, Stood(cover.section(ONE), *LAID[ONE]))
    rows = [f"{one.section},{one.mark},{one.at_bed[0]:.4f},{one.at_bed[1]:.4f}" for one in read]
    (folder / "read.csv").write_text("\n".join(["section,mark,x_mm,y_mm", *rows, ""]), "utf-8")
    job = ["--job", str(folder)]
    assert main(["place", *job, "--readings", str(folder / "read.csv")]) == 0, capsys.readouterr()
    told = capsys.readouterr()
    assert f"{again.section.id}: INK" in told.out
    assert "of what lies around it" in told.out
    # hp2xx's own rules of HP-GL are held elsewhere; here the file has one line, where it lies.
    (written,) = (folder / "out" / "placed").glob("r1c1-m1.hpgl")
    assert written.read_text("ascii").count("PD") == len(made.pieces[ONE])
    assert main(["place", *job, "--inked", again.section.id]) == 0
    assert mends(at.record, at.layout, at.plan)[0].state == "inked"
    assert main(["place", *job, "--inked", again.section.id]) == 2


def test_marks_on_a_line_that_waits_to_be_inked_anew_place_no_other_section(bare: Table) -> None:
    """A spoilt line of the first section is one that the second would be read by."""
    shift, turn = LAID[ONE]
    bare.inked(Stood(bare.section(ONE), shift, turn), anyway="by tape")
    second, at = bare.section(TWO), bare.place
    lines = {
        f"{one.id.removeprefix('cross-')}"
        for one in at.layout.strokes
        for mark in second.locating_marks
        if one.layer == "cross" and abs(one.points[0, 0] - mark.at_table[0]) < 0.01
    }
    assert lines
    asked(bare, lines=", ".join(sorted(lines)))
    stood = Stood(second, *LAID[TWO])
    assert not marks_in_sight(second, at.plan, at.layout, at.job.units, at.record)
    with pytest.raises(BadInputError, match=r"is to be inked anew \(m1\)"):
        bare.inked(stood, stood.reads(bare.job, second.locating_marks), anyway="a trial")
    mended(bare)
    assert (
        marks_in_sight(second, at.plan, at.layout, at.job.units, at.record) == second.locating_marks
    )
    readings = stood.reads(bare.job, second.locating_marks)
    assert bare.inked(stood, readings, anyway="a trial")[0].ended == "done"


def test_the_report_tells_what_is_inked_anew(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    job = ["--job", str(tmp_path / "job")]
    assert main(["mend", *job, "--lines", "3", "--off", "1/4 in", "--why", "a slip"]) == 0
    assert main(["write", *job, "--report"]) == 0
    report = (tmp_path / "job" / "out" / "report.md").read_text("utf-8")
    assert "- m1: asked; line 3: struck out where it lies, 1/4 in towards the far end" in report
    capsys.readouterr()
