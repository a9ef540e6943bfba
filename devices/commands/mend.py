"""`canvasrule mend`: what of an inked cover is to be inked anew, and how far that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.begun import begin, guard_division, layout_of, plan_of
from devices.commands.shared import (
    OUTPUT,
    add_job_option,
    print_json,
    print_lines,
    read_job,
    say,
)
from devices.history import has_record, kept_correction
from devices.session.claim import claimed
from devices.ways.chosen import chosen_way
from marking.begun.inked import traced_alone
from marking.errors import BadInputError, RefusedError
from marking.measures.lengths import parse_length
from marking.mending.mend import MendAsked, ask, look_over, mends, rule_anew, set_downs, take_back
from marking.mending.words import mend_lines, mend_record
from marking.output.files import replace_file
from marking.record.record import open_record
from marking.sections.mended import mended_name

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from devices.job import Job
    from marking.arrays import Box
    from marking.layout.layout import Layout
    from marking.mending.mend import Mend
    from marking.record.record import Record
    from marking.sections.plan import Plan, Section

_OF_ONE = ("undo", "ruled", "looked_over")
"""Options that tell something of one mend."""
_BY_HAND = (
    "the way chosen is by hand, so that no machine inks anything anew: go over a worn line with "
    "the tip that drew it, the rule along what is left of the line; strike a wrong line out by "
    "short slashes of its own ink and rule it where it belongs, by the tape sheets (canvasrule "
    "paper hand). Then measure the cover anew (canvasrule prove). Nothing was kept"
)
_TRACED = (
    "this cover was traced from the projector's light, so that no plotter inks it anew: true the "
    "light up (canvasrule beam), show the section again, and trace what is worn where the light "
    "meets the old line; where it does not, lay a rule along the old line. Strike a wrong line out "
    "by short slashes of its own ink. Then measure the cover anew (canvasrule prove). Nothing was "
    "kept"
)
_MORE = """\
Without options it shows what is asked for and how far it is. What is asked for is inked by
canvasrule drive, in its turn, and nothing else of an inked section: each set-down reads the
crossings around, and the new ink is laid true to them. What was inked stays in the record.
A line that lies wrong is struck out by a row of short slashes (--off says where it lies) and
drawn where it belongs. Lines that a hand ruled between stubs are ruled anew by a sheet of their
own, out/ruling-m1.pdf; --ruled tells that they are. Look each mend over with a rule, and keep
the largest step: a cover passes no proof before.

