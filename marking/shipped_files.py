"""Finds the data that ships with the program: profiles, lettering and the demo."""

from __future__ import annotations

from pathlib import Path


def stock() -> Path:
    """The folder of shipped data, in an installed package or in a checkout."""
    package = Path(__file__).resolve().parent
    installed = package / "profiles"
    return installed if installed.is_dir() else package.parent / "profiles"


def stock_names(kind: str) -> list[str]:
    """Names, sorted, of the stock profiles in the folder `kind`: `"tables"`, `"plotters"`…"""
    return sorted(path.stem for path in stock().joinpath(kind).glob("*.toml"))
