"""`canvasrule simulate`: a plotter that other software can connect to."""

from __future__ import annotations

import errno
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from devices.commands.shared import add_job_option, check_pace, print_lines, read_job, say
from devices.plotter.bed import bed_at
from devices.session.ending import ended_as_by_hand
from devices.simulated.cloth import Cloth, cloth_artwork, read_cloth
from devices.simulated.onboard import simulated
from devices.simulated.serve import serve_pty, serve_socket
from marking.errors import BadInputError
from marking.output.files import replace_file

if TYPE_CHECKING:
    import argparse

    from devices.job import Job
    from devices.simulated.serve import Peer


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--listen",
        metavar="HOST:PORT",
        default="127.0.0.1:0",
        help="where to listen (default: any free port of this computer)",
    )
    verb.add_argument("--pty", action="store_true", help="be a serial port instead (not Windows)")
    verb.add_argument(
        "--pace", type=float, default=1.0, metavar="N", help="move N times faster than a real one"
    )
    verb.add_argument(
        "--ink", type=Path, metavar="FILE", help="add the ink laid to this file, and picture it"
    )
    verb.epilog = (
        "It is built as the job's [plotter] says, and prints the port to connect to. Ctrl-C ends\n"
        "it and writes FILE.svg beside the ink.\n\n"
        "example:\n  canvasrule simulate --job my-bench --pace 20 --ink cloth.ink"
    )


def run(options: argparse.Namespace) -> int:
    """Serves until interrupted."""
    check_pace(options.pace)
    address = None if options.pty else _address(options.listen)
    job = read_job(options.job)
    bed = bed_at(job.plotter, (0.0, 0.0, *job.plotter.window_size))
    file = options.ink.open("ab") if options.ink else None
    peer = simulated(job.plotter, bed, Cloth(file))
    try:
        with ended_as_by_hand():
            if address is None:
                _serve_pty(peer, options.pace)
            else:
                serve_socket(peer, address, options.pace, _ready)
    except OSError as fault:
        if fault.errno in (errno.EADDRINUSE, errno.EADDRNOTAVAIL, errno.EACCES):
            raise _not_there(options.listen, fault) from None
        raise
    except KeyboardInterrupt:
        if options.ink:
            _picture(options.ink, job)
    finally:
        if file is not None:
            file.close()
    return 0


def _serve_pty(peer: Peer, pace: float) -> None:
    if sys.platform == "win32":
        raise BadInputError("--pty: Windows has no pseudo-terminals; leave it out for a socket")

    serve_pty(peer, pace, _ready)


def _ready(name: str) -> None:
    print_lines([name])
    sys.stdout.flush()


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    if not host or not port.isdigit() or int(port) > 65535:
        raise BadInputError(f"--listen {text}: give a host and a port, as in 127.0.0.1:5000")
    try:
        socket.getaddrinfo(host, int(port))
    except OSError as fault:
        raise _not_there(text, fault) from None
    return host, int(port)


def _not_there(address: str, fault: OSError) -> BadInputError:
    return BadInputError(
        f"--listen {address}: cannot listen there ({fault.strerror or fault}); 127.0.0.1:0 is any "
        "free port of this computer"
    )


def _picture(path: Path, job: Job) -> None:
    # What draws is imported where something is drawn: it takes a while.
    from marking.drawing.svg import svg

    picture = path.with_name(f"{path.name}.svg")
    cloth = cloth_artwork(read_cloth(path), job.plotter.bed_size, (0.0, 0.0))
    replace_file(picture, svg(cloth))
    say(f"the cloth is pictured in {picture}")
