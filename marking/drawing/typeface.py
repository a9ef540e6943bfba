"""The one typeface that pictures and sheets are set in: which file it is, and what a text measures.

IBM Plex Sans (SIL Open Font License), from a package of its own, so that it is the same on every
machine: its figures are all of one width, I, l and 1 are told apart, and it has Latin, Greek and
Cyrillic letters, primes, and the eighths, which a person's own title may hold. What the program
itself writes of fractions is `1/16`: no face has sixteenths of one piece, and so it is found by
whoever searches a sheet for what the tape says.
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from PIL.ImageFont import FreeTypeFont

FAMILY = "IBM Plex Sans"
_EM = 1000
"""The face's own units to the em, in which it is measured."""


@cache
def typeface_file() -> Path:
    """The face as a TrueType file, upright and regular."""
    import fontpkg

    file: Path = fontpkg.path(FAMILY)
    return file


@cache
def _measured() -> FreeTypeFont:
    from PIL import ImageFont

    # Not shaped: a PDF sets each character by its own width, and so is every text measured.
    basic = ImageFont.Layout.BASIC
    return ImageFont.truetype(str(typeface_file()), _EM, layout_engine=basic)


@cache
def em_of_capital() -> float:
    """The size of the em for capitals of height 1, from the flat top of an H."""
    _, top, _, baseline = _measured().getbbox("H", anchor="ls")
    return _EM / (baseline - top)


@lru_cache(maxsize=4096)
def text_width(text: str) -> float:
    """How wide `text` is set with capitals of height 1."""
    return _measured().getlength(text) / _EM * em_of_capital()
