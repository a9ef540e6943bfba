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
from devices.projector.desk.known_points import tape_mark_points
from devices.projector.desk.memory import refuse_unknown_lines
from devices.projector.trueup.forecast import plan_lines, plan_record
from devices.serving.listening import LOOPBACK, addresses, bound, opened, own_address
from devices.serving.pairing import Pairing
from devices.session.claim import claimed
from marking.record.record import open_record

if TYPE_CHECKING:
    import argparse
    import socket

    from devices.projector.desk.beam_work import BeamWork
    from marking.record.record import Record

CAUTIONS = (
    "Never look into the beam, and keep children from it: it hurts before one blinks.",
    "A projector overhead must be held by a mount made for its weight, with a second tie; mains "
    "leads run out of the way, never over the cover or where one walks.",
    "Do not climb on the table. Local codes, the maker's instructions and a licensed electrician "
    "come first.",
)

_MORE = """\
The stage opens on this computer: drag it to the projector's screen and press F for full
screen. It lights nothing when the browser is zoomed, the display scaled or the resolution
not the projector's own, and says what to change. The remote is a second window, or with
--lan a phone: point it at the square that is lit and tap Pair, or type the address and
the six figures; its Notes tab pairs another. Each run has a new code; who types wrong
ones has to wait, and nobody else. When nothing is heard of the computer for a second, the
big button dims and says since when; a tap that was not answered is sent again and done
once, or told as not done.

True up: bring the picture over the section, then each of nine targets onto a point of the
table with the arrows, or leave it where it fell and type where that is as the tape shows
it (a bare number is read in the job's unit). The points are tape marks where some are set
out, crossings that a neighbouring section has inked, or whole inches by tape. From the
fourth landing on the others are lit close to their points. The corners come a second
time, because little else would show a slip there. If the arrows move the light another
way, turn them on the same tab. The report says within which distance the light falls
anywhere in the section, 95 times in 100 with the tape's errors in it, and how large a
slip would have been seen. Landings that would each explain a contradiction are named, the
likeliest first, and nothing is lit until one is landed again or left out. Four targets
are the least, and check nothing.

Trace: one tap marks a line or a numeral as traced and lights the next one brighter. Check
marks flashes the targets at the locating marks. Two-target check: where both targets
still lie on their points nothing has moved; where they do not, land both twice, and the
light is put right, or the true-up asked for anew. A section may use another's true-up
where the projector lights all of it and has not been moved.

Everything is kept in job.db as it happens: reload, lock the phone or pull the plug, and
go on where you were. Once a line is traced, a job.toml that would move lines is refused.

Never look into the beam, and keep children from it; do not climb on the table. Overhead,
it needs a mount made for its weight and a second tie. Local codes, the maker's
instructions and a licensed electrician come first.

example:
  canvasrule beam --job my-bench --lan"""


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
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Serves the pages until interrupted; with `--plan`, says what the projector can do."""
    job = read_job(options.job)
    check_way(options.job, job, "beam", "projector")
    if options.plan:
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
    # What serves is imported by what serves: it takes a while.
    from devices.projector.pages.beam_run import BeamRun
    from devices.projector.pages.server import application
    from devices.serving.doorway import server

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
        work = replace(work, tape_marks=tape_mark_points(record, work))
        _say_what_is_inked(record)
        this_run = BeamRun(work, record, pairing, remote_url, lan)
        app = application(this_run, [f"{name}:{port}" for name in names])
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
