"""Rows that a person enters, from a TOML or a CSV file, each knowing the line it stands on.

It knows files, columns and lengths with units; what a row means is its reader's.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections import Counter
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from marking.errors import BadInputError, shortened
from marking.input.text import read_text
from marking.input.toml import toml_tables
from marking.measures.lengths import LONGEST_MM, parse_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

_WANTED = "list of lengths"
_MOST_ROWS = 20_000
"""Of a CSV file; the readings of a large table are 1,500."""
_LONGEST_NAME = 100
_KEY = re.compile(r"\s*[\"']?(?P<name>[^\"'=\s]+)[\"']?\s*=")
_HEADING = re.compile(r"\s*\[\[\s*(?P<name>[^\[\]\s]+)\s*\]\]")
_UNIT_COLUMN = re.compile(r"(?P<name>.+)_(?P<unit>in|mm|cm)")


class Columns(Struct, frozen=True):
    """What a file of rows may hold."""

    table: str
    """The TOML table: `[[reading]]`; and the word for one row in messages."""
    text: tuple[str, ...]
    """Columns of plain text that every row has."""
    lengths: tuple[str, ...]
    """Columns of lengths that every row has."""
    optional: tuple[str, ...] = ()
    """Columns of lengths that a row may leave out."""
    pairs: bool = False
    """Whether a TOML table may also be written `[table]` with one `text = length` a line."""
    beside: tuple[str, ...] = ()
    """Other tables that a TOML file may hold, which somebody else reads."""

    @property
    def every(self) -> tuple[str, ...]:
        """All columns, in the order they are named to a person."""
        return (*self.text, *self.lengths, *self.optional)


class WrittenRow(Struct, frozen=True):
    """One row: its text, its lengths in mm, and where it was written."""

    where: str
    text: dict[str, str]
    lengths: dict[str, float]


class _Faults(list[str]):
    """Every fault found, so that a person corrects a file once."""


def read_rows(
    path: Path, columns: Columns, given: dict[str, str] | None = None
) -> list[WrittenRow]:
    """The rows of `path`, a .toml or a .csv file.

    `given` holds text for columns that the file may then leave out. Raises BadInputError with a
    message for each fault, naming file and line and what would do.
    """
    text = read_text(path, str(path), _WANTED)
    given = dict(given or {})
    faults = _Faults()
    if path.suffix.lower() == ".toml":
        rows = _toml_rows(path, text, columns, given, faults)
    elif path.suffix.lower() == ".csv":
        rows = _csv_rows(path, text, columns, given, faults)
    else:
        raise BadInputError(f"{path}: not a .toml or a .csv file; save it as one of them")
    if faults:
        raise BadInputError(*faults)
    if not rows:
        raise BadInputError(f"{path}: no {columns.table} in it; {_example(columns)}")
    return rows


def _example(columns: Columns) -> str:
    shown = ", ".join(
        [f'{name} = "..."' for name in columns.text]
        + [f'{name} = "12.5 mm"' for name in columns.lengths]
    )
    return f"write [[{columns.table}]] with {shown}, or a .csv with columns {_named(columns)}"


def _named(columns: Columns) -> str:
    extra = f" and, if wanted, {', '.join(columns.optional)}" if columns.optional else ""
    return ", ".join([*columns.text, *columns.lengths]) + extra


def _toml_rows(
    path: Path, text: str, columns: Columns, given: dict[str, str], faults: _Faults
) -> list[WrittenRow]:
    tables = toml_tables(text, str(path), _WANTED)
    written = tables.pop(columns.table, [])
    for name in columns.beside:
        tables.pop(name, None)
    for name in [key for key in tables if key in columns.text]:
        given[name] = str(tables.pop(name))
    if tables.pop("schema", 1) != 1:
        faults.append(f"{path}: this program reads schema 1; a later one needs a later program")
    faults.extend(f"{path}: {shortened(key)}: unknown key; {_example(columns)}" for key in tables)
    if columns.pairs and isinstance(written, dict):
        key, value = columns.text[0], columns.lengths[0]
        lines = [line for line, name in _keys(text) if name in written]
        written = [{key: name, value: length} for name, length in written.items()]
    else:
        lines = [line for line, name in _headings(text) if name == columns.table]
    if not isinstance(written, list) or not all(isinstance(row, dict) for row in written):
        faults.append(f"{path}: {columns.table} is no list of tables; {_example(columns)}")
        return []
    known = len(lines) == len(written)
    rows = []
    for number, cells in enumerate(written, 1):
        where = f"{path}:{lines[number - 1]}" if known else f"{path}: {columns.table} {number}"
        rows.append(_row(where, cells, columns, given, faults, {}))
    return [row for row in rows if row is not None]


def _keys(text: str) -> Iterator[tuple[int, str]]:
    """Each key that begins a line, with the line's number; TOML's reader does not tell them."""
    return _found(text, _KEY)


def _headings(text: str) -> Iterator[tuple[int, str]]:
    """Each `[[table]]` that begins a line, with the line's number."""
    return _found(text, _HEADING)


