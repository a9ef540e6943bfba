"""What a machine at work is sent when nothing is heard of the page that held it."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

import pytest

from devices.bench.machine import LOST, LOST_ASKED, Machine
from tests.bench.benches import awaited

SAYS_WHAT_COMES = "import sys\nfor line in sys.stdin: print(line, end='', flush=True)"
STOP, ANSWER = b"s\n", b"=0.2 mm\n"


async def changed() -> None:
    """Nobody looks."""


@pytest.mark.parametrize("waits", ["for a length", "for nothing"])
def test_a_length_that_is_to_be_typed_outlasts_the_page_and_ink_does_not(waits: str) -> None:
    """`drive` takes a stop there for the end of its run, as it has no other answer."""

    async def sent() -> tuple[bytes, str]:
        machine = Machine(Path(), changed)
        machine.holder = "a page"
        machine._process = process = await asyncio.create_subprocess_exec(
            sys.executable, "-c", SAYS_WHAT_COMES,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
        )  # fmt: skip
        machine._take("progress", {"drawn": 1})
        if waits == "for a length":
            machine._take("type", "what step?")
        await machine.lost_by("a page")
        machine._take("type", "what step?")
        await machine.type("a page", "0.2 mm")
        assert process.stdin is not None
        process.stdin.close()
        said, _ = await process.communicate()
        return said, machine.lines[-2]

    expected = (ANSWER, LOST_ASKED) if waits == "for a length" else (STOP + ANSWER, LOST)
    assert awaited(sent()) == expected
