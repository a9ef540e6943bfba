"""Brings the catalogue of each language up to what the page may show.

    python -m tests.texts.extract

New texts come in untranslated, those that nothing shows any more go, translations stay.
"""

from __future__ import annotations

import itertools
import re
import sys
import tomllib
from typing import TYPE_CHECKING, get_args

from pydantic import BaseModel

from devices.bench.errands import ERRANDS
from devices.bench.fields.field import fields
from devices.bench.fields.words import FILE_TALK
from devices.bench.languages.said_here import OF_THE_PAGE, said_here
from devices.bench.languages.words import FOLDER, OF_A_FILE
from devices.job import Job
from tests.test_architecture import FILES, imported
from tests.texts.from_pages import html_texts, script_texts
from tests.texts.from_python import Text, texts_of

if TYPE_CHECKING:
    from collections.abc import Iterator

PAGES = FOLDER.parent / "pages"
VERBS = {"beam", "bench", "drive", "start", *(words[0] for words in ERRANDS.values())}
"""What the page's server runs, and itself."""
SHEETS = (
    "devices.bench.shortcut",
    "devices.job_text",
    "devices.output.drawings",
    "devices.paper",
    "marking.drawing",
    "marking.full_size",
    "marking.hand",
    "marking.keep",
    "marking.output.cover_sheet",
    "marking.output.error_map",
    "marking.output.marks_words",
    "marking.output.proof_sheet",
    "marking.output.report",
    "marking.output.ruling_sheet",
    "marking.output.strokes_svg",
    "marking.output.survey_words",
    "marking.output.table_picture",
    "marking.output.table_top",
    "marking.output.tape_sheet",
    "marking.output.ways_picture",
    "marking.ruling.words",
    "marking.stretching.words",
)
"""What these write goes into files, onto printed sheets and onto the projector's own pages; only
what they raise and note is shown here."""
UNSEEN = (
    "devices.bench.languages.said_here",
    "devices.new_job.from_page",
    "devices.proving.marked_before",
    "devices.projector.desk.desk",
    "devices.projector.desk.known_points",
    "devices.projector.desk.beam_work",
    "devices.projector.pages",
    "devices.projector.trueup",
    "devices.simulated",
    "marking.marked_before",
    "marking.sheets",
)
"""What only verbs say that the page does not run, the projector's own pages, and pieces of texts
that are said whole."""
FROM_OTHERS = (
    # What lists are joined by, here and in pydantic.
    "{0} and {1}", "{0} or {1}",
    # The system, on files and devices (POSIX.1-2017, as Python gives them; Windows' own beside).
    "Device or resource busy", "Directory not empty", "Disk quota exceeded", "File exists",
    "File name too long", "File too large", "Input/output error", "Is a directory",
    "No space left on device", "No such device or address", "No such file or directory",
    "Not a directory", "Operation not permitted", "Permission denied", "Read-only file system",
    "Access is denied", "The system cannot find the path specified",
    # What a line to a machine says when it is gone (pyserial, and the system again).
    "Broken pipe", "Connection refused", "Connection reset by peer", "read failed: {0}",
    "socket disconnected", "write failed: {0}",
    # SQLite, on a job's record.
    "attempt to write a readonly database", "database disk image is malformed",
    "database is locked", "database or disk is full", "disk I/O error", "file is not a database",
    "unable to open database file",
    # The standard library's parser of TOML, as toml_faults lets it speak.
    "cannot declare {0} twice", "cannot mutate immutable namespace {0}", "cannot overwrite a value",
    "duplicate inline table key {0}", "escaped character is not a Unicode scalar value",
    "expected '=' after a key in a key/value pair", "expected {0}",
    "expected ']' at the end of a table declaration",
    "expected ']]' at the end of an array declaration",
    "expected newline or end of document after a statement", "found invalid character {0}",
    "illegal character {0}", "invalid date or datetime", "invalid hex value",
    "invalid initial character for a key part", "invalid statement", "invalid value",
    "unclosed array", "unclosed inline table", "unescaped '\\' in a string", "unterminated string",
)  # fmt: skip
"""What is passed on in the words of others."""


SINGLE = (
    "begun", "bottom", "bow", "check", "checks", "creep", "division", "divisions", "done", "drawn",
    "fan", "given", "inked", "kept", "layout", "layouts", "placement", "placements", "run", "runs",
    "strokes", "canvas", "cover", "cross", "diagonal", "failed", "far", "hand", "heading", "heavy",
    "interrupted", "marker", "neighbours", "pad", "paused", "pen", "percentage", "plotter",
    "projector", "reach", "removable", "screws", "seam", "set-downs", "sides", "speed", "square",
    "staples", "stopped", "straight", "thread", "total", "triangle", "underlay", "zero",
)  # fmt: skip
"""Single words that stand in a text's place and are no template of their own."""
JOINED = (
    "  yes",
    "  no",
    "“{label}”",
    "{0} by {1}",
    "{0} in sections",
    "{0} in {1}",
    "{0} over the width",
    "{0}, or {1}",
    "about {0} alone",
    "about {0} by two",
    "{0}, and {1} of waiting",
    "Larger would be possible with {0}",
    "{0}, {1} up {2}",
    "BROKEN",
    "HOLDS",
)
"""What is put together of words, or changed in its letters, before it is shown."""


