"""What README, DEVELOPERS and each verb's help name is there: commands, keys, rooms and files."""

from __future__ import annotations

import importlib
import re
import shlex
from argparse import ArgumentParser
from typing import TYPE_CHECKING

import pytest

from devices.commands import VERBS
from devices.job import Job
from tests.test_architecture import ROOMS, ROOT, TOPS

if TYPE_CHECKING:
    from pathlib import Path

README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
FENCED = re.compile(r"^```\w*\n(.*?)^```", re.MULTILINE | re.DOTALL)


def verb_parser(verb: str) -> ArgumentParser:
    parser = ArgumentParser(exit_on_error=False)
    importlib.import_module(f"devices.commands.{verb}").add_options(parser)
    return parser


def commands(text: str) -> set[str]:
    """Those on lines of their own, remarks cut off, and those between backticks."""
    lines = [line.partition(" #")[0].strip() for line in text.splitlines()]
    own = {line for line in lines if line.startswith("canvasrule ")}
    return own | set(re.findall(r"`(canvasrule [^`\n]+)`", text))


def refused(command: str) -> str:
    """What a verb says against a command; empty where it takes it."""
    _, verb, *options = shlex.split(command)
    if verb not in VERBS:
        return "no such verb"
    if options == ["--help"]:
        return ""
    try:
        verb_parser(verb).parse_args(options)
    except (Exception, SystemExit) as fault:
        return repr(fault)
    return ""


def test_every_command_in_the_readme_is_taken() -> None:
    found = commands(README)
    assert len(found) > 40
    assert not {one: said for one in found if (said := refused(one))}
    assert refused("canvasrule drive --job my-bench --turned")


@pytest.mark.parametrize("verb", VERBS)
def test_a_verb_shows_an_example_that_it_takes(verb) -> None:
    found = commands((verb_parser(verb).epilog or "").partition("example")[2])
    assert any(one.split()[1] == verb for one in found)
    assert not {one: said for one in found if (said := refused(one))}


def test_the_keys_that_the_readme_names_are_keys_of_a_job() -> None:
    tables = {name: field.annotation for name, field in Job.model_fields.items()}
    found = set(re.findall(r"`(\w+)\.(\w+)(?: = [^`]+)?`", README))
    named = {(table, key) for table, key in found if table in tables}
    assert len(named) > 6
    keys = {
        (table, field.alias or name)
        for table, _ in named
        for name, field in tables[table].model_fields.items()
    }
    assert not named - keys


def test_every_room_stands_in_the_picture_of_the_packages() -> None:
    picture = next(one for one in FENCED.findall(DEVELOPERS) if one.startswith("marking/"))
    words = set(re.findall(r"\w+", picture + DEVELOPERS.partition("**A language")[2]))
    rooms = [room for room in ROOMS if room not in TOPS]
    assert not [room for room in rooms if room.rpartition(".")[2] not in words]


def test_every_file_that_a_diagram_names_is_there() -> None:
    diagrams = [one for one in FENCED.findall(DEVELOPERS) if not one.startswith("marking/")]
    named = {path for one in diagrams for path in re.findall(r"\b[a-z]\w*(?:/[a-z]\w*)+", one)}
    assert len(named) > 20

    def there(path: Path) -> bool:
        return path.is_dir() or path.with_suffix(".py").exists()

    missing = {one for one in named if not any(there(ROOT / top / one) for top in ("", *TOPS))}
    assert not missing
