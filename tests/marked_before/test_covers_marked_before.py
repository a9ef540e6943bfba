"""A cover that was marked by hand or bought: how far off it is, and what to do about it.

The covers are made up here line by line, with points on the cloth and distances between them by
Pythagoras, so that nothing of what is tested says where a line lies.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pytest

from devices.commands import main
from devices.job import Job
from marking.errors import BadInputError
from marking.job.folder import JOB_FILE, load_job
from marking.job.keys import NumeralsTable
from marking.layout.layout import lay_out
from marking.marked_before.errors import off_cover
from marking.marked_before.readings import Found, Meant, asked, numbers_meant, read_found, spots
from marking.marked_before.words import off_lines
from marking.measures.tape import Tape
from marking.proof.limits import limits_of
from marking.sheets.known_errors import card_pages, sheet_pages
from marking.shipped_files import stock
from tests.job.command_cases import BAD_INPUT, REFUSED
from tests.output.printed import words_of
from tests.output.test_sheets_are_legible import overprinted

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from marking.layout.layout import Layout
    from marking.marked_before.errors import OffCover

INCH = 25.4
JOB = (
    'schema = 1\ntitle = "Old bench"\ntolerance = "1/8 in"\n[table]\nlength = "74 in"\n'
    'width = "50 in"\n[hems]\ndepth = "4 in"\nfolds = ["single 1 in"]\n[plotter]\n'
    'profile = "flatbed-a3"\n[allowed]\nneighbours = "1/8 in"\n'
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("old")
    (made / JOB_FILE).write_text(JOB, "utf-8")
    return made


@pytest.fixture(scope="module")
def layout(folder: Path) -> Layout:
    return lay_out(load_job(folder, Job))


def meant(layout: Layout) -> Meant:
    return Meant(layout, NumeralsTable())


def same(point: np.ndarray) -> np.ndarray:
    return point


@dataclass
class HandMarked:
    """A cover of which each point of the layout lies where `lies` puts it."""

    layout: Layout
    lies: Callable[[np.ndarray], np.ndarray] = same
    numbers: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def at(self, line: int, side: str) -> np.ndarray:
        grid = self.layout.grid
        y = grid.long_lines[0 if side == "near" else -1].y
        return self.lies(np.array([float(grid.cross_x[line]), y]))

    def shown(self) -> dict[str, float]:
        grid = self.layout.grid
        last = len(grid.cross_x) - 1

        def apart(one: np.ndarray, two: np.ndarray) -> float:
            return float(np.hypot(*(one - two)))

        found = {
            f"{side}-{n}": apart(self.at(0, side), self.at(n, side))
            for side in ("near", "far")
            for n in range(1, last + 1)
        }
        for end, n in (("zero", 0), ("end", last)):
            for line in grid.long_lines[1:]:
                far = self.lies(np.array([float(grid.cross_x[n]), line.y]))
                found[f"{line.id}-{end}"] = apart(self.at(n, "near"), far)
        found["diagonal-up"] = apart(self.at(0, "near"), self.at(last, "far"))
        found["diagonal-down"] = apart(self.at(0, "far"), self.at(last, "near"))
        return found

    def judged(self, folder: Path, only: tuple[str, ...] | None = None) -> OffCover:
        job = load_job(folder, Job)
        shown = {k: v for k, v in self.shown().items() if only is None or k in only}
        tape = Tape("I", division=0.5, scale_sd=1e-5, temperature_sd=0.1)
        limits = limits_of(job.tolerance, job.allowed)
        return off_cover(meant(self.layout), Found(shown, self.numbers), tape, limits)


def limit(off: OffCover, name: str):
    return next(one for one in off.limits if one.limit.name == name)


def test_a_true_cover_is_kept_and_every_limit_told(folder: Path, layout: Layout) -> None:
    off = HandMarked(layout, numbers=numbers_meant(layout)).judged(folder)
    assert off.advice == "keep"
    assert {one.limit.name: one.outcome for one in off.limits} == dict.fromkeys(
        ("total", "square", "neighbours"), "pass"
    )
    assert off.numbers == ()
    assert not [line for line in off.lines if abs(line.error) > 1e-6]


@pytest.mark.parametrize("lean", [-3.0, 2.5])
def test_a_zero_line_out_of_square_is_told_by_the_diagonals(
    folder: Path, layout: Layout, lean: float
) -> None:
    """All cross lines lean by so much over the width: an exact shear."""
    wide = layout.grid.long_lines[-1].y - layout.grid.long_lines[0].y
    y0 = layout.grid.long_lines[0].y
    off = HandMarked(layout, lambda p: np.array([p[0] + lean * (p[1] - y0) / wide, p[1]])).judged(
        folder
    )
    assert off.lean is not None
    assert off.lean[0] == pytest.approx(lean, abs=0.01)
    # Over 54 in, or over the width where that is less.
    assert abs(limit(off, "square").value) == pytest.approx(abs(lean), abs=0.05)
    assert not [line for line in off.lines if abs(line.error) > 0.1]


def test_one_line_that_wandered_is_named_with_how_far(folder: Path, layout: Layout) -> None:
    x = float(layout.grid.cross_x[30])
    off = HandMarked(layout, lambda p: p + (5.5 * (abs(p[0] - x) < 1 and p[1] > 600), 0.0)).judged(
        folder
    )
    total = limit(off, "total")
    assert (total.where, total.outcome) == ("far-30", "fail")
    assert total.value == pytest.approx(5.5, abs=0.01)
    assert limit(off, "neighbours").where in ("far-29 to 30", "far-30 to 31")
    assert abs(limit(off, "neighbours").value) == pytest.approx(5.5, abs=0.01)
    assert limit(off, "square").where == "line 30"
    assert off.advice == "keep with the card"


def test_a_cover_off_by_more_than_twice_what_is_allowed_is_replaced(
    folder: Path, layout: Layout
) -> None:
    stretched = HandMarked(layout, lambda p: p * (1.006, 1.0)).judged(folder)
    assert stretched.advice == "replace"
    last = len(layout.grid.cross_x) - 1
    assert limit(stretched, "total").where in (f"near-{last}", f"far-{last}")
    assert limit(stretched, "total").value == pytest.approx(0.006 * last * INCH, rel=1e-3)


def test_a_number_left_out_is_told_apart_from_lines_that_wander(
    folder: Path, layout: Layout
) -> None:
    """From 48 on each numeral stands a pitch too near, since 47 is followed by 49."""
    last = len(layout.grid.cross_x) - 1
    numbers = numbers_meant(layout)["near"]
    cover = HandMarked(layout, numbers={"near": (*numbers[:48], *numbers[49:])})
    shown = cover.shown()
    for n in range(49, last + 1):
        shown[f"near-{n}"] -= INCH
    job = load_job(folder, Job)
    off = off_cover(
        meant(layout), Found(shown, cover.numbers), Tape(), limits_of(job.tolerance, job.allowed)
    )
    assert off.advice == "replace"
    assert off.numbers[0] == "near: 48 is left out"
    assert off.numbers[1].startswith("from near-49 on, numerals count 1 too many")
    assert {line.pitches for line in off.lines} == {0, 1}
    assert abs(limit(off, "total").value) < 0.01


@pytest.mark.parametrize(
    ("stands", "said"),
    [
        (lambda m: (*m[:20], m[19], *m[20:]), "far: 19 stands once too often, after"),
        (lambda m: (*m[:20], "02", *m[21:]), "far: 02 stands where 20 should"),
    ],
)
def test_numbers_that_stand_twice_or_wrong_are_named(
    folder: Path, layout: Layout, stands: Callable[..., tuple[str, ...]], said: str
) -> None:
    off = HandMarked(layout, numbers={"far": stands(numbers_meant(layout)["far"])}).judged(folder)
    assert off.numbers[0].startswith(said)
    assert off.advice == "replace"


def test_diagonals_that_contradict_each_other_are_measured_again(
    folder: Path, layout: Layout
) -> None:
    shown = HandMarked(layout).shown()
    shown["diagonal-up"] += 20
    job = load_job(folder, Job)
    off = off_cover(meant(layout), Found(shown, {}), Tape(), limits_of(job.tolerance, job.allowed))
    assert (off.contradicted, off.advice) == (True, "measure again")
    # A card is found on the wall years later, by who never saw the verdict.
    (card,) = card_pages(off, Tape(), job.title, "in", "letter")
    assert any(text.startswith("Not to be pinned up") for text, _ in words_of(card))


def test_the_sheet_heads_its_columns_and_has_room_for_the_numbers_of_both_sides(
    layout: Layout,
) -> None:
    pages = sheet_pages(asked(meant(layout)), Tape(), "Old bench", "in", "letter")
    for page in pages:
        written = words_of(page)
        assert overprinted(written) == []
        texts = [text for text, _ in written]
        assert texts.count("tape shows") == texts.count("if true") == texts.count("name") >= 1
    first = [text for text, _ in words_of(pages[0])]
    assert {"numbers, near side", "numbers, far side"} <= set(first)


@pytest.mark.parametrize(
    ("given", "said"),
    [({}, "Square over the width: "), ({"square": "1/8 in"}, "Square over 54 in: ")],
)
def test_square_is_told_over_the_length_that_its_limit_is_over(
    folder: Path, layout: Layout, given: dict[str, str], said: str
) -> None:
    """The whole width where job.toml limits no square of its own, else the trade's 54 in."""
    job = load_job(folder, Job)
    allowed = type(job.allowed).model_validate(given)
    limits = limits_of(job.tolerance, allowed)
    shown = HandMarked(layout).shown()
    off = off_cover(meant(layout), Found(shown, {}), Tape(), limits)
    (line,) = [one for one in off_lines(off, "in") if one.startswith("Square")]
    assert line.startswith(said)


