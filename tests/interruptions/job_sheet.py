"""What the command tells a person of a job: strokes, set-down points, marks and who sees them.

All of it is read from the public verbs, of whatever checkout is tried; places are on the table.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from pathlib import Path

    from tests.interruptions.forked import Terminal
    from tests.interruptions.machine_models import Model

    Spot = tuple[float, float]


class Sheet(Struct, frozen=True):
    """What the command says of a job: all of it public."""

    strokes: dict[str, dict[str, Any]]
    """By section, then by stroke: its points on the table."""
    origins: dict[str, Spot]
    windows: dict[str, tuple[float, float, float, float]]
    marks: dict[str, Spot]
    seen: dict[str, list[str]]
    turned: set[str]
    """Sections for which the device is set down turned a quarter."""


def prepared(model: Model, folder: Path, terminal: Terminal) -> Sheet:
    """Makes the model's job with its tape marks set out, and reads what it says of it."""
    folder.mkdir(parents=True)
    (folder / "job.toml").write_text(model.job(), "utf-8")
    job = ["--job", str(folder)]
    terminal.start(["control", *job, "--spacing", "3 in"])
    terminal.ended(120.0)
    control = _json(terminal.run(["control", *job, "--spacing", "3 in", "--only-look", "--json"]))
    plan = _json(terminal.run(["section", *job, "--json"]))
    listed = terminal.run(["section", *job])
    files = _json(terminal.run(["write", *job, "--hpgl", "--json"]))["files"]
    marks = {mark["id"]: tuple(mark["at"]) for mark in control["marks"]}
    for section in plan["sections"]:
        marks |= {mark["id"]: tuple(mark["at"]) for mark in section["witness"]}
    return Sheet(
        {
            one["id"]: {stroke["id"]: stroke["points"] for stroke in one["strokes"]}
            for one in plan["sections"]
        },
        {file["section"]: tuple(file["origin"]) for file in files if "origin" in file},
        {one["id"]: tuple(one["window"]) for one in plan["sections"]},
        marks,
        _seen(listed, marks),
        set(re.findall(r"\| (\w+) turned \|", listed)),
    )


def _json(said: str) -> Any:
    """The result among what was said."""
    return json.loads(next(line for line in said.splitlines() if line.startswith("{")))


def _seen(listed: str, marks: dict[str, Spot]) -> dict[str, list[str]]:
    """The marks that the list of sections names for each."""
    rows = [line.split("|") for line in listed.splitlines() if re.match(r"\| \d+ \| r\d", line)]
    return {
        row[2].split()[0]: [
            word for word in re.findall(r"\w+", f"{row[5]} {row[6]}") if word in marks
        ]
        for row in rows
    }
