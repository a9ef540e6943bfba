"""What a form on the page asks of a verb: each field as an option of that verb, and none besides.

It knows options and no meaning: what is wrong with a value the verb says.
"""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError
from marking.output.files import replace_file

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

READINGS_FILE = "readings.csv"
"""Readings of marks typed on the page, in the job's folder, as `place` reads them."""
FORMS: Mapping[str, Mapping[str, str]] = {
    "mend": {"lines": "--lines", "section": "--section", "off": "--off", "why": "--why"},
    "mend-undo": {"mend": "--undo"},
    "mend-ruled": {"mend": "--ruled"},
    "mend-looked-over": {"mend": "--looked-over", "step": "--step"},
    "hem": {
        "width": "--width",
        "length": "--length",
        "bottom": "--bottom",
        "sides": "--sides",
        "heading": "--heading",
        "lined": "--lined",
        "repeat": "--repeat",
        "name": "--name",
    },
    "days": {"hours": "--hours"},
    "to-prove": {"most": "--distances"},
    "placed": {"section": "--section", "accept": "--accept"},
    "placed-inked": {"section": "--inked"},
    "ruled": {"lines": "--done"},
    "unruled": {"lines": "--undo"},
    "ports": {"port": "--port"},
    "squared": {
        "confirmed": "--confirmed",
        "replace": "--replace",
        "despite_ink": "--despite-ink",
    },
}
"""By errand: its fields, and the option that each is given as."""
IN_TURN: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "mend": ("--patch", ("x0", "y0", "x1", "y1")),
    "morning": ("--morning", ("base", "up", "down")),
}
"""By errand: an option that takes lengths as words of their own, and the field of each."""
_LONGEST = 300
_LONGEST_PORT = _LONGEST_REASON = 200
_SWITCHES = ("moved", "verniers", "pointer")
_REASONS = {"anyway": "--ink-anyway", "untried": "--ink-untried"}
PROVED = "proved"
"""Takes as many names as there are of distances that were measured again."""
_STANDS = re.compile(r"--confirmed (\w+) says so")
_BEGINS_A_LENGTH = re.compile(r"[0-9.]")


def options_of(kind: str, given: object) -> tuple[str, ...]:
    """What a form's fields say, as the verb takes it; those left empty are left out.

    Raises BadInputError for what no form has.
    """
    fields = given if isinstance(given, dict) else {}
    words: list[str] = []
    for name, option in FORMS.get(kind, {}).items():
        value = fields.get(name)
        if value is True:
            words.append(option)
        elif text := _line(value):
            words.append(f"{option}={text}")
    if kind in IN_TURN:
        in_turn, names = IN_TURN[kind]
        values = [_line(fields.get(name)) for name in names]
        if any(values) or not FORMS.get(kind):
            words += [in_turn, *_in_turn(kind, values)]
    confirmed = fields.get("confirmed")
    if kind == PROVED and isinstance(confirmed, list):
        words += [f"--confirmed={_line(name)}" for name in confirmed]
    return tuple(words)


def by_option(kind: str, lines: Sequence[str]) -> tuple[Mapping[str, str], Sequence[str]]:
    """What a verb says of its options, by the fields that they were given in; and all else."""
    in_turn, names = IN_TURN.get(kind, ("", ()))
    asked = {**FORMS.get(kind, {}), **{name: " ".join((in_turn, name.upper())) for name in names}}
    faults, others = dict[str, str](), []
    for line in lines:
        said_of = (
            name
            for name, option in asked.items()
            if re.match(rf"""{option}(?: '[^']*'| "[^"]*")?: """, line)
        )
        if (name := next(said_of, None)) is not None:
            faults[name] = line
        else:
            others.append(line)
    return faults, others


def named_in(kind: str, lines: Sequence[str]) -> tuple[str, ...]:
    """The fields of a form whose options a verb speaks of; of a proof, the distances."""
    if kind == PROVED:
        return tuple(dict.fromkeys(name for one in lines for name in _STANDS.findall(one)))
    options = FORMS.get(kind, {}).items()
    return tuple(
        name for name, option in options if any(re.search(rf"{option}\b", one) for one in lines)
    )


def _line(value: Any) -> str:
    text = value.strip() if isinstance(value, str) else ""
    if len(text) > _LONGEST or not text.isprintable():
        raise BadInputError(f"{text[:40]!r}: too long; write it in one short line")
    return text


def _in_turn(kind: str, values: Sequence[str]) -> Sequence[str]:
    """Lengths as words of their own; none may be taken for an option."""
    for value in values:
        if _BEGINS_A_LENGTH.match(value) is None:
            raise BadInputError(
                f"{value or 'nothing'!r}: a worn patch needs four lengths, from and to along the "
                'table and from and to across it, as "30 in"'
                if kind == "mend"
                else f"{value or 'nothing'!r}: the morning's check needs three lengths, as the "
                'tape shows them: "148 in"'
            )
    return values


def write_readings(path: Path, section: str, typed: str) -> None:
    """Writes readings typed a line each (mark, x, y and perhaps how sure), as `place` reads them.

    Raises BadInputError for a line that is none.
    """
    if not section:
        raise BadInputError("no section is named: give the one that the device is set down for")
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(["section", "mark", "x_mm", "y_mm", "sd_mm"])
    rows = [line for line in typed.splitlines() if line.strip()]
    for number, line in enumerate(rows, 1):
        # A comma at the end of a word parts it from the next; one within may be a decimal's.
        parts = [one for one in re.split(r"(?:[;\s]|,(?=\s))+", line.strip()) if one]
        parts = parts if len(parts) > 1 else [one.strip() for one in line.split(",")]
        if len(parts) not in (3, 4):
            raise BadInputError(
                f"reading {number}, {line.strip()[:40]!r}: give the mark, and x and y as the "
                "device shows them, in mm: c12 103.4 55.2"
            )
        table.writerow([section, *parts, *[""] * (4 - len(parts))])
    if not rows:
        raise BadInputError("no readings are typed: one a line, a mark and its x and y in mm")
    replace_file(path, text.getvalue().encode())


def port_of(command: Mapping[str, Any]) -> str:
    """The port that a page names. Raises BadInputError where it names none."""
    port = str(command.get("port") or "").strip()
    if not port or len(port) > _LONGEST_PORT or not port.isprintable():
        raise BadInputError(
            "no port is chosen: choose the one that the machine is on, or type its name"
        )
    return port


def scrap_wishes(command: Mapping[str, Any]) -> list[str]:
    """Whether the square is drawn as the kept correction has it, as `trial` takes it."""
    return ["--corrected"] if command.get("corrected") is True else []


def wishes(command: Mapping[str, Any]) -> list[str]:
    """What else a page wishes for one run, as `drive` takes it. Raises BadInputError."""
    wished = [f"--{name}" for name in _SWITCHES if command.get(name) is True]
    for key, option in _REASONS.items():
        reason = str(command.get(key) or "").strip()
        if len(reason) > _LONGEST_REASON or not reason.isprintable():
            raise BadInputError(f"{reason[:40]!r}: give a reason in one line of words")
        wished += [f"{option}={reason}"] if reason else []
    return wished


def count_of(value: object) -> list[str]:
    """How many sections one run inks at most, as `drive` takes it; nothing for all."""
    return ["--most", str(value)] if isinstance(value, int) and 0 < value < 10_000 else []
