"""Text in numbered lines, each with its own check, so that one wrong letter names its line.

A line is its number, four hexadecimal digits, and its text: `07 3fa9 pitch = "1 in"`. The digits
are CRC-16 (x^16 + x^12 + x^5 + 1, ITU-T V.41, from all ones) of number and text, which shows every
single wrong letter and every two exchanged beside each other, and of all else but one in 65,536.
Spacing does not count, nor do the quotation marks and dashes that phones put in place of plain
ones. Lines may come in any order, as from several codes.
"""

from __future__ import annotations

import binascii
import re
import unicodedata
from typing import TYPE_CHECKING

from marking.errors import BadInputError, shortened
from marking.keep.kept_job import KeptJob

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST = 60
"""Characters of text in a line; what is longer goes on in the next."""
_ON = "\\"
"""Ends a line that goes on in the next one. No line of plain TOML ends so."""
_MOST_LINES = 5_000
_LINE = re.compile(
    r"(?P<number>\d{1,4})[.:)]? (?P<check>[0-9a-f]{4}) (?P<text>\S.*)", re.IGNORECASE
)
_LIKE_ONE = re.compile(r"\S{1,4} ?\S{4} ?\S")
"""May have been meant as a line: a heading that was copied along is not told of."""
_HEAD = re.compile(r"canvasrule (?P<version>\S{1,40}) layout (?P<layout>[0-9a-f]{16})")
_FILE = re.compile(r"file (?P<name>.+)")
_END = "end"
_PLAIN = str.maketrans(
    {**dict.fromkeys("“”„″«»", '"'), **dict.fromkeys("‘’‚′", "'"), **dict.fromkeys("–—−‐", "-")}
)


def kept_lines(kept: KeptJob) -> tuple[str, ...]:
    """A job as numbered lines: what made it, its files line by line, and the end."""
    texts = [f"canvasrule {kept.version} layout {kept.layout}"]
    for name, text in kept.files.items():
        texts.append(f"file {name}")
        texts += [piece for line in text.splitlines() for piece in _pieces(line)]
    texts.append(_END)
    wide = len(f"{len(texts)}")
    return tuple(f"{n:0{wide}} {_check(n, text)} {text}" for n, text in enumerate(texts, 1))


def _pieces(line: str) -> Iterator[str]:
    """A long line in pieces that neither begin nor end with a blank."""
    while len(line) > LONGEST:
        cut = LONGEST
        while " " in line[cut - 1 : cut + 1]:
            cut -= 1
        yield line[:cut] + _ON
        line = line[cut:]
    yield line


def _check(number: int, text: str) -> str:
    return f"{binascii.crc_hqx(f'{number} {text}'.encode(), 0xFFFF):04x}"


def read_lines(text: str, label: str) -> KeptJob:
    """The job that lines keep, as typed or as codes give them; `label` names them in messages.

    Raises BadInputError that names every line with a wrong letter, and those that are missing.
    """
    found, faults, others = _checked(text, label)
    if faults:
        raise BadInputError(*faults)
    if not found:
        raise BadInputError(
            f"{label}: no line of a keep page; each begins with its number and four figures or "
            "letters a to f: type them too"
        )
    last = max(found)
    missing = [number for number in range(1, last + 1) if number not in found]
    if missing or found[last] != _END:
        shown = ", ".join(map(str, missing[:8])) + (" and more" if len(missing) > 8 else "")
        lacks = f"line {shown} of the page" if missing else f"what follows line {last} of the page"
        raise BadInputError(
            f"{label}: {lacks} is missing; type it, or scan the square that has it", *others
        )
    return _job_of([found[number] for number in range(1, last + 1)], label)


def _checked(text: str, label: str) -> tuple[dict[int, str], list[str], list[str]]:
    """The text of each line by its number, what is wrong with others, and what is no line at all.

    A heading may have been copied along; it counts only when lines are missing.
    """
    found: dict[int, str] = {}
    faults: list[str] = []
    others: list[str] = []
    for place, raw in enumerate(text.splitlines(), 1):
        line = _plain(raw)
        if not line:
            continue
        match = _LINE.fullmatch(line)
        if match is None or not 1 <= int(match["number"]) <= _MOST_LINES:
            if _LIKE_ONE.match(line):
                others.append(
                    f"{label}:{place}: {shortened(line)!r} is no line of the page as it stands: a "
                    "number, four figures or letters a to f, and text"
                )
            continue
        number, said = int(match["number"]), match["text"]
        if _check(number, said) != match["check"].lower():
            faults.append(
                f"{label}:{place}: line {number} of the page has a wrong letter or figure: "
                f"{shortened(line)!r}; compare it with the page, letter by letter"
            )
        elif found.setdefault(number, said) != said:
            faults.append(
                f"{label}:{place}: line {number} is there twice, and not the same: these are lines "
                "of two pages; take out the ones of the other"
            )
    return found, faults, others


def _plain(line: str) -> str:
    """A line without what phones and typists add to spacing, quotation marks and dashes."""
    return " ".join(unicodedata.normalize("NFKC", line.lstrip("\ufeff")).translate(_PLAIN).split())


def _job_of(texts: list[str], label: str) -> KeptJob:
    head = _HEAD.fullmatch(texts[0])
    if head is None:
        raise BadInputError(
            f"{label}: line 1 is not that of a page this program makes; a later version's page "
            "needs a later version"
        )
    files: dict[str, str] = {}
    name, begun = None, ""
    for text in texts[1:-1]:
        named = _FILE.fullmatch(text)
        if named is not None and not begun:
            name = named["name"]
            files[name] = ""
        elif name is None:
            raise BadInputError(f"{label}: no file is named before {shortened(text)!r}")
        elif text.endswith(_ON):
            begun += text.removesuffix(_ON)
        else:
            files[name] += f"{begun}{text}\n"
            begun = ""
    return KeptJob(files, head["version"], head["layout"])
