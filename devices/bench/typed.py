"""What a person types before it is whole: half a survey, lengths of the proof. Kept as it is typed.

A survey of which a measurement is missing is no survey yet, and job.toml does not take it; so it
waits in a file beside it, and goes in with the last. It knows files and no meaning.
"""

from __future__ import annotations

import csv
import io
import json
import re
from typing import TYPE_CHECKING

from msgspec import Struct

from devices.bench.errands import CORRECTED_FILE, PROOF_FILE, TRIAL_FILE
from marking.errors import BadInputError
from marking.input.text import read_text
from marking.output.files import replace_file

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

WAITING_FILE = "job.waiting.json"


class Measured(Struct, frozen=True):
    """Lengths that an errand reads."""

    column: str
    """Of their names, in its file."""
    file: str


MEASURED: Mapping[str, Measured] = {
    "proved": Measured("id", PROOF_FILE),
    "squared": Measured("run", TRIAL_FILE),
    "squared-corrected": Measured("run", CORRECTED_FILE),
}
"""Errands that read lengths which were typed."""
_ROW = re.compile(r".*\.csv:(\d+): ")
_NAMED = re.compile(r"(\w+)(?:: | = )")


def waiting(folder: Path) -> dict[str, str]:
    """What waits, by field; nothing where the file is not there or no longer makes sense."""
    path = folder / WAITING_FILE
    if not path.is_file():
        return {}
    try:
        found = json.loads(read_text(path, str(path), "list of measurements"))
    except (ValueError, BadInputError, RecursionError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {str(name): value for name, value in found.items() if isinstance(value, str)}


def keep_waiting(folder: Path, values: Mapping[str, str]) -> None:
    """Keeps what waits; takes the file away where nothing does."""
    path = folder / WAITING_FILE
    if values:
        replace_file(path, (json.dumps(dict(values), indent=1) + "\n").encode())
    else:
        path.unlink(missing_ok=True)


def write_measured(path: Path, name: str, values: Mapping[str, str]) -> None:
    """Writes lengths as the verbs read them: a column `name`, and one of lengths as typed."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow([name, "length"])
    table.writerows(values.items())
    replace_file(path, text.getvalue().encode())


def needed_for(kind: str) -> tuple[str, ...]:
    """The names of lengths without which an errand says nothing."""
    if kind == "proved":
        return ()
    from devices.plotter.correction import RUNS

    return RUNS


def typed_for(kind: str, waits: Mapping[str, str]) -> dict[str, str]:
    """Of all that waits, the lengths of one errand by their own names."""
    return {
        n.removeprefix(f"{kind}."): text for n, text in waits.items() if n.startswith(f"{kind}.")
    }


def by_length(
    written: Sequence[str], every: Sequence[str], lines: Sequence[str]
) -> tuple[Mapping[str, str], Sequence[str]]:
    """What a verb says of single lengths, by their names; and all else.

    It tells one by its row in the file that was `written`, or begins with its name.
    """
    faults, others = dict[str, str](), []
    for line in lines:
        row, named = _ROW.match(line), _NAMED.match(line)
        if row is not None and 0 <= (at := int(row[1]) - 2) < len(written):
            faults[written[at]] = line
        elif named is not None and named[1] in (*written, *every):
            faults[named[1]] = line
        else:
            others.append(line)
    return faults, others
