"""`canvasrule bench`: the whole job in a browser, on this computer."""

from __future__ import annotations

import secrets
import sys
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from devices.bench.jobs import jobs_folder
from devices.bench.lost_after import quiet_after
from devices.bench.one_bench import the_bench
from devices.bench.shortcut import make_icon, take_icon_away
from devices.commands.shared import add_job_option, print_json, print_lines, say
from devices.serving.listening import LOOPBACK, bound, opened
from marking.input.text import read_text
from marking.job.folder import JOB_FILE

if TYPE_CHECKING:
    import argparse
    import socket


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--port", type=int, default=0, help="port to serve at (default: any free one)"
    )
    verb.add_argument("--no-open", action="store_true", help="do not open the browser")
    icon = verb.add_mutually_exclusive_group()
    icon.add_argument(
        "--shortcut", action="store_true", help="put an icon on the desktop that opens it, and end"
    )
    icon.add_argument("--no-shortcut", action="store_true", help="take that icon away, and end")
    verb.epilog = (
        "One page leads through the whole job, over the same folder that the other verbs use;\n"
        "change between the two at any time. It is served to this computer alone. --job takes a\n"
        "job's folder or the folder that jobs lie in; without a job there it makes them in\n"
        '"canvasrule jobs" in your home. A second start opens the first one\'s page.\n\n'
        "example:\n  canvasrule bench --job my-bench"
    )


def run(options: argparse.Namespace) -> int:
    """Serves the page until interrupted."""
    if options.shortcut or options.no_shortcut:
        return _icon(made=options.shortcut)

    root, folder = jobs_folder(options.job, home=Path.home(), named=options.job != Path())
    # What keeps the page from being served is told before a browser is opened.
    quiet_after()
    if folder is not None:
        read_text(folder / JOB_FILE, str(folder / JOB_FILE), "job")
    with bound(options.port, lan=False) as listening:
        address = f"{LOOPBACK}:{listening.getsockname()[1]}"
        key = secrets.token_urlsafe(24)
        url = f"http://{address}/?key={key}"
        with the_bench(root, url) as first:
            if first is None:
                # The browser starts meanwhile, and its first request waits at the port.
                _tell(options, url, "The bench")
                _serve(root, folder, key, listening, address)
                return 0
        job = f"&job={quote(folder.name)}" if folder is not None else ""
        _tell(options, first + job, "A bench is open on these jobs already")
    return 0


def _serve(
    root: Path, folder: Path | None, key: str, listening: socket.socket, address: str
) -> None:
    # What serves takes a while to import, and the browser is started before.
    import asyncio

    from devices.bench.bench_run import BenchRun
    from devices.bench.server import application
    from devices.serving.doorway import server

    this_run = BenchRun(root, key)
    if folder is not None:
        this_run.open(folder)
    hosts = [address, address.replace("127.0.0.1", "localhost")]
    door = server(application(this_run, hosts))
    say("Ctrl C ends it; everything is kept in the job's folder.")

    async def both() -> None:
        watching = asyncio.create_task(this_run.watch())
        try:
            await door.serve(sockets=[listening])
        finally:
            watching.cancel()
            await this_run.close()

    asyncio.run(both())


def _tell(options: argparse.Namespace, url: str, what: str) -> None:
    """Prints where the page is, and opens it."""
    if options.json:
        print_json({"schema": 1, "page": url})
    else:
        print_lines([f"{what}: {url}"])
    sys.stdout.flush()
    if not options.no_open:
        opened(url)


def _icon(*, made: bool) -> int:
    path = make_icon() if made else take_icon_away()
    if path is None:
        say("there is no icon of the bench on this desktop")
    else:
        print_lines([f"{'made' if made else 'taken away'}: {path}"])
    return 0