def test_too_little_measured_is_no_reason_to_keep_it(folder: Path, layout: Layout) -> None:
    off = HandMarked(layout).judged(folder, only=("near-12", "far-12"))
    assert off.advice == "cannot tell"
    assert off.lean is None


def test_errors_told_hold_95_in_100_with_the_tape_s_own_scale_in_them(layout: Layout) -> None:
    """Readings scattered and scaled as class II allows, half of it taken for one deviation."""
    tape = Tape()
    true = HandMarked(layout).shown()
    ids = [spot.id for spot in asked(meant(layout))]
    rng = np.random.default_rng(11)
    held = tried = 0
    from marking.measures.tape import reading_covariance

    spread = np.linalg.cholesky(reading_covariance(np.array([true[i] for i in ids]), tape))
    for _ in range(400):
        noise = spread @ rng.standard_normal(len(ids))
        shown = {name: true[name] + e for name, e in zip(ids, noise, strict=True)}
        off = off_cover(meant(layout), Found(shown, {}), tape, ())
        held += sum(abs(line.error) <= 1.96 * line.sd for line in off.lines)
        tried += len(off.lines)
    assert 0.93 <= held / tried <= 0.97


def filled_in(folder: Path, cover: HandMarked, numbers: str = "") -> Path:
    rows = [f'{name} = "{length:.3f} mm"' for name, length in cover.shown().items()]
    path = folder / "found.toml"
    path.write_text("\n".join(["[measured]", *rows, numbers, ""]), "utf-8")
    return path


