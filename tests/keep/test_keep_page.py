"""From the keep page alone the job is made again, typed, scanned or copied.

Outside authorities: ZXing decodes the squares, MuPDF extracts the text and renders the page; the
check of a line is that of the published value for CRC-16 from all ones (29B1 hex for "123456789",
Cook's catalogue of CRC algorithms, from memory).
"""

from __future__ import annotations

import binascii
import contextlib
import io
import json
import random
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pymupdf
import pytest
import zxingcpp

from devices.commands import main
from devices.job import Job
from marking.errors import BadInputError
from marking.job.folder import load_job
from marking.keep.codes import MOST_BYTES, groups
from marking.keep.kept_job import KeptJob, kept_job, made_again
from marking.keep.lines import LONGEST, kept_lines, read_lines
from marking.layout.layout import lay_out
from marking.record.record import layout_hash
from tests.conftest import MILLRACE
from tests.full_size.printed_sheets import paper

if TYPE_CHECKING:
    from pathlib import Path

OWN = r"""
title = "Zoë’s  long \\u0000 bench 🧵"
[table]
profile = "bench-150x360cm"
[table.survey]
near = "3.6 m"
far = "3.6 m"
zero_end = "1.5 m"
far_end = "1.5 m"
diagonal_from_zero_near = "3.9 m"
diagonal_from_zero_far = "3.9 m"
again = { near = "3.6 m" }
[hems]
folds = ["double 1.5 cm", "single 1 1/2 in"]
[pens]
lines = { profile = "fabric-fine" }
[plotter]
profile = "ours.toml"
x_size = "390 mm"
[cloth]
stretch_length = "0.7 %"
"""


def job_in(folder: Path, text: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text(text, "utf-8")
    return folder


def kept_of(folder: Path) -> KeptJob:
    job = load_job(folder, Job)
    return kept_job(folder, job, "0.2.0", layout_hash(lay_out(job)))


@pytest.fixture(scope="module")
def page(tmp_path_factory) -> pymupdf.Page:
    folder = job_in(tmp_path_factory.mktemp("kept"), MILLRACE)
    (file,) = paper(folder, "keep")["files"]
    return pymupdf.open(folder / "out" / file["path"])[0]


def started(folder: Path, text: str) -> tuple[int, str, str]:
    """Exit code, what was printed, and what was said, of `start --from-page`."""
    page = folder.parent / f"{folder.name}.txt"
    page.write_text(text, "utf-8")
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["start", str(folder), "--from-page", str(page), "--json"])
    return code, out.getvalue(), err.getvalue()


def test_text_copied_from_the_page_makes_the_same_job(page, tmp_path, millrace):
    """With the headings beside it, which are no lines."""
    code, said, _ = started(tmp_path / "again", page.get_text())
    assert code == 0
    assert json.loads(said)["same_marking"] is True
    again = load_job(tmp_path / "again", Job)
    assert again.model_dump() == millrace.model_dump()
    assert layout_hash(lay_out(again)) == layout_hash(lay_out(millrace))


def test_the_squares_read_by_another_program_make_the_same_job(page, tmp_path, millrace):
    """In grey, at 150 dpi, a little turned, and read in whatever order they are found."""
    got = page.get_pixmap(dpi=150, colorspace=pymupdf.csGRAY)
    seen = np.frombuffer(got.samples, np.uint8).reshape(got.height, got.width)
    turn = cv2.getRotationMatrix2D((got.width / 2, got.height / 2), 2.0, 0.97)
    seen = cv2.warpAffine(seen, turn, (got.width, got.height), borderValue=255)
    texts = [square.text for square in zxingcpp.read_barcodes(seen)]
    assert len(texts) == 3
    code, said, _ = started(tmp_path / "again", "\n".join(sorted(texts, reverse=True)))
    assert code == 0
    assert json.loads(said)["same_marking"] is True
    assert load_job(tmp_path / "again", Job).model_dump() == millrace.model_dump()


