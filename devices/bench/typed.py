"""What a person types before it is whole: half a survey, lengths of the proof. Kept as it is typed.

A survey of which a measurement is missing is no survey yet, and job.toml does not take it; so it
waits in a file beside it, and goes in with the last. It knows files and no meaning.
"""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

from marking.errors import BadInputError
from marking.input.text import read_text
from marking.output.files import replace_file

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

WAITING_FILE = "job.waiting.json"


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
