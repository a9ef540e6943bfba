"""What becomes of the job that is open while another is asked for."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import pytest

from devices.bench.bench_run import BenchRun
from marking.errors import BadInputError
from tests.bench.benches import awaited, small_job

if TYPE_CHECKING:
    from pathlib import Path


def test_an_errand_goes_on_where_the_job_asked_for_cannot_be_opened(tmp_path: Path) -> None:
    this_run = BenchRun(tmp_path, "key")
    this_run.open(small_job(tmp_path / "a"))

    async def asked() -> bool:
        assert this_run.job is not None
        await this_run.job.errand("cover", {})
        with pytest.raises(BadInputError, match="nowhere"):
            await this_run._done("page", {"do": "job", "act": "open", "name": "nowhere"})
        goes_on = this_run.job.errands.at_work
        await this_run.close()
        return goes_on

    assert awaited(asked())


def test_a_second_start_opens_no_other_job_once_a_machine_has_begun(tmp_path: Path) -> None:
    """It was asked for while a tap was being done, which began the machine."""
    this_run = BenchRun(tmp_path, "key")
    this_run.open(small_job(tmp_path / "a"))
    small_job(tmp_path / "b")

    async def asked() -> str:
        assert this_run.job is not None
        machine = this_run.job.machine
        async with this_run.turn:
            asking = asyncio.create_task(this_run.asked_for("b"))
            await asyncio.sleep(0)
            await machine.start("page", [])
        await asking
        opened = this_run.job.folder.name
        await machine.close()
        return opened

    assert awaited(asked()) == "a"
