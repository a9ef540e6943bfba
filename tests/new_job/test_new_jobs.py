"""A job's folder as it is begun like another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from devices.job import Job
from devices.new_job.like import make_like
from marking.errors import BadInputError
from marking.job.folder import load_job
from marking.shipped_files import stock

if TYPE_CHECKING:
    from pathlib import Path

JOB = 'schema = 1\ntitle = "Millrace long"  # ours\n[table]\nlength = "26 in"\nwidth = "17 in"\n'


@pytest.fixture
def old(tmp_path: Path) -> Path:
    folder = tmp_path / "old"
    folder.mkdir()
    (folder / "job.toml").write_text(JOB, "utf-8")
    return folder


def test_the_next_covers_job_may_have_a_title_of_its_own_and_keeps_all_else(old: Path) -> None:
    make_like(old.parent / "next", old, title="Millrace short")
    made = (old.parent / "next" / "job.toml").read_text("utf-8")
    assert made == JOB.replace("Millrace long", "Millrace short")
    assert load_job(old.parent / "next", Job).title == "Millrace short"
    make_like(old.parent / "same", old)
    assert (old.parent / "same" / "job.toml").read_bytes() == (old / "job.toml").read_bytes()


def test_a_file_that_is_there_is_never_written_over_and_nothing_is_left_half_made(
    old: Path,
) -> None:
    """A profile of the job's own is copied with it."""
    text = JOB + '[plotter]\nprofile = "ours.toml"\n'
    (old / "job.toml").write_text(text, "utf-8")
    ours = stock().joinpath("plotters", "flatbed-a3.toml").read_bytes()
    (old / "ours.toml").write_bytes(ours)
    there = old.parent / "next"
    there.mkdir()
    (there / "ours.toml").write_text("mine", "utf-8")
    with pytest.raises(BadInputError, match=r"ours\.toml: is there already and was not touched"):
        make_like(there, old)
    assert (there / "ours.toml").read_text("utf-8") == "mine"
    assert not (there / "job.toml").exists()
    make_like(old.parent / "other", old)
    assert (old.parent / "other" / "ours.toml").read_bytes() == ours
