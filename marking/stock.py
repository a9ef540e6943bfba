"""Finds the data that ships with the program: profiles, lettering and the demo."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable


def stock() -> Traversable:
    """The folder of shipped data, in an installed package or in a checkout."""
    installed = resources.files("marking").joinpath("profiles")
    if installed.is_dir():
        return installed
    return Path(__file__).resolve().parent.parent / "profiles"


def stock_names(kind: str) -> list[str]:
    """Names, sorted, of the stock profiles in the folder `kind`: `"tables"`, `"plotters"`…"""
    return sorted(
        entry.name.removesuffix(".toml")
        for entry in stock().joinpath(kind).iterdir()
        if entry.name.endswith(".toml")
    )
