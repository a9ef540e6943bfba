"""Which taps of which page have been answered, so that a tap that is sent again is done once.

A page numbers its taps from 1 and sends those again that nothing was heard of; whatever number
was answered already is not done a second time. It knows numbers, no socket and no desk.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct, field

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_PAGES = 32
"""How many pages' last taps are kept; those that tapped last."""
_LONGEST_NAME = 64
_MOST_TAPS = 2**53
"""Whole numbers up to here are exact in a browser."""


class Answer(Struct, frozen=True):
    """What a page was told of its last tap."""

    number: int
    refused: str = ""
    """Why it was not done; empty where it was."""


NONE = Answer(0)


class Taps(Struct, frozen=True):
    """The last answer to each page, by the page's own name; the latest page last."""

    last: Mapping[str, Answer] = field(default_factory=dict)

    def to(self, page: str) -> Answer:
        """The last answer to a page; number 0 where there was none."""
        return self.last.get(page, NONE)

    def with_answer(self, page: str, answer: Answer) -> Taps:
        """These, and one answer more."""
        others = {name: one for name, one in self.last.items() if name != page}
        kept = list(others.items())[-(MOST_PAGES - 1) :]
        return Taps({**dict(kept), page: answer})


def page_name(said: object) -> str | None:
    """What a page calls itself, where that is a name at all."""
    if isinstance(said, str) and 0 < len(said) <= _LONGEST_NAME and said.isascii():
        return said
    return None


def tap_number(said: object) -> int | None:
    """The number of a tap, where it is one at all."""
    if isinstance(said, int) and not isinstance(said, bool) and 0 < said < _MOST_TAPS:
        return said
    return None


def kept(taps: Taps) -> dict[str, list[object]]:
    """Plain data for the record."""
    return {page: [one.number, one.refused] for page, one in taps.last.items()}


def from_kept(data: Mapping[str, list[object]]) -> Taps:
    """What `kept` made plain."""
    return Taps({page: Answer(int(str(n)), str(why)) for page, (n, why) in data.items()})
