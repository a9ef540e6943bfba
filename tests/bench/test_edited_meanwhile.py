"""A job's folder that another program writes to while the bench works on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.bench import open_job
from tests.bench.benches import kept, small_job, unwatched

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_an_editor_that_saves_while_a_change_is_worked_out_is_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = unwatched(small_job(tmp_path / "a"))
    assert not job.changed_elsewhere()
    real = open_job.standing

    def saved_meanwhile(folder: Path, text: str) -> object:
        if text == job.file.text and "2 in" in kept(folder):
            (folder / "job.toml").write_text(kept(folder).replace("2 in", "3 in"), "utf-8")
        return real(folder, text)

    monkeypatch.setattr(open_job, "standing", saved_meanwhile)
    job.act({"do": "set", "name": "grid.pitch", "value": "2 in"})
    assert job.changed_elsewhere()
    assert job.told()["values"]["grid.pitch"]["written"] == "3 in"
    assert not job.changed_elsewhere()
