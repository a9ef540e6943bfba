"""`canvasrule hem`: which lines of this table one panel's hems are laid to."""

from __future__ import annotations

import re
import unicodedata
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
from devices.history import has_record
from marking.cloth.hem_words import hem_lines, hem_record
from marking.cloth.hems import hem_plan
from marking.cloth.panel import Panel
from marking.errors import BadInputError
from marking.job.keys import Fold, paper_of, parse_fold
from marking.job.values import is_printable, positive
from marking.measures.lengths import parse_length
from marking.output.files import replace_file
from marking.record.record import open_record

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Mapping
    from pathlib import Path
    from typing import Any

    from marking.measures.lengths import Units


_MORE = """\
A side hem is folded to the long lines, counted from the table's long edge (or as
hems.from has it), a bottom or top hem to the cross lines, counted from the zero line.

It tells what to cut, the line for each raw edge and fold in the order of the work, and
what has no line on this table; and writes out/hem-NAME.pdf and .svg, a card to pin
over the table. Where a hem has no line it ends with 1 and says what to add to job.toml
before there is ink.

example:
  canvasrule hem --job my-bench --width "48 in" --length "84 in" --name parlour"""
_USUAL: Mapping[Units, Mapping[str, str]] = {
    "in": {"bottom": "double 4 in", "sides": "double 1 1/2 in", "heading": "double 4 in"},
    "mm": {"bottom": "double 10 cm", "sides": "double 4 cm", "heading": "double 10 cm"},
}
"""Hems where none are given; the first three as many published worksheets take them."""


def add_options(verb: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    add_job_option(verb)
    verb.add_argument("--width", required=True, help="finished and flat, before it is pleated")
    verb.add_argument("--length", required=True, help="finished, from top fold to bottom fold")
    verb.add_argument(
        "--bottom", help='such as "single 2 in" (default: "double 4 in" or "double 10 cm")'
    )
    verb.add_argument("--sides", help='default: "double 1 1/2 in" or "double 4 cm"')
    verb.add_argument(
        "--heading",
        help='what is turned over at the top, or "none" (default: "double 4 in" or "double 10 cm")',
    )
    verb.add_argument("--lined", action="store_true", help="cut a lining too")
    verb.add_argument("--repeat", help="length of the pattern's repeat; leave it out for plain")
    verb.add_argument("--goods", help="usable width of the cloth on the bolt")
    verb.add_argument(
        "--widths", type=int, metavar="N", help="so many widths sewn together (default: as needed)"
    )
    verb.add_argument("--name", help="what the card is called (default: its finished size)")
    verb.epilog = _MORE


def run(options: argparse.Namespace) -> int:
    """Lays one panel out on the table's lines; 0 when each of its hems has a line."""
    job = read_job(options.job)
    panel = _panel(options, job.units)
    layout = layout_of(options.job, job)
    plan = hem_plan(panel, layout, job)
    inked = _inked(options.job)
    if options.json:
        print_json(hem_record(plan, job))
        return int(bool(plan.missing))
    name = options.name or f"Panel {options.width.strip()} by {options.length.strip()}"

    # What draws takes longer to import than all else here.
    from marking.drawing.pdf import pdf
    from marking.drawing.svg import svg
    from marking.output.hem_card import hem_card

    pages = hem_card(plan, layout, job, name, paper_of(job), inked=inked)
    for ending, data in (("svg", svg(pages[0])), ("pdf", pdf(pages))):
        path = options.job / OUTPUT / f"hem-{_file_name(name)}.{ending}"
        replace_file(path, data)
        say(f"wrote {path}")
    print_lines(hem_lines(plan, layout, job, name, inked=inked))
    return int(bool(plan.missing))


def _panel(options: argparse.Namespace, units: Units) -> Panel:
    """The panel asked for. Raises BadInputError, naming the option."""
    length = positive(parse_length, "a length here")
    if options.widths is not None and not 1 <= options.widths <= 100:
        raise BadInputError(f"--widths {options.widths}: give 1 to 100, or leave it out")
    if options.name is not None and not all(map(is_printable, options.name)):
        raise BadInputError("--name has characters that cannot be printed; take them out")

    def given(option: str, read: Callable[[str], Any]) -> Any:
        text = getattr(options, option) or _USUAL[units].get(option)
        if text is None:
            return None
        try:
            return read(text)
        except ValueError as fault:
            plain = "; leave it out for plain cloth" if option == "repeat" else ""
            raise BadInputError(f"--{option} {text!r}: {fault}{plain}") from None

    return Panel(
        given("width", length),
        given("length", length),
        given("bottom", _fold),
        given("sides", _fold),
        None if options.heading == "none" else given("heading", _fold),
        options.lined,
        given("repeat", length),
        given("goods", length),
        options.widths,
    )


def _fold(text: str) -> Fold:
    fold = parse_fold(text)
    assert isinstance(fold, Fold)
    return fold


def _inked(folder: Path) -> bool:
    if not has_record(folder):
        return False

    with open_record(folder) as record:
        return bool(record.ink())


def _file_name(name: str) -> str:
    """Letters and figures that every system takes in a file's name."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "panel"