examples:
  canvasrule mend --job my-bench --lines "36, 60 near" --why "dry pen"
  canvasrule mend --job my-bench --patch "30 in" "20 in" "42 in" "28 in" --why "worn by the iron"
  canvasrule mend --job my-bench --lines 36 --off "1/4 in" --why "drawn at the wrong place"
  canvasrule mend --job my-bench --looked-over m1 --step "0.5 mm\""""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument(
        "--lines",
        metavar="NAMES",
        help="cross lines by number, from the zero line as 0, numerals by number and side, others "
        'by id: "36, 40-44, 60 near, long-far"',
    )
    verb.add_argument(
        "--patch",
        nargs=4,
        metavar=("X0", "Y0", "X1", "Y1"),
        help="what lies in a box, by tape from the zero end and from the near edge; numerals whole",
    )
    verb.add_argument(
        "--section",
        metavar="ID",
        help="all of this section; with --lines or --patch what of them lies in it",
    )
    verb.add_argument(
        "--off",
        metavar="LENGTH",
        help="the lines lie wrong by this, plus towards the far end (cross lines) or the far edge "
        "(long ones): strike them out there, and draw them where they belong",
    )
    verb.add_argument("--why", metavar="REASON", help="kept in the record; needed with a choice")
    verb.add_argument("--undo", metavar="MEND", help="take back a mend that is not begun")
    verb.add_argument("--ruled", metavar="MEND", help="its lines are ruled anew by hand")
    verb.add_argument("--looked-over", metavar="MEND", help="a mend that was inked and measured")
    verb.add_argument("--step", metavar="LENGTH", help="its largest step from new ink to old")
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Keeps what is asked for, and tells how far every mend is."""
    job = read_job(options.job)
    layout = layout_of(options.job, job)
    asked = _asked(options)
    if asked is not None:
        _check_by_plotter(options.job, job)
    correction = kept_correction(options.job, job)
    plan = plan_of(options.job, "plotter", job, layout, correction)
    if not has_record(options.job):
        if asked is None and not any(getattr(options, name) for name in _OF_ONE):
            return _tell(options, job, layout, [], {})
        raise RefusedError(
            f"{options.job}: nothing is inked by the record, so nothing can be inked anew"
        )

    with claimed(options.job, "mend"), open_record(options.job) as record:
        if asked is not None:
            record.guard_layout(layout)
            guard_division(record, job, layout, plan, correction)
            begin(record, job, layout, plan, correction)
            mend, bare = ask(record, layout, plan, job.pens, asked)
            if bare:
                say(f"note: {', '.join(bare)}: not inked yet there; canvasrule drive inks it")
            if mend.pieces:
                say(f"{mend.id} is asked for: run canvasrule drive to ink it")
            if mend.by_hand:
                _write_sheet(options.job, job, layout, plan, mend)
        else:
            _keep(options, record, layout, plan)
        kept = mends(record, layout, plan)
        made = set_downs(record, layout, plan, job.pens)
    by_name = {one.id: one for several in made.values() for one, _ in several}
    return _tell(options, job, layout, kept, by_name)


def _asked(options: argparse.Namespace) -> MendAsked | None:
    """What is chosen; None where nothing is. Raises BadInputError."""
    chosen = options.lines is not None or options.patch is not None or options.section is not None
    others = [name for name in _OF_ONE if getattr(options, name) is not None]
    if (chosen and others) or len(others) > 1:
        raise BadInputError(
            "give one choice, or --undo, or --ruled, or --looked-over: one thing at a time"
        )
    if (options.looked_over is None) != (options.step is None):
        raise BadInputError("--looked-over MEND and --step LENGTH go together; give both")
    if not chosen:
        if options.why is not None or options.off is not None:
            raise BadInputError("say what is to be inked anew: --lines, --patch or --section")
        return None
    if not (options.why or "").strip():
        raise BadInputError(
            "ink is not laid twice without a reason: give --why REASON, which the record keeps"
        )
    if options.off is not None and options.lines is None:
        raise BadInputError("--off is said of lines that lie wrong; name them by --lines")
    return MendAsked(
        options.why,
        options.lines,
        None if options.patch is None else _box(options.patch),
        options.section,
        None if options.off is None else _signed("--off", options.off),
    )


def _box(given: list[str]) -> Box:
    named = zip(("X0", "Y0", "X1", "Y1"), given, strict=True)
    x0, y0, x1, y1 = (_length(f"--patch {name} {text!r}", text) for name, text in named)
    if x1 <= x0 or y1 <= y0:
        raise BadInputError(
            f"--patch {' '.join(given)}: give its corner nearest to the zero corner first, then "
            "the one across"
        )
    return x0, y0, x1, y1


def _length(option: str, given: str) -> float:
    """mm of a length that may be nothing. Raises BadInputError."""
    try:
        return parse_length(given)
    except ValueError as fault:
        raise BadInputError(f"{option}: {fault}") from None


def _signed(option: str, given: str) -> float:
    sign, bare = (-1.0, given.strip()[1:]) if given.strip().startswith("-") else (1.0, given)
    off = sign * _length(option, bare.lstrip("+ "))
    if off == 0:
        raise BadInputError(f"{option} {given}: a line that lies right needs no striking out")
    return off


def _check_by_plotter(folder: Path, job: Job) -> None:
    """Raises RefusedError for a cover that no plotter inked: nothing would ink it anew."""
    if job.ways.way is not None:
        way = chosen_way(folder, job)
        if way is not None and way.zone == "reach":
            raise RefusedError(_BY_HAND)
    if not has_record(folder):
        return

    with open_record(folder) as record:
        if traced_alone(record):
            raise RefusedError(_TRACED)


def _write_sheet(folder: Path, job: Job, layout: Layout, plan: Plan, mend: Mend) -> None:
    """What of a mend is ruled anew, line by line."""
    # What draws takes longer to import than all else here.
    from devices.output.drawings import mend_ruling

    path = folder / OUTPUT / f"ruling-{mend.id}.pdf"
    replace_file(path, mend_ruling(job, layout, plan, mend))
    say(f"wrote {path}: what a hand rules anew")


def _keep(options: argparse.Namespace, record: Record, layout: Layout, plan: Plan) -> None:
    named = options.undo or options.ruled or options.looked_over
    if named is None:
        return
    found = [one for one in mends(record, layout, plan) if one.id == named]
    if not found:
        known = ", ".join(one.id for one in mends(record, layout, plan)) or "none"
        raise BadInputError(f"{named}: no such mend; there are {known}")
    if options.undo is not None:
        take_back(record, layout, plan, found[0])
    elif options.ruled is not None:
        rule_anew(record, layout, plan, found[0])
    else:
        look_over(record, layout, plan, found[0], _length("--step", options.step))


def _tell(
    options: argparse.Namespace,
    job: Job,
    layout: Layout,
    kept: list[Mend] | tuple[Mend, ...],
    made: dict[str, Section],
) -> int:
    by_section = [
        {name: made[at] for name in mend.pieces if (at := mended_name(name, mend.id)) in made}
        for mend in kept
    ]
    if options.json:
        told = [mend_record(mend, at) for mend, at in zip(kept, by_section, strict=True)]
        print_json({"schema": 1, "mends": told})
        return 0
    lines = [
        line
        for mend, at in zip(kept, by_section, strict=True)
        for line in mend_lines(mend, layout, at, job.units)
    ]
    print_lines(lines or ["nothing is asked to be inked anew"])
    return 0
