"""`canvasrule beam`: the projector's stage page and its hand-held remote."""

from __future__ import annotations

import contextlib
import os
import socket
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from devices.begun import guard_division, layout_of, work_of
from devices.commands.shared import (
    add_job_option,
    check_way,
    print_json,
    print_lines,
    read_job,
    say,
)

if TYPE_CHECKING:
    import argparse

    from marking.record.record import Record

_LOOPBACK = "127.0.0.1"
CAUTIONS = (
    "Never look into the beam, and keep children from it: it hurts before one blinks.",
    "A projector overhead must be held by a mount made for its weight, with a second tie; mains "
    "leads run out of the way, never over the cover or where one walks.",
    "Do not climb on the table. Local codes, the maker's instructions and a licensed electrician "
    "come first.",
)


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--lan",
        action="store_true",
        help="also answer on the local network, so that a phone or tablet is the remote; without "
        "it the remote is a window of this computer (plain HTTP: only on a network you trust)",
    )
    verb.add_argument(
        "--port", type=int, default=8617, help="port to serve at; 0 for any free one (default 8617)"
    )
    verb.add_argument(
        "--no-open", action="store_true", help="do not open the stage in this computer's browser"
    )
    verb.add_argument(
        "--plan",
        action="store_true",
        help="only say what the projector lights: picture, pixels, set-downs by height",
    )
    verb.epilog = "example:\n  canvasrule beam --job my-bench --lan"


def run(options: argparse.Namespace) -> int:
    """Serves the pages until interrupted; with `--plan`, says what the projector can do."""
    job = read_job(options.job)
    check_way(options.job, job, "beam", "projector")
    if options.plan:
        from devices.projector.trueup.forecast import plan_lines, plan_record

        layout = layout_of(options.job, job)
        if options.json:
            print_json(plan_record(job, layout))
        else:
            print_lines(plan_lines(job, layout))
            print_lines(["", *(f"- {caution}" for caution in CAUTIONS)])
        return 0
    work = work_of(options.job, job)
    with _bound(options.port, lan=options.lan) as listening:
        _serve(options, work, listening)
    return 0


def _serve(options: argparse.Namespace, work: object, listening: socket.socket) -> None:
    from devices.projector.desk.known_points import tape_mark_points
    from devices.projector.desk.memory import refuse_unknown_lines
    from devices.projector.desk.work import BeamWork
    from devices.projector.pages.connections import House
    from devices.projector.pages.server import application
    from devices.serving.doorway import server
    from devices.serving.pairing import Pairing
    from devices.session.claim import claimed
    from marking.record.record import open_record

    assert isinstance(work, BeamWork)
    port = listening.getsockname()[1]
    names = [_LOOPBACK, "localhost", *([_own_address()] if options.lan else [])]
    pairing = Pairing()
    address = names[-1] if options.lan else _LOOPBACK
    lan = address != _LOOPBACK
    remote_url = f"http://{address}:{port}/remote"
    stage_url = f"http://{_LOOPBACK}:{port}/stage?key={pairing.stage_key}"
    with claimed(options.job, "beam"), open_record(options.job) as record:
        record.guard_layout(work.layout)
        guard_division(record, work.job, work.layout, work.plan, None)
        refuse_unknown_lines(record, work)
        work = replace(work, control=tape_mark_points(record, work))
        _say_what_is_inked(record)
        house = House(work, record, pairing, remote_url, lan)
        app = application(house, [f"{name}:{port}" for name in names])
        if options.json:
            print_json(
                {"schema": 1, "stage": stage_url, "remote": remote_url, "code": pairing.code}
            )
        else:
            print_lines(_addresses(stage_url, remote_url, pairing.code, lan=lan))
            if options.lan and not lan:
                say("note: this computer is on no local network, so no phone can reach it")
        for note in (*work.warnings, *CAUTIONS):
            say(f"note: {note}")
        say("Ctrl C ends it; everything is kept in job.db.")
        sys.stdout.flush()
        if not options.no_open:
            _open(stage_url)
        server(app).run(sockets=[listening])


def _addresses(stage: str, remote: str, code: str, *, lan: bool) -> list[str]:
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


def _say_what_is_inked(record: Record) -> None:
    by_plotter = {ink.section for ink in record.ink() if not ink.section.startswith("beam ")}
    if by_plotter:
        say(
            f"note: a plotter has inked here already ({', '.join(sorted(by_plotter))} of its own "
            "sections). Those lines are on the cover; skip them"
        )


def _open(url: str) -> None:
    import webbrowser

    with contextlib.suppress(webbrowser.Error):
        webbrowser.open(url)


def _bound(port: int, *, lan: bool) -> socket.socket:
    """A socket at `port`; RefusedError when it is taken, BadInputError when it is none."""
    from marking.errors import BadInputError, RefusedError

    if not 0 <= port <= 65535:
        raise BadInputError(f"--port {port}: ports go from 0 to 65535")
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":
        # Lets a run follow another at once; elsewhere it would let two share a port.
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("0.0.0.0" if lan else _LOOPBACK, port))
        listening.listen(64)
    except OSError as fault:
        listening.close()
        raise RefusedError(
            f"--port {port}: cannot be used ({fault.strerror}); perhaps another beam is running. "
            "End that one, or give --port 0 for any free one"
        ) from None
    return listening


def _own_address() -> str:
    """This machine's address on the local network, as the system would send from it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # An address of TEST-NET-1 (RFC 5737); choosing a route to it sends nothing.
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return _LOOPBACK
