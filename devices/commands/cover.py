"""`canvasrule cover`: what cloth and board to buy, and how the cover sits on the table."""

from __future__ import annotations

import codecs
from typing import TYPE_CHECKING

from devices.begun import layout_of
from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.job import Job
from marking.cloth.cover import cover_for
from marking.cloth.cover_words import cover_lines, cover_record, run_lines
from marking.cloth.stretch_run import stretch_run
from marking.errors import BadInputError
from marking.input.text import read_text
from marking.input.toml import toml_tables
from marking.job.folder import JOB_FILE, check_job
from marking.job.keys import paper_of
from marking.job.written import with_values
from marking.measures.lengths import parse_length
from marking.output.files import replace_file
from marking.stretching.words import is_pulled_on

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from marking.cloth.stretch_run import StretchRun


_RUNS = {"stretch_length": "--run", "stretch_width": "--run-across"}


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    for option, along in (("--run", "along the roll"), ("--run-across", "across it")):
        verb.add_argument(
            option,
            nargs=2,
            metavar=("SLACK", "PULLED"),
            help=f"a run marked {along} and measured slack, then pulled as the cover will be: "
            "writes the stretch into [cloth] of job.toml",
        )
    verb.epilog = (
        "Reckoned by [cover] of job.toml. It writes out/cover.pdf and out/cover.svg: canvas,\n"
        "boards and cutting plan. Amounts and no prices. Measure a run before a cover is marked\n"
        "loose: two fine marks, far apart, on a piece of the same canvas. Everything else in\n"
        "job.toml stays as you wrote it.\n\n"
        "examples:\n  canvasrule cover --job my-bench\n"
        '  canvasrule cover --job my-bench --run "36 in" "36 5/16 in"'
    )


def run(options: argparse.Namespace) -> int:
    """Writes measured runs where given, then tells what to buy and draws it."""
    job = read_job(options.job)
    runs = _runs(options)
    if runs:
        job = _write_runs(options.job, job, runs)
    layout = layout_of(options.job, job)
    cover = cover_for(layout, job)
    for line in run_lines(runs, layout, job, JOB_FILE):
        say(line)
    if options.json:
        print_json(cover_record(cover))
        return 0

    # What draws takes longer to import than all else here.
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.output.cover_sheet import cover_pages

    pulled_on = is_pulled_on(layout, drawn_through=not job.plotter.on_cover)
    pages = cover_pages(cover, job, paper_of(job), pulled_on=pulled_on)
    for name, data in {"cover.svg": svg(pages[0]), "cover.pdf": pdf(pages)}.items():
        replace_file(options.job / OUTPUT / name, data)
        say(f"wrote {options.job / OUTPUT / name}")
    print_lines(cover_lines(cover, layout, job, pulled_on=pulled_on))
    return 0


def _runs(options: argparse.Namespace) -> dict[str, StretchRun]:
    """The runs given, by the key each one gives. Raises BadInputError."""
    found = {}
    for key, option in _RUNS.items():
        given = getattr(options, option.removeprefix("--").replace("-", "_"))
        if given is None:
            continue
        try:
            before, after = map(parse_length, given)
        except ValueError as fault:
            raise BadInputError(f"{option} {' '.join(map(repr, given))}: {fault}") from None
        found[key] = stretch_run(option, before, after)
    return found


def _write_runs(folder: Path, job: Job, runs: dict[str, StretchRun]) -> Job:
    """The job with its new stretch, written once it is known to lay out and to move no ink."""
    path = folder / JOB_FILE
    text = read_text(path, str(path), "job")
    made = with_values(text, str(path), "cloth", {key: run.percent for key, run in runs.items()})
    changed = check_job(toml_tables(made, str(path)), folder, Job)
    layout_of(folder, changed)
    mark = path.read_bytes().startswith(codecs.BOM_UTF8)
    replace_file(path, made.encode("utf-8-sig" if mark else "utf-8"))
    return changed
