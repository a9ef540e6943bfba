"""Turns away requests that are not from this run's own pages: wrong host, wrong origin, too much.

It knows headers, no pages. A page elsewhere can make a browser send requests here; the Host
header gives away a name pointed at this machine (Starlette's own check), Origin a page from
another place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.datastructures import Headers
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from collections.abc import Collection

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_HEADERS = {
    "cache-control": "no-store",
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; "
    "base-uri 'none'",
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
}
_FOREIGN = 4403
_WRONG_HOST = 400
LONGEST_BODY = 1000
"""Bytes: what the pages send is a code of six figures."""


_CLOSE = {"connection": "close"}
"""So that a body that was not read is not waited for."""


def too_long() -> PlainTextResponse:
    """The refusal of a body longer than `LONGEST_BODY`."""
    return PlainTextResponse("That is longer than anything these pages send.", 413, _CLOSE)


def _announced(headers: Headers) -> int:
    """How many bytes the request says will follow; too many where that is no sensible number."""
    text = headers.get("content-length", "0")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else LONGEST_BODY + 1


class Guard:
    """The application behind a check of Host and Origin, and with careful headers.

    `hosts` are those it is opened at, each with its port.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str]) -> None:
        names = sorted({host.rpartition(":")[0] for host in hosts})
        self.app = TrustedHostMiddleware(app, names, www_redirect=False)
        self.origins = frozenset(f"http://{host}" for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answers with a refusal, or lets the application answer."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if changes and headers.get("origin") not in self.origins:
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": _FOREIGN})
                return
            refusal = PlainTextResponse("This address is not one of this page's own.", 403, _CLOSE)
            await refusal(scope, receive, send)
            return
        if scope["type"] == "http" and _announced(headers) > LONGEST_BODY:
            await too_long()(scope, receive, send)
            return

        async def careful(message: Message) -> None:
            if message["type"] == "http.response.start":
                refused = _CLOSE if message["status"] == _WRONG_HOST else {}
                raw = [(k.encode(), v.encode()) for k, v in {**_HEADERS, **refused}.items()]
                message = {**message, "headers": [*message["headers"], *raw]}
            await send(message)

        await self.app(scope, receive, careful)