_CHOICE = re.compile(r"(?!(in|mm|auto|hpgl|gcode|xonxoff|rtscts|dtrdsr|a4)$)[a-z][a-z -]+")
"""Choices in words; others are units, and what stands in a machine's manual."""


def shown_modules() -> list[str]:
    """Our own modules that the page's server and its verbs import, in order."""
    seen: set[str] = set()
    left = [name for name in FILES if name.startswith("devices.bench")]
    left += [f"devices.commands.{verb}" for verb in VERBS] + ["devices.commands"]
    # The kinds of sheets are imported by name.
    left += [name for name in FILES if name.startswith("devices.paper.")]
    while left:
        name = left.pop()
        if name not in seen:
            seen.add(name)
            above = name.rpartition(".")[0]
            left += [*imported(name), *([above] if above in FILES else [])]
    return sorted(seen)


def _twins(text: Text) -> Iterator[Text]:
    """A text, and what the page makes of it where it speaks of files."""
    yield text
    for talk in OF_A_FILE:
        if talk in text.words and text.words != talk:
            yield Text(text.words.replace(talk, FILE_TALK[talk]), text.where)
    if (here := said_here(text.words)) and here != text.words:
        yield Text(here, text.where)


def _within(module: str, some: tuple[str, ...]) -> bool:
    return any(module == one or module.startswith(f"{one}.") for one in some)


def _all() -> Iterator[Text]:
    yield from html_texts((PAGES / "bench.html").read_text("utf-8"), "pages/bench.html")
    for page in sorted(PAGES.rglob("*.js")):
        yield from script_texts(page.read_text("utf-8"), f"pages/{page.name}")
    for field in fields().values():
        for one in (field, *field.columns):
            if field.keys[-1] != "profile":
                yield from (Text(word, one.name) for word in one.choices if _CHOICE.fullmatch(word))
    yield from _wanted(Job, set())
    for words in FROM_OTHERS:
        yield Text(words, "passed on")
    for path in sorted((FOLDER.parents[2] / "profiles").glob("*/*.toml")):
        if name := tomllib.loads(path.read_text("utf-8")).get("name"):
            yield Text(name, path.name)
    for words in OF_THE_PAGE:
        yield Text(words, "devices.bench.languages.said_here")
    for words in SINGLE + JOINED:
        yield Text(words, "put together")
    for module in shown_modules():
        if not _within(module, UNSEEN):
            yield from texts_of(
                FILES[module].read_text("utf-8"), module, raised_only=_within(module, SHEETS)
            )


def _wanted(table: type[BaseModel], seen: set[type]) -> Iterator[Text]:
    """What a key is for that has to be given, as it stands within the fault of leaving it out."""
    seen.add(table)
    for name, field in table.model_fields.items():
        if field.is_required() and field.description:
            words = field.description
            yield Text(words[:1].lower() + words[1:], f"{table.__name__}.{name}")
        for inner in (field.annotation, *get_args(field.annotation)):
            if isinstance(inner, type) and issubclass(inner, BaseModel) and inner not in seen:
                yield from _wanted(inner, seen)


def extracted() -> dict[str, list[str]]:
    """Every text that the page may show, in order, with where it stands."""
    found: dict[str, list[str]] = {}
    for words, where in itertools.chain.from_iterable(map(_twins, _all())):
        places = found.setdefault(words, [])
        if where not in places:
            places.append(where)
    return found


def main() -> int:
    """Rewrites each catalogue; says what is left to translate."""
    import polib

    texts = extracted()
    for path in sorted(FOLDER.glob("*.po")):
        old = polib.pofile(str(path))
        kept = {one.msgid: one.msgstr for one in old}
        new = polib.POFile(wrapwidth=96)
        new.metadata = old.metadata
        for words, places in texts.items():
            new.append(
                polib.POEntry(
                    msgid=words,
                    msgstr=kept.get(words, ""),
                    # By module, not by line: a line that moves is no change of the catalogue.
                    occurrences=[
                        (where, "")
                        for where in dict.fromkeys(place.partition(":")[0] for place in places)
                    ],
                    flags=["python-brace-format"] if "{" in words else [],
                )
            )
        new.save(str(path))
        left = [one.msgid for one in new if not one.msgstr]
        gone = [words for words in kept if words not in texts]
        print(f"{path.name}: {len(new)} texts, {len(left)} to translate, {len(gone)} taken out")
        for words in left:
            print(f"  {words}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
