"""`canvasrule start`: a job folder with a commented job.toml, from a stock table or answers."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.commands.shared import add_json_option, print_json, say
from marking.errors import BadInputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from devices.job import Job
    from marking.measures.lengths import Units


_ANSWERS = ("table", "length", "width", "title", "units", "plotter", "projector")


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    from marking.shipped_files import stock_names

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
    import tomllib

    from devices.job import Job
    from devices.job_text import job_text
    from marking.job.folder import JOB_FILE, check_job
    from marking.output.files import write_new
    from marking.shipped_files import stock_names

    path = options.folder / JOB_FILE
    if path.exists():
        raise BadInputError(f"{path}: is there already and was not touched; give another folder")
    if options.from_page is not None:
        return _from_page(options)
    if options.like is not None:
        return _like(options, path)
    for kind, name in (("plotter", options.plotter), ("projector", options.projector)):
        if name is not None and name not in (stock := stock_names(f"{kind}s")):
            raise BadInputError(f"--{kind} {name}: stock {kind}s are {', '.join(stock)}")
    length, width, units = _table(options)
    title = options.title or _title_of(options.folder)
    # Where the removable pen stands by default depends on the machine.
    plain: dict[str, Any] = {"table": {"length": length, "width": width}}
    if options.plotter is not None:
        plain["plotter"] = {"profile": options.plotter}
    holder = check_job(plain, options.folder, Job).pens.removable.slot
    text = job_text(
        *(title, units, options.table, length, width, options.plotter, holder, options.projector)
    )
    # Nothing is written that would not read back.
    job = check_job(tomllib.loads(text), options.folder, Job)
    write_new(path, text.encode())
    _write_schema(options.folder)
    if options.json:
        print_json({"schema": 1, "job": path.as_posix()})
    else:
        print(path)
        for line in _by_hand(job):
            say(line)
        say(
            f'"canvasrule ways --job {options.folder}" tells what each way costs. Next: measure '
            f'the top, fill in [table.survey], and run "canvasrule layout --job {options.folder}"'
        )
    return 0


def _by_hand(job: Job) -> Iterator[str]:
    """What this cover takes by hand, as `ways` reckons it; nothing of a top that takes no lines."""
    from marking.errors import RefusedError
    from marking.job.keys import paper_of, tape_of
    from marking.layout.layout import lay_out
    from marking.ways.acts import least_hours
    from marking.ways.by_hand import hand_ways
    from marking.ways.cover import cover_of
    from marking.ways.tape_scale import tape_scale_most

    try:
        cover = cover_of(lay_out(job))
    except RefusedError:
        return
    most = tape_scale_most(tape_of(job.tape))
    acts = next(hand_ways(cover, job.pace, most, paper_of(job))).acts
    low, high = least_hours(acts, job.pace.first_time).person
    yield f"Marked by hand from tape sheets it takes about {low:.1f} to {high:.1f} person-hours."


def _write_schema(folder: Path) -> None:
    from devices.job_text import SCHEMA_FILE, job_schema
    from marking.output.files import write_new

    schema = folder / SCHEMA_FILE
    if not schema.exists():
        write_new(schema, job_schema().encode())


def _from_page(options: argparse.Namespace) -> int:
    """Makes the job that a keep page holds, and says whether it is the same marking."""
    from devices.job import Job
    from marking.input.text import read_text
    from marking.job.folder import JOB_FILE
    from marking.keep.kept_job import layout_kept, made_again
    from marking.keep.lines import read_lines
    from marking.layout.layout import lay_out
    from marking.output.files import write_new
    from marking.record.record import layout_hash

    given = [name for name in _ANSWERS if getattr(options, name) is not None]
    if given:
        raise BadInputError(f"--from-page has the whole job; leave out --{given[0]}")
    label = str(options.from_page)
    kept = read_lines(read_text(options.from_page, label, "text of a keep page"), label)
    job = made_again(kept, Job, label)
    same = layout_kept(kept, layout_hash(lay_out(job)))
    there = [options.folder / name for name in kept.files if (options.folder / name).exists()]
    if there:
        raise BadInputError(f"{there[0]}: is there already and was not touched")
    # job.toml last: a folder that has it has all of it.
    for name, text in reversed(list(kept.files.items())):
        about = f"# Made again from a keep page of canvasrule {kept.version}.\n"
        write_new(options.folder / name, (about + text).encode())
    _write_schema(options.folder)
    path = options.folder / JOB_FILE
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
    """A job with another's job.toml and the profiles beside it; nothing of what happened there."""
    import tomllib

    from devices.job import Job
    from marking.job.folder import JOB_FILE, load_job
    from marking.output.files import write_new

    other = [name for name in (*_ANSWERS, "from_page") if getattr(options, name) is not None]
    if other:
        raise BadInputError(
            f"--{', --'.join(other).replace('_', '-')}: --like takes all choices from "
            f"{options.like}; change them in the new job.toml"
        )
    old = options.like / JOB_FILE
    # It is read as it stands: what would not read back there does not here.
    load_job(options.like, Job)
    text = old.read_bytes()
    files: dict[str, bytes] = {}
    for name in sorted(_profile_files(tomllib.loads(text.decode("utf-8-sig")))):
        beside = options.like / name
        if beside.is_file() and not Path(name).is_absolute():
            if ".." in Path(name).parts:
                raise BadInputError(
                    f"{old}: its profile {name} lies outside the folder; copy it into the folder "
                    "first, and name it so"
                )
            files[name] = beside.read_bytes()
    # job.toml last: a folder that has it has all of it.
    for name, data in {**files, JOB_FILE: text}.items():
        write_new(options.folder / name, data)
    _write_schema(options.folder)
    if options.json:
        print_json({"schema": 1, "job": path.as_posix(), "like": options.like.as_posix()})
    else:
        print(path)
        say(
            "The same choices, and nothing of what was measured or inked there. Measure the top "
            f'anew, and run "canvasrule layout --job {options.folder}"'
        )
    return 0


