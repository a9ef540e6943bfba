"""What the bench leaves undone while a machine is at work: pages wait for no layout then."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, cast

from devices.bench import open_job
from devices.bench.bench_run import BenchRun
from devices.serving.line import PageLine
from marking.record.record import layout_hash, open_record
from tests.bench.benches import awaited, small_job, unwatched

if TYPE_CHECKING:
    from pathlib import Path

    import pytest
    from starlette.websockets import WebSocket


class Wire:
    """A page's connection, which keeps what is sent."""

    def __init__(self) -> None:
        self.sent: list[str] = []

    async def send_text(self, text: str) -> None:
        self.sent.append(json.loads(text)["type"])


def test_a_nudge_is_answered_without_the_job_being_shown_anew(tmp_path: Path) -> None:
    small_job(tmp_path / "a")

    async def nudged() -> tuple[list[str], list[str]]:
        this_run, wire = BenchRun(tmp_path, "key"), Wire()
        this_run.open(tmp_path / "a")
        assert this_run.job is not None
        line = PageLine(cast("WebSocket", wire))
        this_run.pages.add(line)
        await this_run.greet(line, "page")
        this_run.job.machine.holder = "page"
        wire.sent.clear()
        key: dict[str, Any] = {"do": "machine", "act": "key", "key": "up"}
        await this_run.tapped(line, 1, key)
        after_a_key = list(wire.sent)
        await this_run.tapped(line, 2, {"do": "set", "name": "grid.margin", "value": "2 in"})
        return after_a_key, wire.sent[len(after_a_key) :]

    after_a_key, after_a_change = awaited(nudged())
    assert "done" in after_a_key
    assert "job" not in after_a_key
    assert "job" in after_a_change


def test_the_record_is_read_anew_only_once_it_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = small_job(tmp_path / "a")
    looks: list[Path] = []
    read = open_job.kept_of

    def kept_of(folder: Path, *of: Any) -> Any:
        looks.append(folder)
        return read(folder, *of)

    monkeypatch.setattr(open_job, "kept_of", kept_of)
    job = unwatched(folder)
    assert [job.told()["steps"][6]["says"] for _ in range(3)] == ["Nothing measured yet"] * 3
    assert len(looks) == 1
    with open_record(folder) as record:
        record.add_check("", "proof", "", {"outcome": "pass"})
    # That was another marking's.
    assert job.told()["steps"][6]["says"] == "Nothing measured yet"
    assert len(looks) == 2
    assert job.now.layout is not None
    for outcome, says in {"fail": "It does not pass", "pass": "The cover passes"}.items():
        with open_record(folder) as record:
            record.add_check(layout_hash(job.now.layout), "proof", "", {"outcome": outcome})
        step = job.told()["steps"][6]
        assert (step["says"], step["left"]) == (says, outcome != "pass")
