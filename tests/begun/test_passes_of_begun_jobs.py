"""A job begun when passes lay one over the other goes on so."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from devices.commands import main
from marking.job.folder import RECORD_FILE
from marking.job.keys import Pen
from tests.begun.test_begun_jobs import (
    ASKED,
    AnotherVersion,
    changed,
    in_the_form_of_0_1,
    inked_job,
    read_as_planned,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.begun.test_begun_jobs import Ran


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """Runs a verb in this process: exit code, results, messages."""

    def run(verb: str, folder: Path, *words: str | Path) -> Ran:
        code = main([verb, "--job", str(folder), *map(str, words)])
        done = capsys.readouterr()
        return code, done.out, done.err

    return run


def with_passes_over_each_other(patch: pytest.MonkeyPatch) -> None:
    """As versions up to 0.1 drew a line twice."""
    patch.setattr(Pen, "beside", ())
    patch.setattr(Pen, "line_width", property(lambda pen: pen.width))


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (folder / "out" / "sections").iterdir()}


@pytest.mark.parametrize("kept", ["as data", "as version 0.1 kept it"])
def test_a_begun_job_goes_on_with_its_passes_over_each_other(
    kept: str, tmp_path: Path, said: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lines half of which are 1 mm wide and half 1.5 mm would show where they meet."""
    with monkeypatch.context() as older:
        with_passes_over_each_other(older)
        folder = inked_job(tmp_path / "older", said)
        assert said("write", folder, "--hpgl", "--svg")[0] == 0
    before = files_in(folder)
    shutil.rmtree(folder / "out")
    if kept != "as data":
        in_the_form_of_0_1(folder)
    assert said("write", folder, "--hpgl", "--svg")[0] == 0
    assert files_in(folder) == before
    changed(folder, "schema = 1", 'schema = 1\ntitle = "The next cover"')
    (folder / RECORD_FILE).unlink()
    assert said("write", folder, "--hpgl", "--svg")[0] == 0
    assert files_in(folder) != before


def test_a_folder_of_an_older_version_that_comes_out_the_same_is_carried_over_without_a_word(
    tmp_path: Path, said: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as older:
        with_passes_over_each_other(older)
        inked = inked_job(tmp_path / "a3", said)
    before = [said(verb, inked, *words)[:2] for verb, *words in ASKED]
    in_the_form_of_0_1(inked)
    assert [said(verb, inked, *words)[:2] for verb, *words in ASKED[:3]] == before[:3]
    readings = read_as_planned(inked, "r1c2", said)
    code, out, told = said("place", inked, "--readings", readings)
    assert code == 0, told
    assert "r1c2: INK" in out
    assert "0.1" not in told
    AnotherVersion(monkeypatch)
    assert [said(verb, inked, *words)[:2] for verb, *words in ASKED[:3]] == before[:3]
