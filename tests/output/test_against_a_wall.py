"""A table against a wall has to come off it for what is set and read at its far edge: every verb
that sends a person there says so, and the picture shows the wall. Common practice, no source."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pymupdf
import pytest

from devices.commands import main
from devices.job import Job
from marking.drawing.svg import svg
from marking.job.folder import JOB_FILE, load_job
from marking.layout.edges import off_the_wall
from marking.layout.layout import lay_out
from marking.output.table_picture import table_picture
from tests.conftest import toml

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import MakeJob
    from tests.sections.records import Record

WALL: Record = {
    "table": {"length": "30 in", "width": "20 in", "against_wall": True},
    "plotter": {"profile": "flatbed-24x36"},
}
OPEN: Record = {**WALL, "table": {"length": "30 in", "width": "20 in"}}


def written(tables: Record, folder: Path) -> Path:
    folder.mkdir()
    (folder / JOB_FILE).write_text(toml(tables), "utf-8")
    return folder


def words_of(pdf: Path) -> str:
    with pymupdf.open(pdf) as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


@pytest.mark.parametrize(
    ("words", "sheet"),
    [
        (["ways"], None),
        (["control"], "control.pdf"),
        (["control", "--for", "reach"], "control.pdf"),
        (["prove"], "proof.pdf"),
        (["prove", "--marked-before"], "marked-before.pdf"),
        (["paper", "hand"], "paper/hand.pdf"),
        (["paper", "job"], "paper/job.pdf"),
    ],
    ids=lambda given: "-".join(given) if isinstance(given, list) else str(given),
)
def test_every_verb_that_sends_someone_to_the_far_edge_has_the_table_off_the_wall_first(
    words: list[str], sheet: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (note,) = off_the_wall(load_job(written(WALL, tmp_path / "wall"), Job).table)
    written(OPEN, tmp_path / "open")
    said, printed = {}, {}
    for name in ("wall", "open"):
        main([words[0], *words[1:], "--job", str(tmp_path / name)])
        said[name] = " ".join(capsys.readouterr().out.split())
        printed[name] = words_of(tmp_path / name / "out" / sheet) if sheet else ""
    if words[0] != "paper":
        assert note in said["wall"]
    assert sheet is None or note in printed["wall"]
    assert "wall" not in said["open"]
    assert "stands against a wall" not in printed["open"]


def test_the_picture_shows_the_wall_and_where_it_is(make_job: MakeJob) -> None:
    drawn = {}
    for name, tables in (("wall", WALL), ("open", OPEN)):
        job = make_job(tables)
        drawn[name] = svg(table_picture(lay_out(job), job)).decode()
    assert 'id="wall"' in drawn["wall"]
    assert "against a wall" in drawn["wall"]
    assert "wall" not in drawn["open"]
