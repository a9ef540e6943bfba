"""What ships with the program, as people know it: a table by its size, a machine by its name."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import TYPE_CHECKING

from marking.shipped_files import stock, stock_names

if TYPE_CHECKING:
    from collections.abc import Mapping

_KNOWN_BY = {"tables": ("length", "width"), "pens": ("width",)}
"""Keys of a profile that say what it is; of any other its name."""


@cache
def known_as(kind: str) -> Mapping[str, str]:
    """What each stock profile of a kind, such as `tables`, is known as, by the profile's name."""
    return {name: _known_as(kind, name) for name in stock_names(kind)}


def _known_as(kind: str, name: str) -> str:
    profile = tomllib.loads(stock().joinpath(kind, f"{name}.toml").read_text("utf-8"))
    return " × ".join(str(profile[key]) for key in _KNOWN_BY.get(kind, ("name",)))