def test_a_job_with_profiles_of_its_own_is_kept_whole(tmp_path):
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "ours.toml").write_bytes(
        b'about = "Ours"\n' + stock_text("plotters", "flatbed-a4").split(b"\n", 1)[1]
    )
    job_in(folder, OWN)
    kept = kept_of(folder)
    assert list(kept.files) == ["job.toml", "ours.toml"]
    lines = kept_lines(kept)
    text = "\n".join(lines)
    assert text.isascii()
    assert "bench-150x360cm" not in text
    assert all(len(line) <= LONGEST + 10 for line in lines)
    assert read_lines(text, "page.txt") == kept
    job = load_job(folder, Job)
    assert made_again(kept, Job, "page.txt").model_dump() == job.model_dump()
    assert started(tmp_path / "again", text)[0] == 0
    again = load_job(tmp_path / "again", Job)
    assert again.model_dump() == job.model_dump()
    assert again.title == "Zoë’s  long \\u0000 bench 🧵"


def stock_text(kind: str, name: str) -> bytes:
    from marking.shipped_files import stock

    return stock().joinpath(kind, f"{name}.toml").read_bytes()


def test_keys_left_to_their_defaults_stand_on_the_page(tmp_path):
    """A later version may have others."""
    text = kept_of(job_in(tmp_path, '[table]\nlength = "60 in"\nwidth = "30 in"\n')).files
    for line in ('pitch = "1 in"', 'height = "auto"', "heavy_every = 12", 'clear = "1/8 in"'):
        assert line in text["job.toml"]


def test_the_check_of_a_line_is_the_published_one():
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1


@pytest.fixture(scope="module")
def lines(tmp_path_factory) -> tuple[str, ...]:
    return kept_lines(kept_of(job_in(tmp_path_factory.mktemp("lines"), MILLRACE)))


def test_any_letter_wrong_in_any_line_names_the_line(lines):
    """Every single wrong letter, every two exchanged, at random places of every line."""
    chance = random.Random(7)
    for n, line in enumerate(lines):
        start = line.index(" ") + 1
        at = chance.randrange(start, len(line))
        while line[at] == " ":
            at = chance.randrange(start, len(line))
        other = "#" if line[at] in "0123456789abcdef" else "7"
        for wrong in (line[:at] + other + line[at + 1 :], exchanged(line, chance)):
            text = "\n".join([*lines[:n], wrong, *lines[n + 1 :]])
            with pytest.raises(BadInputError) as told:
                read_lines(text, "page.txt")
            said = "\n".join(told.value.messages)
            assert f"page.txt:{n + 1}: " in said, wrong
            assert len(told.value.messages) <= 2


def exchanged(line: str, chance: random.Random) -> str:
    """The line with two letters of its text exchanged."""
    spots = [k for k in range(8, len(line) - 1) if line[k] != line[k + 1]]
    spots = [k for k in spots if " " not in line[k : k + 2]] or [8]
    k = chance.choice(spots)
    return line[:k] + line[k + 1] + line[k] + line[k + 2 :]


def test_what_phones_and_typists_change_does_not_count(lines):
    text = "\r\n".join(
        line.replace(" ", "  ", 1).replace(" = ", "\u00a0=  ").replace('"', "”") for line in lines
    )
    assert read_lines(f"\ufeff{text}\r\n\r\n", "page.txt") == read_lines(
        "\n".join(reversed(lines)), "page.txt"
    )


def test_squares_are_few_and_evenly_filled():
    """However the lines fall: none overfull, none with a line or two alone."""
    for count in range(1, 140):
        lines = [f"{n:03} 0000 {'x' * (n * 7 % 45)}" for n in range(count)]
        made = list(groups(lines))
        assert [line for group in made for line in group] == lines
        sizes = [sum(len(line) + 1 for line in group) for group in made]
        assert max(sizes) <= MOST_BYTES
        assert len(made) <= sum(sizes) / (MOST_BYTES - 60) + 1
        assert min(sizes) >= max(sizes) - 120


