"""Holds one page: hears it and does what it asks, each in its own time, until it goes.

It knows a line and taps, and not what a tap is for.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from starlette.websockets import WebSocketDisconnect

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping

    from devices.serving.line import PageLine

WAITING = 32
"""Taps of one page that may wait for their turn before no more of its words are read."""
Tap = tuple[int, "Mapping[str, Any]"]


async def held(
    line: PageLine,
    heard: Callable[[dict[str, Any] | None], Awaitable[Tap | None]],
    act: Callable[[int, Mapping[str, Any]], Awaitable[None]],
) -> None:
    """Returns once the page has gone.

    `heard` is given what the page says, and None when it begins or ceases to be quiet; a tap that
    it returns waits for its turn with `act`.
    """
    waiting: asyncio.Queue[Tap] = asyncio.Queue(WAITING)

    async def hears() -> None:
        while True:
            tap = await heard(await line.heard())
            if tap is not None:
                await waiting.put(tap)

    async def acts() -> None:
        while True:
            await act(*await waiting.get())

    # Two tasks, since a page must be answered while what it asked for takes its time.
    try:
        async with asyncio.TaskGroup() as both:
            both.create_task(hears())
            both.create_task(acts())
    except* WebSocketDisconnect:
        pass
