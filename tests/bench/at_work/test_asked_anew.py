"""What is asked for again while it is being worked out."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from devices.bench.errands import DRAWN_BESIDE, Errands
from tests.bench.benches import awaited, small_job

if TYPE_CHECKING:
    from asyncio.subprocess import Process
    from pathlib import Path

    import pytest


class Changed:
    """Hears that an errand is done."""

    def __init__(self) -> None:
        self.told, self.anew = asyncio.Event(), False

    async def __call__(self, kind: str) -> None:
        self.told.set()


def test_an_errand_that_is_asked_for_anew_is_answered_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was ended just as it began the second verb that its picture is drawn by."""
    errands = Errands(small_job(tmp_path / "a"), changed := Changed())
    begun = errands._begun

    async def slowly(verb: str, *options: str) -> Process:
        process = await begun(verb, *options)
        if options[-1:] == ("--json",) and not changed.anew:
            changed.anew = True
            await errands.start("cover", 2)
        return process

    monkeypatch.setattr(errands, "_begun", slowly)

    async def asked() -> int:
        await errands.start("cover", 1)
        async with asyncio.timeout(30):
            await changed.told.wait()
        return errands.known["cover"].of

    assert "cover" in DRAWN_BESIDE
    assert awaited(asked()) == 2