def test_by_command_the_sheet_the_verdict_the_card_and_the_next_cover(
    layout: Layout, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import pypdfium2

    old = tmp_path / "old"
    old.mkdir()
    mine = stock().joinpath("plotters", "flatbed-a3.toml").read_text("utf-8")
    (old / "mine.toml").write_text(mine, "utf-8")
    (old / JOB_FILE).write_text(JOB.replace("flatbed-a3", "mine.toml"), "utf-8")
    job = ["--job", str(old)]
    assert main(["prove", *job, "--marked-before", "--json"]) == 0
    sheet = json.loads(capsys.readouterr().out)
    assert [one["id"] for one in sheet["asked"]] == [spot.id for spot in asked(meant(layout))]
    x = float(layout.grid.cross_x[30])
    cover = HandMarked(layout, lambda p: p + (4.5 * (abs(p[0] - x) < 1), 0.0))
    path = filled_in(old, cover, '[numbers]\nnear = "0-72"\nfar = "0-71, 73"')
    assert main(["prove", *job, "--marked-before", "--measured", str(path)]) == REFUSED
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("REPLACE IT")
    assert "Numbers: far: 73 stands where 72 should." in told
    card = pypdfium2.PdfDocument(old / "out" / "known-errors.pdf")
    words = "\n".join(page.get_textpage().get_text_range() for page in card)
    assert "Old bench: known errors" in words
    assert words.count("+11/64 in") + words.count("+3/16 in") == 2
    assert "73 stands where 72 should" in words

    new = tmp_path / "new"
    assert main(["start", str(new), "--like", str(old)]) == 0
    assert (new / JOB_FILE).read_bytes() == (old / JOB_FILE).read_bytes()
    assert load_job(new, Job) == load_job(old, Job)
    assert not (new / "job.db").exists()
    assert main(["start", str(new), "--like", str(old)]) == BAD_INPUT
    assert "was not touched" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[measured]\nnear-12 = "24 in"\n', "another line or another unit"),
        ('[measured]\nnear-900 = "24 in"\n', "no such place; there are near-1 to near-72"),
        ('[measured]\nnear-1 = "1 in"\n[numbers]\nnear = "0 to 12"\n', "runs as 0-47"),
        ('[measured]\nnear-1 = "1 in"\n[numbers]\nleft = "0-12"\n', "there are near and far"),
    ],
)
def test_what_cannot_be_read_is_named(layout: Layout, tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "found.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(BadInputError) as fault:
        read_found(path, meant(layout))
    assert said in str(fault.value)


def test_the_sheet_asks_for_what_every_limit_needs(folder: Path, layout: Layout) -> None:
    ids = tuple(spot.id for spot in asked(meant(layout)))
    assert set(ids) <= set(spots(meant(layout)))
    off = HandMarked(layout).judged(folder, only=ids)
    assert {one.limit.name for one in off.limits} == {"total", "square", "neighbours"}
    assert off.advice == "keep"


SMALL = JOB.replace('"74 in"', '"26 in"').replace('"50 in"', '"20 in"')


def one_job(folder: Path, more: str) -> Path:
    folder.mkdir()
    (folder / JOB_FILE).write_text(SMALL + more, "utf-8")
    return folder


def test_lines_are_called_by_what_their_numerals_read_on_the_sheet_and_when_read_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Counted from 20 by twos, so that the line an inch from the zero line reads 22."""
    folder = one_job(tmp_path / "from-20", "[numerals]\nfirst = 20\nper_line = 2\n")
    job = load_job(folder, Job)
    cover = HandMarked(lay_out(job))
    last = len(cover.layout.grid.cross_x) - 1
    numerals = {
        one.numeral.text: (one.numeral.at_table[0] - float(cover.layout.grid.cross_x[0])) / INCH
        for one in cover.layout.numerals
        if one.numeral.side == "near"
    }
    assert min(numerals, key=int) == "20"
    assert numerals["22"] == pytest.approx(1)
    assert main(["prove", "--job", str(folder), "--marked-before", "--json"]) == 0
    sheet = json.loads(capsys.readouterr().out)["asked"]
    near = [one for one in sheet if one["kind"] == "line" and one["side"] == "near"]
    assert [one["id"] for one in near] == ["near-22", "near-44", "near-46", f"near-{20 + 2 * last}"]
    for one in near:
        text = one["id"].removeprefix("near-")
        assert one["between"] == ["20", f"{text} on the near line"]
        assert one["nominal"] == pytest.approx(numerals[text] * INCH)
    up = next(one for one in sheet if one["id"] == "diagonal-up")
    assert up["between"] == ["20, near line", f"{20 + 2 * last}, far line"]

    by_numeral = {}
    for name, at in cover.shown().items():
        side, _, n = name.partition("-")
        by_numeral[f"{side}-{20 + 2 * int(n)}" if n.isdigit() else name] = at
    by_numeral["far-44"] += 5.5
    path = folder / "found.toml"
    rows = [f'{name} = "{at:.3f} mm"' for name, at in by_numeral.items()]
    path.write_text("\n".join(["[measured]", *rows, ""]), "utf-8")
    off = off_cover(
        Meant(cover.layout, job.numerals),
        read_found(path, Meant(cover.layout, job.numerals)),
        Tape(),
        limits_of(job.tolerance, job.allowed),
    )
    assert limit(off, "total").where == "far-44"
    assert limit(off, "neighbours").where in ("far-42 to 44", "far-44 to 46")
    assert limit(off, "square").where == "line 44"
    # A numeral left out: from 30 on each stands a pitch too near, and counts two too many.
    for reads in range(30, 20 + 2 * last + 1, 2):
        by_numeral[f"near-{reads}"] -= INCH
    told = off_cover(Meant(cover.layout, job.numerals), Found(by_numeral, {}), Tape(), ())
    assert told.numbers[0].startswith("from near-30 on, numerals count 2 too many")


def test_a_cover_on_the_table_is_held_to_the_finished_lines_whatever_new_canvas_would_gain(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = one_job(tmp_path / "slack", '[cloth]\nstretch_length = "1 %"\n')
    assert main(["prove", "--job", str(folder), "--marked-before", "--json"]) == 0
    sheet = json.loads(capsys.readouterr().out)["asked"]
    true = next(one["nominal"] for one in sheet if one["id"] == "near-12")
    assert true == pytest.approx(12 * INCH)


def test_a_cover_marked_by_hand_with_two_scales_is_told_by_its_lines_and_its_centimetres(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Inches along the near side, centimetres along the far: 72 in are 182.88 cm, so that 0 to 180
    stand there by fives. The hand left 95 out and drew line 30 3 mm too far."""
    folder = tmp_path / "two"
    folder.mkdir()
    (folder / JOB_FILE).write_text(f'{JOB}[numerals]\nother_unit = "far"\n', "utf-8")
    layout = lay_out(load_job(folder, Job))
    job = ["--job", str(folder)]
    assert main(["prove", *job, "--marked-before"]) == 0
    assert "numerals of the far side count in another unit" in capsys.readouterr().out
    x = float(layout.grid.cross_x[30])
    cover = HandMarked(layout, lambda p: p + (3.0 * (abs(p[0] - x) < 1), 0.0))
    numbers = '[numbers]\nnear = "0-72"\nfar = "0-90 by 5, 100-180 by 5"'
    path = filled_in(folder, cover, numbers)
    main(["prove", *job, "--marked-before", "--measured", str(path)])
    told = capsys.readouterr().out.splitlines()
    said = [line for line in told if line.startswith("Numbers")]
    assert len(said) == 1
    assert said[0] == "Numbers: far: 95 is left out."
    assert any("30" in line and "3.0" in line for line in told), told
