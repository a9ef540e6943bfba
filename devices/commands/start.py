"""`canvasrule start`: a job folder with a commented job.toml, from a stock table or answers."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from devices.commands.shared import add_json_option, print_json, say
from devices.new_job.folder import new_path
from devices.new_job.fresh import by_hand, check_machines, make_fresh, own_size, stock_size
from devices.new_job.from_page import make_from_page
from devices.new_job.like import make_like
from marking.errors import BadInputError
from marking.shipped_files import stock_names

if TYPE_CHECKING:
    import argparse

    from devices.new_job.fresh import TableSize


_ANSWERS = ("table", "length", "width", "title", "units", "plotter", "projector")


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    verb.add_argument("folder", metavar="DIR", type=Path, help="the folder to make the job in")
    verb.add_argument(
        "--table", metavar="NAME", help=f"a stock table: {', '.join(stock_names('tables'))}"
    )
    verb.add_argument("--length", help='the table\'s length, such as "150 in"')
    verb.add_argument("--width", help='the table\'s width, such as "64 in"')
    verb.add_argument(
        "--like",
        metavar="OLD",
        type=Path,
        help="the folder of a job whose choices to begin with: for the cover that follows it",
    )
    verb.add_argument("--title", help="a name for the sheets")
    verb.add_argument("--units", choices=("in", "mm"), help="what people see (default: by length)")
    verb.add_argument(
        "--from-page",
        metavar="FILE",
        type=Path,
        help="the text of a keep page, typed or scanned: the job is made again from it",
    )
    verb.add_argument(
        "--plotter",
        metavar="NAME",
        help=f"a stock plotter, where there is one: {', '.join(stock_names('plotters'))}",
    )
    verb.add_argument(
        "--projector",
        metavar="NAME",
        help=f"a stock projector, where there is one: {', '.join(stock_names('projectors'))}",
    )
    add_json_option(verb)
    verb.epilog = (
        "On a terminal, what is not given is asked for. A job that is there is never touched.\n"
        "Machines that are not named are not written, so that canvasrule ways reckons with the\n"
        "hand; section and write go by a stock A3 bed as long as none is.\n\n"
        "examples:\n  canvasrule start my-bench --table bench-64x150\n"
        '  canvasrule start my-bench --length "150 in" --width "64 in" --plotter flatbed-a3\n'
        "  canvasrule start my-bench --from-page page.txt\n"
        "  canvasrule start my-second-cover --like my-bench"
    )


def run(options: argparse.Namespace) -> int:
    """Makes the job, checks it by reading it back, and says what to do next."""
    path = new_path(options.folder)
    if options.from_page is not None:
        return _from_page(options, path)
    if options.like is not None:
        return _like(options, path)
    return _fresh(options, path)


def _fresh(options: argparse.Namespace, path: Path) -> int:
    machines = {"plotter": options.plotter, "projector": options.projector}
    # Nobody is asked for a size that is then of no use.
    check_machines(**machines)
    size = _size(options)
    job = make_fresh(options.folder, size, title=options.title, units=options.units, **machines)
    if options.json:
        print_json({"schema": 1, "job": path.as_posix()})
        return 0
    print(path)
    for line in by_hand(job):
        say(line)
    say(
        f'"canvasrule ways --job {options.folder}" tells what each way costs. Next: measure '
        f'the top, fill in [table.survey], and run "canvasrule layout --job {options.folder}"'
    )
    return 0


def _from_page(options: argparse.Namespace, path: Path) -> int:
    """The job that a keep page holds; says whether it is the same marking."""
    given = [name for name in _ANSWERS if getattr(options, name) is not None]
    if given:
        raise BadInputError(f"--from-page has the whole job; leave out --{given[0]}")
    kept, same = make_from_page(options.folder, options.from_page)
    if options.json:
        print_json({"schema": 1, "job": path.as_posix(), "same_marking": same})
    else:
        print(path)
    if same:
        say(f"It is the marking of the page, {kept.layout}, line for line.")
    else:
        say(
            f"note: this version lays the same job out otherwise than canvasrule {kept.version}, "
            f"whose marking was {kept.layout}: for a new cover that is as good, but add no ink of "
            "it to an old one"
        )
    return 0


def _like(options: argparse.Namespace, path: Path) -> int:
    other = [name for name in (*_ANSWERS, "from_page") if getattr(options, name) is not None]
    if other:
        raise BadInputError(
            f"--{', --'.join(other).replace('_', '-')}: --like takes all choices from "
            f"{options.like}; change them in the new job.toml"
        )
    make_like(options.folder, options.like)
    if options.json:
        print_json({"schema": 1, "job": path.as_posix(), "like": options.like.as_posix()})
    else:
        print(path)
        say(
            "The same choices, and nothing of what was measured or inked there. Measure the top "
            f'anew, and run "canvasrule layout --job {options.folder}"'
        )
    return 0


def _size(options: argparse.Namespace) -> TableSize:
    """The table's, from a stock table, from options or from answers."""
    if options.table is None:
        length = options.length or _ask("length", '"150 in" or "3.6 m"')
        return own_size(length, options.width or _ask("width", '"64 in" or "160 cm"'))
    if options.length or options.width:
        raise BadInputError("--table gives length and width; leave out --length and --width")
    return stock_size(options.table)


def _ask(what: str, example: str) -> str:
    if not sys.stdin.isatty():
        raise BadInputError(
            f"the table's {what} is missing: give --{what}, such as {example}, or --table"
        )
    say(f"The table's {what}, such as {example}?")
    try:
        return input("> ").strip()
    except EOFError:
        raise BadInputError(f"no answer for the table's {what}; nothing was made") from None
