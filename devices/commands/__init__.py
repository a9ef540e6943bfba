"""The `canvasrule` command: the only place where table and machines meet.

This module knows the verbs by name alone, so that `--help` and a wrong verb answer at once; a
verb's own module is imported when it is called.
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import gc
import importlib
import io
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from marking.errors import BadInputError, CanvasruleError

if TYPE_CHECKING:
    from collections.abc import Sequence

VERBS = {
    "start": "make a job folder with a commented job.toml",
    "ways": "what each way of marking this cover costs in hours and holds in error",
    "layout": "lay out the marking: how it fits, warnings, picture",
    "cover": "what cloth and board to buy, and how the cover sits on the table",
    "hem": "which lines of this table one panel's hems are laid to",
    "section": "cut the marking into what one setup can ink",
    "write": "write SVG, HP-GL, the picture and the report",
    "trial": "check the plotter on scrap cloth: its true scale and skew",
    "control": "the tape marks to set by tape before any ink, and the forecast",
    "place": "from readings of marks to where a section's device stands",
    "drive": "ink section after section on a plotter, and resume after any interruption",
    "rule": "which lines are ruled by hand, which come next, and the sheet for them",
    "days": "which sections on which day, and the morning's check before going on",
    "mend": "ink chosen lines, numerals or a worn patch anew on a cover that is inked",
    "beam": "light the lines to trace: the projector's page and its remote",
    "prove": "what to measure on the finished cover, and the verdict",
    "bench": "the whole job in a browser, on this computer",
    "paper": "what to print: the job sheet, sheets for the hand, full size, the page to keep",
    "simulate": "be a plotter that other software can connect to, and picture its ink",
    "demo": "lay out, cut and write the Millrace bench: all its files, with no hardware",
}
_INTERRUPTED = 130
_HELP = {"-h", "--help"}
# No package that happens to be installed may take part in checking a job, and looking for such
# plugins takes longer than the checking.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
# The matrices here are small: threads take longer to start than they save.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one verb and returns the exit code; every expected fault becomes a plain message."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    _collect_seldom()
    _mend_outputs()
    try:
        options = _options(words)
        verb = importlib.import_module(f"devices.commands.{options.verb}")
        code: int = verb.run(options)
        sys.stdout.flush()
    except CanvasruleError as fault:
        for message in fault.messages:
            _tell(message)
        return fault.exit_code
    except KeyboardInterrupt:
        _tell("interrupted; nothing is lost")
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader of the pipe has gone; there is no one left to tell.
        _give_up_output()
        return 0
    except OSError as fault:
        _give_up_output()
        where = f"{fault.filename}: " if fault.filename else "the output cannot be written: "
        _tell(f"{where}{fault.strerror or fault}")
        return BadInputError.exit_code
    return code


def _collect_seldom() -> None:
    """Lets the garbage collector rest: nearly all that a verb makes lives to its end.

    Going through it again and again, and once more on the way out, took a tenth of `write`.
    """
    gc.set_threshold(100_000)
    atexit.register(gc.freeze)


def _mend_outputs() -> None:
    """Gives a closed output somewhere to go, and one with few letters a way to show the others."""
    nowhere = Path(os.devnull)
    sys.stdout = sys.stdout or nowhere.open("w", encoding="utf-8")
    sys.stderr = sys.stderr or nowhere.open("w", encoding="utf-8")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _give_up_output() -> None:
    """Points stdout at nothing, so that closing it at the end cannot fail again."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _tell(message: str) -> None:
    with contextlib.suppress(OSError):
        if os.environ.get("CANVASRULE_KEYS") == "lines":
            import json

            # As `devices.session.person` speaks to a program, which no verb may have imported.
            print(json.dumps({"fault": message}), file=sys.stderr)
        else:
            print(f"canvasrule: {message}", file=sys.stderr)


def _options(words: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="canvasrule",
        description="Lays out the permanent grid, hem lines and numerals of a workroom table's "
        "canvas cover, cuts it into sections and writes what a plotter draws.",
        epilog='Begin with "canvasrule demo", or "canvasrule start my-bench". '
        '"canvasrule VERB --help" tells more, with an example.',
        formatter_class=_of_any_width,
    )
    parser.add_argument("--version", action="version", version=_Version())
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", required=True, prog="canvasrule")
    named = _named_verb(words)
    # Only help, and a wrong word, need every verb.
    for name in (named,) if named in VERBS else VERBS:
        summary = VERBS[name]
        verb = verbs.add_parser(
            name,
            help=summary,
            description=summary[0].upper() + summary[1:] + ".",
            formatter_class=_of_any_width,
        )
        if name == named:
            if not _HELP & set(words):
                importlib.import_module("marking.lean_numpy")
            importlib.import_module(f"devices.commands.{name}").add_options(verb)
        verb.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.formatter_class = argparse.HelpFormatter
    return parser.parse_args(words)


def _of_any_width(prog: str) -> argparse.HelpFormatter:
    """What options are tried on while they are added: how wide the terminal is takes asking."""
    return argparse.HelpFormatter(prog, width=80)


def _named_verb(words: Sequence[str]) -> str | None:
    return next((word for word in words if not word.startswith("-")), None)


class _Version(str):
    """The version line, looked up only when it is printed."""

    __slots__ = ()

    def __str__(self) -> str:
        from importlib.metadata import version

        return f"canvasrule {version('canvasrule')}"

    def __mod__(self, _: object) -> str:
        return str(self)
