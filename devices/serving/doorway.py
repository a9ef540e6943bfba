"""The door that connections come through: uvicorn's, with limits on how long and how much.

It knows bytes on a connection and no page. A client that sends its request letter by letter
would otherwise hold a connection for ever.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

if TYPE_CHECKING:
    import asyncio

    from starlette.types import ASGIApp

HEAD_SECONDS = 5.0
"""By when the whole head of a request must have come."""
LONGEST_MESSAGE = 64 * 1024
"""Bytes of a WebSocket message; the longest that a page sends is a note of 4,000 letters."""
_LONGEST_HEAD = 16 * 1024


class PatientProtocol(H11Protocol):
    """HTTP/1.1 that ends a connection whose request does not come."""

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Starts to wait for the first request."""
        super().connection_made(cast("asyncio.Transport", transport))
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is waited for any more."""
        self._stop_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Reads on; while a head is not whole, the time that it has runs on."""
        super().data_received(data)
        # h11's peer is idle until a whole head has come.
        if self.conn.their_state is not h11.IDLE:
            self._stop_waiting()
        elif self._late is None:
            self._wait()

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """Another protocol has the connection from here on."""
        self._stop_waiting()
        super().handle_websocket_upgrade(event)

    def _wait(self) -> None:
        self._late = self.loop.call_later(HEAD_SECONDS, self._give_up)

    def _stop_waiting(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _give_up(self) -> None:
        self._late = None
        if not self.transport.is_closing():
            self.transport.close()


def server(app: ASGIApp) -> uvicorn.Server:
    """A server of `app` behind this door."""
    return uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="error",
            http=PatientProtocol,
            ws="wsproto",
            lifespan="off",
            h11_max_incomplete_event_size=_LONGEST_HEAD,
            ws_max_size=LONGEST_MESSAGE,
            # A few bytes can be a deflated hundred megabytes.
            ws_per_message_deflate=False,
            ws_ping_interval=None,
            timeout_graceful_shutdown=3,
        )
    )
