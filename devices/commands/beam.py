"""`canvasrule beam`: the projector's stage page and its hand-held remote."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.begun import guard_division, layout_of, work_of
from devices.commands.shared import (
    add_job_option,
    check_way,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.serving.listening import LOOPBACK, addresses, bound, opened, own_address
from devices.serving.pairing import Pairing

if TYPE_CHECKING:
    import argparse
    import socket

    from devices.projector.desk.work import BeamWork
    from marking.record.record import Record

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
    with bound(options.port, lan=options.lan) as listening:
        _serve(options, work, listening)
    return 0


def _serve(options: argparse.Namespace, work: BeamWork, listening: socket.socket) -> None:
    from devices.projector.desk.known_points import tape_mark_points
    from devices.projector.desk.memory import refuse_unknown_lines
    from devices.projector.pages.connections import House
    from devices.projector.pages.server import application
    from devices.serving.doorway import server
    from devices.session.claim import claimed
    from marking.record.record import open_record

    port = listening.getsockname()[1]
    names = [LOOPBACK, "localhost", *([own_address()] if options.lan else [])]
    pairing = Pairing()
    address = names[-1] if options.lan else LOOPBACK
    lan = address != LOOPBACK
    remote_url = f"http://{address}:{port}/remote"
    stage_url = f"http://{LOOPBACK}:{port}/stage?key={pairing.stage_key}"
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
            print_lines(addresses(stage_url, remote_url, pairing.code, lan=lan))
            if options.lan and not lan:
                say("note: this computer is on no local network, so no phone can reach it")
        for note in (*work.warnings, *CAUTIONS):
            say(f"note: {note}")
        say("Ctrl C ends it; everything is kept in job.db.")
        sys.stdout.flush()
        if not options.no_open:
            opened(stage_url)
        server(app).run(sockets=[listening])


def _say_what_is_inked(record: Record) -> None:
    by_plotter = {ink.section for ink in record.ink() if not ink.section.startswith("beam ")}
    if by_plotter:
        say(
            f"note: a plotter has inked here already ({', '.join(sorted(by_plotter))} of its own "
            "sections). Those lines are on the cover; skip them"
        )