def _profile_files(tables: object) -> set[str]:
    """What is named as a profile anywhere in a job; stock ones among it."""
    if not isinstance(tables, dict):
        return set()
    own = {value for key, value in tables.items() if key == "profile" and isinstance(value, str)}
    return own.union(*(_profile_files(value) for value in tables.values()))


def _title_of(folder: Path) -> str:
    """The folder's name, as far as it can be printed."""
    from marking.job.values import is_printable

    return "".join(filter(is_printable, folder.resolve().name))[:200] or "Table cover"


def _table(options: argparse.Namespace) -> tuple[str, str, Units]:
    """Length, width and units, from a stock table, from options or from answers."""
    from marking.input.toml import read_toml
    from marking.measures.lengths import parse_length
    from marking.shipped_files import stock, stock_names

    if options.table is not None:
        names = stock_names("tables")
        if options.table not in names:
            raise BadInputError(f"--table {options.table}: stock tables are {', '.join(names)}")
        if options.length or options.width:
            raise BadInputError("--table gives length and width; leave out --length and --width")
        label = f"stock profile tables/{options.table}.toml"
        profile = read_toml(stock().joinpath("tables", f"{options.table}.toml"), label)
        length, width = str(profile["length"]), str(profile["width"])
    else:
        length = options.length or _ask("length", '"150 in" or "3.6 m"')
        width = options.width or _ask("width", '"64 in" or "160 cm"')
    for name, text in (("length", length), ("width", width)):
        try:
            if parse_length(text) <= 0:
                raise ValueError("a length here must be more than zero")
            if not text.isprintable():
                raise ValueError("write it on one line")
        except ValueError as fault:
            raise BadInputError(f"--{name} {text!r}: {fault}") from None
    metric = length.rstrip().lower().endswith("m")
    return length, width, options.units or ("mm" if metric else "in")


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
