"""Folders that go wrong while a bench has them open: said in words, and nothing lost."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import subprocess
import threading
from typing import TYPE_CHECKING

import pytest

from devices.begun import layout_of, plan_of
from devices.bench.bench_run import BenchRun
from devices.bench.one_bench import LOCK_FILE, the_bench
from devices.commands.shared import read_job
from marking.begun.on_the_cover import plan_hash
from marking.errors import BadInputError, CanvasruleError, RefusedError
from marking.record.record import open_record
from tests.bench.benches import (
    awaited,
    command,
    field,
    kept,
    small_job,
    surroundings,
    unwatched,
)
from tests.job.command_cases import without_privilege

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

    from devices.bench.open_job import OpenJob


def set_pitch(job: OpenJob, pitch: str) -> None:
    job.act({"do": "set", "name": "grid.pitch", "value": pitch})


def test_a_job_toml_in_another_encoding_is_said_until_it_is_mended(tmp_path: Path) -> None:
    folder = small_job(tmp_path / "a")
    job, text = unwatched(folder), kept(folder)
    odd = b'title = "K\xfcche"\n'
    (folder / "job.toml").write_bytes(odd)
    assert job.changed_elsewhere()
    assert "not UTF-8" in job.told()["fault"]
    assert job.drawing() != "{}"
    with pytest.raises(BadInputError, match="not UTF-8"):
        set_pitch(job, "2 in")
    assert (folder / "job.toml").read_bytes() == odd
    with pytest.raises(BadInputError, match="not UTF-8"):
        unwatched(folder)
    (folder / "job.toml").write_text(text, "utf-8")
    assert job.changed_elsewhere()
    assert job.told()["fault"] == ""


@pytest.mark.parametrize("name", ["grid.pitch", "table.survey.near", "proved.p01"])
def test_a_folder_that_is_gone_is_said_and_not_made_anew(tmp_path: Path, name: str) -> None:
    folder = small_job(tmp_path / "a")
    job = unwatched(folder)
    folder.rename(tmp_path / "b")
    assert job.changed_elsewhere()
    assert "renamed" in job.told()["fault"]
    assert job.told()["values"]["table.length"]["written"] == "26 in"
    for asked in ({"do": "set", "name": name, "value": "2 in"}, {"do": "undo"}):
        with pytest.raises(BadInputError, match="is there no more"):
            job.act(asked)
    assert not folder.exists()
    (tmp_path / "b").rename(folder)
    assert job.changed_elsewhere()
    assert job.told()["fault"] == ""


@pytest.mark.parametrize("name", ["job.db", "job.waiting.json", "out"])
def test_what_stands_in_the_way_of_a_jobs_files_is_said_in_words(tmp_path: Path, name: str) -> None:
    folder = small_job(tmp_path / "a")
    job = unwatched(folder)
    if name == "out":
        (folder / name).write_text("no folder", "utf-8")
    else:
        (folder / name).mkdir()
    job.changed_elsewhere()
    told = job.told()
    assert told["files"] == []
    assert ("job.db" in told["fault"]) is (name == "job.db")
    if name == "job.waiting.json":
        with pytest.raises(CanvasruleError, match="in the way"):
            job.act({"do": "set", "name": "table.survey.near", "value": "26 in"})
    if name == "out":
        awaited(ended(job, "keep-page"))
        keep = job.errands.known["keep-page"]
        assert keep.code
        assert "out" in "".join(keep.said)
        assert (folder / name).read_text("utf-8") == "no folder"


async def ended(job: OpenJob, kind: str) -> None:
    await job.errand(kind, {})
    while job.errands.at_work:
        await asyncio.sleep(0.05)


def test_a_folder_that_cannot_be_written_is_shown_and_every_change_refused_in_words(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a")
    before = kept(folder)
    folder.chmod(0o555)
    (folder / "job.toml").chmod(0o444)
    process = subprocess.Popen(
        command("bench", "--job", folder, "--no-open", "--json"),
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=surroundings(),
        preexec_fn=without_privilege,
    )  # fmt: skip
    assert process.stdout is not None
    try:
        page = browser.new_page()
        page.goto(json.loads(process.stdout.readline())["page"])
        page.locator("#numerals svg").first.wait_for()
        for name, value in (("grid.pitch", "2 in"), ("table.survey.near", "26 in")):
            page.locator(field(name)).fill(value)
            page.locator(field(name)).blur()
            page.locator("#say").get_by_text(str(folder)).wait_for()
            assert page.locator(field(name)).input_value() == value
            page.locator("#heard").click()
        page.get_by_role("button", name="The page to staple under the table").click()
        page.locator('[data-of="keep-page"] .fault').get_by_text("Permission denied").wait_for()
    finally:
        process.terminate()
        process.communicate(timeout=60)
        folder.chmod(0o755)
    assert kept(folder) == before
    assert sorted(os.listdir(folder)) == ["job.toml"]


def test_a_job_is_not_renamed_while_something_is_worked_out_in_it(tmp_path: Path) -> None:
    async def story() -> None:
        this_run = BenchRun(tmp_path, "key")
        folder = small_job(tmp_path / "a")
        this_run.open(folder)
        assert this_run.job is not None
        await this_run.job.errand("keep-page", {})
        rename = {"do": "job", "act": "rename", "name": "b"}
        with pytest.raises(RefusedError, match="wait until it is done"):
            await this_run._done("page", rename)
        assert folder.is_dir()
        while this_run.job.errands.at_work:
            await asyncio.sleep(0.05)
        await this_run._done("page", rename)
        assert (tmp_path / "b" / "out" / "paper" / "keep.pdf").is_file()
        await this_run.close()

    awaited(story())


def test_a_second_start_waits_for_the_first_to_write_its_address(tmp_path: Path) -> None:
    with the_bench(tmp_path, "http://127.0.0.1:5/?key=k") as first:
        assert first is None
        lock = tmp_path / LOCK_FILE
        whole = lock.read_bytes()
        lock.write_bytes(whole[:12])
        writing = threading.Timer(0.4, lock.write_bytes, [whole])
        writing.start()
        with the_bench(tmp_path, "http://127.0.0.1:6/?key=l") as second:
            assert second == "http://127.0.0.1:5/?key=k"
        writing.join()


def test_once_there_is_ink_no_undo_and_no_redo_moves_a_line(tmp_path: Path) -> None:
    folder = small_job(tmp_path / "a")
    job = unwatched(folder)
    set_pitch(job, "2 in")
    job.act({"do": "set", "name": "title", "value": "Ours"})
    read = read_job(folder)
    layout = layout_of(folder, read)
    plan = plan_of(folder, "plotter", read, layout, None)
    with open_record(folder) as record:
        record.add_ink(layout, plan.sections[0].id, "begun", plan_hash(plan))
        record.add_ink(layout, plan.sections[0].id, "done", plan_hash(plan))
    job.changed_elsewhere()
    # What moves no line goes back and forth.
    job.act({"do": "undo"})
    assert "Ours" not in kept(folder)
    before = kept(folder)
    with pytest.raises(RefusedError):
        job.act({"do": "undo"})
    assert kept(folder) == before
    assert job.told()["undo"]
    with pytest.raises(CanvasruleError):
        set_pitch(job, "3 in")
    job.act({"do": "redo"})
    assert "Ours" in kept(folder)
    assert job.told()["fault"] == ""
    shutil.rmtree(folder)
