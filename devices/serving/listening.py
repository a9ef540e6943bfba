"""Where pages are answered: a port of this machine, its address, and how a person gets there."""

from __future__ import annotations

import contextlib
import os
import socket

from marking.errors import BadInputError, RefusedError

LOOPBACK = "127.0.0.1"


def bound(port: int, *, lan: bool) -> socket.socket:
    """A socket at `port`; RefusedError when it is taken, BadInputError when it is none."""
    if not 0 <= port <= 65535:
        raise BadInputError(f"--port {port}: ports go from 0 to 65535")
    # Named as TCP, for then asyncio has no message wait until the one before it is acknowledged.
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if os.name == "posix":
        # Lets a run follow another at once; elsewhere it would let two share a port.
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("0.0.0.0" if lan else LOOPBACK, port))
        listening.listen(64)
    except OSError as fault:
        listening.close()
        raise RefusedError(
            f"--port {port}: cannot be used ({fault.strerror}); perhaps another page is served "
            "there. End that one, or give --port 0 for any free one"
        ) from None
    return listening


def opened(url: str) -> None:
    """Opens the browser, where there is one; BROWSER is honoured."""
    import webbrowser

    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(url)


def own_address() -> str:
    """This machine's address on the local network, as the system would send from it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # An address of TEST-NET-1 (RFC 5737); choosing a route to it sends nothing.
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK


def addresses(stage: str, remote: str, code: str, *, lan: bool) -> list[str]:
    """Where the pages are opened. What no phone can open is not offered to one."""
    lines = [f"Stage, on the projector's screen:  {stage}"]
    if lan:
        return [*lines, f"Remote, on a phone or tablet:      {remote}   code {code}"]
    return [
        *lines,
        f"Remote, in a window of this computer:  {remote}   code {code}",
        "To hold the remote in your hand, end this run and start it again with --lan: it then "
        "answers a phone or tablet on the same local network.",
    ]
