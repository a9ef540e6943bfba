"""What the bench hears while it works a job out anew: beats, and a stop, above all."""

from __future__ import annotations

import asyncio
import threading
from typing import TYPE_CHECKING

from devices.bench.bench_run import BenchRun
from tests.bench.benches import awaited, small_job

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_a_job_that_takes_long_to_work_out_keeps_nobody_from_being_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    this_run = BenchRun(tmp_path, "key")
    this_run.open(small_job(tmp_path / "a"))
    assert this_run.job is not None
    begun, heard = threading.Event(), threading.Event()
    in_time = []

    def looks() -> bool:
        begun.set()
        in_time.append(heard.wait(60))
        return False

    monkeypatch.setattr(this_run.job, "changed_elsewhere", looks)

    async def meanwhile() -> None:
        watching = asyncio.create_task(this_run.watch())
        while not begun.is_set():
            await asyncio.sleep(0.01)
        await this_run.stop()
        heard.set()
        watching.cancel()

    awaited(asyncio.wait_for(meanwhile(), 50))
    # Stopped while it was being worked out, and not after.
    assert in_time == [True]