def _found(text: str, pattern: re.Pattern[str]) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.splitlines(), 1):
        match = pattern.match(line)
        if match is not None:
            yield number, match["name"]


def _csv_rows(
    path: Path, text: str, columns: Columns, given: dict[str, str], faults: _Faults
) -> list[WrittenRow]:
    first = text.split("\n", 1)[0]
    separator = next((mark for mark in (";", "\t") if mark in first), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    rows: list[WrittenRow | None] = []
    header: list[str] = []
    units: dict[str, str] = {}
    try:
        for cells in reader:
            where = f"{path}:{reader.line_num}"
            if not any(cell.strip() for cell in cells) or cells[0].startswith("#"):
                continue
            if len(rows) + len(faults) > _MOST_ROWS:
                raise BadInputError(f"{path}: over {_MOST_ROWS} rows is no {_WANTED}")
            if not header:
                header, units = _header(where, cells, columns, given, faults)
                if faults:
                    return []
                continue
            if len(cells) != len(header):
                faults.append(
                    f"{where}: {len(cells)} cells where the header has {len(header)}; "
                    "put a length that holds a comma or an inch mark between quotation marks"
                )
                continue
            written = dict(zip(header, cells, strict=True))
            filled = {name: cell for name, cell in written.items() if cell.strip()}
            rows.append(_row(where, filled, columns, given, faults, units))
    except csv.Error as fault:
        raise BadInputError(f"{path}:{reader.line_num}: broken CSV: {fault}") from None
    return [row for row in rows if row is not None]


def _header(
    where: str, cells: Sequence[str], columns: Columns, given: dict[str, str], faults: _Faults
) -> tuple[list[str], dict[str, str]]:
    """The columns by name, and the unit of those that carry it in their name: `x_mm`."""
    names, units = [], {}
    for cell in cells:
        name = cell.strip().lower()
        in_unit = _UNIT_COLUMN.fullmatch(name)
        if in_unit and in_unit["name"] in (*columns.lengths, *columns.optional):
            name = in_unit["name"]
            units[name] = in_unit["unit"]
        names.append(name)
    wanted = [n for n in (*columns.text, *columns.lengths) if n not in names and n not in given]
    unknown = [name for name in names if name not in columns.every]
    twice = sorted(name for name, count in Counter(names).items() if count > 1)
    for these, said in ((wanted, "missing"), (unknown, "not known"), (twice, "given twice")):
        if these:
            named = ", ".join(repr(shortened(name)) for name in these[:4])
            faults.append(
                f"{where}: column {named} {said}; the first line "
                f"names the columns {_named(columns)} (a length may be written x_mm or x_in, "
                "and then its cells are bare numbers)"
            )
    return names, units


def _row(
    where: str,
    cells: dict[str, Any],
    columns: Columns,
    given: dict[str, str],
    faults: _Faults,
    units: dict[str, str],
) -> WrittenRow | None:
    before = len(faults)
    for name in cells:
        if name not in columns.every:
            faults.append(
                f"{where}: {shortened(name)}: unknown; a {columns.table} has {_named(columns)}"
            )
    text = {}
    for name in columns.text:
        value = cells.get(name, given.get(name))
        if not isinstance(value, str) or not value.strip():
            faults.append(f"{where}: {name}: missing; every {columns.table} needs it, as text")
            continue
        if len(value) > _LONGEST_NAME or not value.strip().isprintable():
            faults.append(f"{where}: {name} = {shortened(value)!r}: no name; write it on one line")
            continue
        text[name] = value.strip()
    lengths = {}
    for name in (*columns.lengths, *columns.optional):
        if name not in cells:
            if name in columns.lengths:
                faults.append(f'{where}: {name}: missing; give it with its unit, such as "12.5 mm"')
            continue
        try:
            lengths[name] = _length(cells[name], units.get(name))
        except ValueError as fault:
            faults.append(f"{where}: {name} = {shortened(f'{cells[name]!r}')}: {fault}")
    return WrittenRow(where, text, lengths) if len(faults) == before else None


def _length(value: object, unit: str | None) -> float:
    """A length in mm that may be negative: a device may count from its middle."""
    if unit is not None:
        try:
            number = float(str(value).strip())
        except ValueError:
            raise ValueError(
                f"not a number; the column's name gives the unit, {unit}, so write only the number"
            ) from None
        if not math.isfinite(number):
            raise ValueError("not a finite number; take this one again")
        if abs(number) > LONGEST_MM:
            raise ValueError("longer than any tape (100 m); check the column's unit")
        value = f"{number:.12f} {unit}"
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("not a finite number; take this one again")
    if isinstance(value, str) and value.strip()[:1] in ("-", "−", "–"):
        return -parse_length(value.strip()[1:].lstrip(), "-")
    return parse_length(value)
