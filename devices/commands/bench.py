"""`canvasrule bench`: the whole job in a browser, on this computer."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from devices.commands.shared import add_job_option, print_json, print_lines, say

if TYPE_CHECKING:
    import argparse
    import socket
    from pathlib import Path


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--port", type=int, default=8627, help="port to serve at; 0 for any free one (default 8627)"
    )
    verb.add_argument("--no-open", action="store_true", help="do not open the browser")
    verb.epilog = "example:\n  canvasrule bench --job my-bench"


def run(options: argparse.Namespace) -> int:
    """Serves the page until interrupted."""
    from devices.serving.address import LOOPBACK, bound

    with bound(options.port, lan=False) as listening:
        address = f"{LOOPBACK}:{listening.getsockname()[1]}"
        _serve(options, listening, address)
    return 0


def _serve(options: argparse.Namespace, listening: socket.socket, address: str) -> None:
    import asyncio
    import secrets

    from devices.bench.house import BenchHouse
    from devices.bench.server import application
    from devices.serving.address import opened
    from devices.serving.doorway import server

    root, folder = _where(options.job)
    house = BenchHouse(root, secrets.token_urlsafe(24))
    if folder is not None:
        house.open(folder)
    url = f"http://{address}/?key={house.key}"
    door = server(application(house, [address, address.replace("127.0.0.1", "localhost")]))
    if options.json:
        print_json({"schema": 1, "page": url})
    else:
        print_lines([f"The bench: {url}"])
    say("Ctrl C ends it; everything is kept in the job's folder.")
    sys.stdout.flush()
    if not options.no_open:
        opened(url)

    async def both() -> None:
        watching = asyncio.create_task(house.watch())
        try:
            await door.serve(sockets=[listening])
        finally:
            watching.cancel()
            await house.close()

    asyncio.run(both())


def _where(given: Path) -> tuple[Path, Path | None]:
    """The folder that jobs lie in, and the job to open first, if it is clear which."""
    from pathlib import Path

    from devices.bench.jobs import jobs_in
    from marking.job.folder import JOB_FILE

    here = given.resolve()
    if (here / JOB_FILE).is_file():
        return here.parent, here
    found = jobs_in(here)
    if not found and given == Path():
        # Started by an icon, it stands in a folder of something else.
        here = Path.home() / "canvasrule jobs"
        found = jobs_in(here)
    return here, here / found[0]["name"] if len(found) == 1 else None
