"""The texts of the bench's own page: those that stand in its HTML, and those of its scripts."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

from tests.texts.from_python import Text

_WORD = re.compile(r"[^\W\d_]{2,}")
_SAID = re.compile(r'\bgettext\(\s*("(?:[^"\\]|\\.)*")\s*\)')
ATTRIBUTES = ("aria-label", "placeholder", "title")
"""Those that are read by a person."""
_SAME = re.compile(r"[\d./ ]+(in|mm|cm)|\w+://\S+")
"""Lengths and addresses, which are typed alike in every language."""


def html_texts(page: str, where: str) -> list[Text]:
    """What a page says, less what stands in an element of another language."""
    reader = _Reader()
    reader.feed(page)
    return [Text(words, where) for words in reader.found]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._silent = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._silent = tag in ("script", "style", "noscript") or (
            tag != "html" and "lang" in dict(attrs)
        )
        for name, value in attrs:
            if name in ATTRIBUTES:
                self._add(value or "")

    def handle_endtag(self, tag: str) -> None:
        self._silent = False

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self._add(data)

    def _add(self, words: str) -> None:
        text = " ".join(words.split())
        if _WORD.search(text) and not _SAME.fullmatch(text):
            self.found.append(text)


def script_texts(script: str, where: str) -> list[Text]:
    """What a script of the page marks as said."""
    return [Text(json.loads(words), where) for words in _SAID.findall(script)]
