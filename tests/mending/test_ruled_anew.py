"""Lines whose middles were ruled by hand, and covers that no plotter inked: what a mend does there.

What a stub leaves to the rule is counted here from the hems and the width alone.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pymupdf
import pytest

from devices.commands import main
from devices.job import Job
from marking.begun.on_the_cover import plan_hash
from marking.errors import RefusedError
from marking.job.folder import JOB_FILE, load_job
from marking.layout.layout import lay_out
from marking.mending.mend import (
    Mend,
    MendAsked,
    ask,
    look_over,
    mends,
    rule_anew,
    set_downs,
    take_back,
)
from marking.mending.words import how_to_rule, seen_lines, told_by_mends
from marking.record.record import open_record
from tests.inking.askew import Stood, Table, bare_table
from tests.job.command_cases import REFUSED

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

INCH = 25.4
JOB = (
    'schema = 1\n[table]\nlength = "10 in"\nwidth = "9 in"\n[hems]\ndepth = "2 in"\n'
    'folds = ["single 1 in"]\n[pens]\nremovable = { slot = 1, width = "0.5 mm" }\n'
    '[plotter]\nprofile = "flatbed-a4"\n[inking]\ncross_lines = "ruled"\ntried = "not asked"\n'
)
NEAR_STUB, FAR_STUB = 3 * INCH, 6 * INCH
"""2 in of stub at least from the first long line, which lies 1 in from its edge, of 9 in."""


@pytest.fixture
def cover(tmp_path: Path) -> Iterator[Table]:
    """Both bands inked, and cross lines 1 to 5 ruled between their stubs."""
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / JOB_FILE).write_text(JOB, "utf-8")
    with bare_table(folder) as table:
        for section in table.plan.sections:
            assert table.inked(Stood(section), anyway="by tape")[0].ended == "done"
        ruled = [f"ruled_cross-{n}" for n in range(1, 6)]
        at = table.place
        at.record.add_ruled(at.layout, ruled, "ruled", plan_hash(at.plan))
        yield table


def asked(table: Table, **wanted: object) -> Mend:
    at = table.place
    made, _ = ask(at.record, at.layout, at.plan, at.job.pens, MendAsked(why="worn", **wanted))
    return made


def the_mend(table: Table) -> Mend:
    at = table.place
    return mends(at.record, at.layout, at.plan)[-1]


def test_a_ruled_line_is_inked_anew_at_its_stubs_and_then_ruled_anew_between_them(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    at = cover.place
    made = asked(cover, lines="3")
    assert set(made.pieces) == {section.id for section in cover.plan.sections}
    (piece,) = made.by_hand
    assert sorted(piece.stroke.points[:, 1]) == pytest.approx([NEAR_STUB, FAR_STUB])
    assert piece.stroke.points[:, 0] == pytest.approx(4 * INCH)
    with pytest.raises(RefusedError, match="its stubs come first"):
        rule_anew(at.record, at.layout, at.plan, made)
    for several in set_downs(at.record, at.layout, at.plan, at.job.pens).values():
        for part, _ in several:
            outcome, said = cover.inked(
                Stood(part), Stood(part).reads(cover.job, part.locating_marks)
            )
            assert outcome.ended == "done", said
    begun = the_mend(cover)
    assert begun.state == "begun"
    assert "mend --ruled m1" in next(seen_lines([begun], 1.0))
    assert told_by_mends([begun], 1.0, "pass") == "cannot tell"
    assert main(["drive", "--job", str(tmp_path / "job"), "--simulate", "--unattended"]) == 0
    assert "m1: lines left to be ruled anew by hand" in capsys.readouterr().out
    with pytest.raises(RefusedError, match="ink stays"):
        take_back(at.record, at.layout, at.plan, begun)
    rule_anew(at.record, at.layout, at.plan, begun)
    assert the_mend(cover).state == "inked"
    with pytest.raises(RefusedError, match="leaves no line to be ruled"):
        rule_anew(at.record, at.layout, at.plan, the_mend(cover))
    look_over(at.record, at.layout, at.plan, the_mend(cover), 0.4)
    assert told_by_mends([the_mend(cover)], 1.0, "pass") == "pass"


def test_a_patch_where_no_device_comes_is_the_hand_s_alone_and_has_a_sheet(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """From 4 to 5 in across, over lines 2 and 3; line 7, which is not ruled, is told apart."""
    job = ["--job", str(tmp_path / "job")]
    patch = ["--patch", "2 1/2 in", "4 in", "4 1/2 in", "5 in"]
    assert main(["mend", *job, *patch, "--why", "worn by the iron"]) == 0
    told = capsys.readouterr()
    assert "ruling-m1.pdf: what a hand rules anew" in told.err
    assert "canvasrule drive to ink it" not in told.err
    assert "rule line 2 from 4 in to 5 in off the near edge" in told.out
    made = the_mend(cover)
    assert not made.pieces
    assert {p.of for p in made.by_hand} == {"cross-2", "cross-3"}
    with pymupdf.open(tmp_path / "job" / "out" / "ruling-m1.pdf") as sheet:
        words = " ".join(" ".join(page.get_text() for page in sheet).split())
    assert "along what is left of the line" in words
    assert "lines to rule anew, m1" in words
    assert words.count("4 in to 5 in") == 2
    assert "Nobody climbs on the table" in words
    assert main(["mend", *job, "--ruled", "m1"]) == 0
    assert "m1: inked" in capsys.readouterr().out
    assert main(["mend", *job, "--lines", "7", "--off", "1/4 in", "--why", "x"]) == 0
    assert "cross-7" not in {p.of for p in the_mend(cover).by_hand}
    assert "line 7: not inked yet there" in capsys.readouterr().err


def test_picture_and_proof_sheet_show_what_is_inked_anew(
    cover: Table, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    job, out = ["--job", str(tmp_path / "job")], tmp_path / "job" / "out"
    asked(cover, lines="3")
    asked(cover, lines="5")
    assert main(["mend", *job, "--undo", "m2"]) == 0
    assert main(["write", *job, "--picture"]) == 0
    picture = (out / "picture.svg").read_text("utf-8")
    (layer,) = re.findall(r'<g[^>]*id="mends".*?</g>', picture, re.DOTALL)
    assert layer.count("<path") == 3, "two stubs, and the middle between them"
    assert "Broad red: inked anew, or to be (m1)" in picture
    assert main(["prove", *job]) == 0
    assert "m1 is asked for and not inked" in capsys.readouterr().out
    with pymupdf.open(out / "proof.pdf") as sheet:
        words = " ".join(sheet[0].get_text().split())
    assert "Inked anew: m1: asked; line 3: inked anew over itself (worn)." in words
    assert "m2" not in words


def test_a_cover_that_no_plotter_inked_says_how_it_is_mended(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--lines", "3", "--why", "worn"]
    for name, ways in (("hand", '[ways]\nway = "hand"\n'), ("traced", "")):
        folder = tmp_path / name
        folder.mkdir()
        text = JOB.replace('cross_lines = "ruled"\n', "")
        (folder / JOB_FILE).write_text(text + ways, "utf-8")
    layout = lay_out(load_job(tmp_path / "traced", Job))
    with open_record(tmp_path / "traced") as record:
        record.add_ink(layout, "beam r1c1", "done", "a division for the beam")
    assert main(["mend", "--job", str(tmp_path / "hand"), *words]) == REFUSED
    assert "by hand" in (said := capsys.readouterr().err)
    assert "the rule along what is left" in said
    assert main(["mend", "--job", str(tmp_path / "traced"), *words]) == REFUSED
    assert "trace what is worn where the light" in capsys.readouterr().err


def test_a_wrong_line_is_struck_out_by_the_measure_that_its_table_has(cover: Table) -> None:
    made = asked(cover, lines="3", off=6.0)
    assert "a short slash across each every half inch" in " ".join(how_to_rule(made, "in"))
    assert "a short slash across each every 12 mm" in " ".join(how_to_rule(made, "mm"))
