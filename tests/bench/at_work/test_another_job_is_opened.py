"""What becomes of the job that is open while another is asked for."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import pytest

from devices.bench.house import BenchHouse
from marking.errors import BadInputError
from tests.bench.benches import awaited, small_job

if TYPE_CHECKING:
    from pathlib import Path


def test_an_errand_goes_on_where_the_job_asked_for_cannot_be_opened(tmp_path: Path) -> None:
    house = BenchHouse(tmp_path, "key")
    house.open(small_job(tmp_path / "a"))

    async def asked() -> bool:
        assert house.job is not None
        await house.job.errand("cover", {})
        with pytest.raises(BadInputError, match="nowhere"):
            await house._done("page", {"do": "job", "act": "open", "name": "nowhere"})
        goes_on = house.job.errands.at_work
        await house.close()
        return goes_on

    assert awaited(asked())


def test_a_second_start_opens_no_other_job_once_a_machine_has_begun(tmp_path: Path) -> None:
    """It was asked for while a tap was being done, which began the machine."""
    house = BenchHouse(tmp_path, "key")
    house.open(small_job(tmp_path / "a"))
    small_job(tmp_path / "b")

    async def asked() -> str:
        assert house.job is not None
        machine = house.job.machine
        async with house.turn:
            asking = asyncio.create_task(house.asked_for("b"))
            await asyncio.sleep(0)
            await machine.start("page", [])
        await asking
        opened = house.job.folder.name
        await machine.close()
        return opened

    assert awaited(asked()) == "a"
