"""The body of a request, no longer than these pages' are and no later than they come."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

from devices.serving.guard import LONGEST_BODY

if TYPE_CHECKING:
    from starlette.requests import Request

_BODY_SECONDS = 5.0


async def short_body(request: Request) -> bytes | None:
    """The body; None where it is longer than a page's, or does not come."""
    body = b""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(_BODY_SECONDS):
            async for part in request.stream():
                body += part
                if len(body) > LONGEST_BODY:
                    return None
            return body
    return None