@pytest.mark.parametrize(
    ("mend", "said"),
    [
        (lambda lines: lines[:10] + lines[11:], "line 11 of the page is missing"),
        (lambda lines: lines[:-1], "what follows line"),
        (lambda lines: [], "no line of a keep page"),
        (lambda lines: ["nothing"], "no line of a keep page"),
        (lambda lines: [lines[0].replace(" ", "", 1), *lines[1:]], "as it stands"),
    ],
)
def test_a_page_that_lacks_something_says_what(lines, mend, said):
    with pytest.raises(BadInputError, match=said):
        read_lines("\n".join(mend(list(lines))), "page.txt")


def test_lines_of_two_pages_are_not_mixed(lines, tmp_path):
    other = kept_lines(kept_of(job_in(tmp_path, MILLRACE.replace("Millrace", "Other"))))
    with pytest.raises(BadInputError, match="two pages"):
        read_lines("\n".join([*lines, *other]), "page.txt")


def test_a_page_can_write_nothing_outside_its_folder(lines, tmp_path):
    for name in ("../job.toml", "/job.toml", "C:x.toml", "a\\b.toml", ".job.toml", "job.py"):
        kept = KeptJob({"job.toml": "schema = 1\n", name: "x = 1\n"}, "0.2.0", "0" * 16)
        code, _, said = started(tmp_path / "again", "\n".join(kept_lines(kept)))
        assert code == 2
        assert "no plain file name" in said
        assert not (tmp_path / "again").exists()


def test_a_marking_that_comes_out_otherwise_is_told(lines, tmp_path):
    kept = read_lines("\n".join(lines), "page.txt")
    other = KeptJob(kept.files, "0.1.0", "0123456789abcdef")
    code, said, told = started(tmp_path / "again", "\n".join(kept_lines(other)))
    assert code == 0
    assert json.loads(said)["same_marking"] is False
    assert "add no ink" in told


def test_a_page_and_answers_together_are_refused(tmp_path, capsys):
    words = ["start", str(tmp_path / "a"), "--from-page", "x.txt", "--length", "60 in"]
    assert main(words) == 2
    assert "leave out --length" in capsys.readouterr().err


def test_a_job_as_it_is_begun_is_one_page_whose_squares_are_read_at_150_dpi(tmp_path):
    """Of two pages one is lost in six years. Four squares in a row have modules of 0.4 mm."""
    folder = tmp_path / "begun"
    assert main(["start", str(folder), "--length", "12' 3 1/2\"", "--width", "4' 10 1/2\""]) == 0
    (file,) = paper(folder, "keep")["files"]
    (page,) = pymupdf.open(folder / "out" / file["path"])
    got = page.get_pixmap(dpi=150, colorspace=pymupdf.csGRAY)
    seen = np.frombuffer(got.samples, np.uint8).reshape(got.height, got.width)
    texts = [square.text for square in zxingcpp.read_barcodes(seen)]
    assert len(texts) == 4
    copied = read_lines(page.get_text(), "page.txt")
    assert read_lines("\n".join(texts), "squares.txt") == copied


def test_a_long_job_is_kept_on_more_pages_than_one(tmp_path):
    """A new job's own template, with a plotter's profile beside it."""
    folder = tmp_path / "long"
    assert (
        main(
            [
                "start",
                str(folder),
                "--length",
                "150 in",
                "--width",
                "64 in",
                "--plotter",
                "flatbed-a3",
            ]
        )
        == 0
    )
    (folder / "ours.toml").write_bytes(stock_text("plotters", "flatbed-a3"))
    text = (folder / "job.toml").read_text("utf-8")
    (folder / "job.toml").write_text(text.replace('"flatbed-a3"', '"ours.toml"'), "utf-8")
    (file,) = paper(folder, "keep")["files"]
    pages = pymupdf.open(folder / "out" / file["path"])
    copied = "\n".join(page.get_text() for page in pages)
    assert read_lines(copied, "page.txt").files.keys() == {"job.toml", "ours.toml"}
    for sheet in pages:
        for x0, y0, x1, y1, *_ in sheet.get_text("words"):
            assert x0 > 20
            assert y0 > 20
            assert x1 < sheet.rect.width - 20
            assert y1 < sheet.rect.height - 20
