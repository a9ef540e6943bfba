"""Rows that a person enters, from a TOML or a CSV file, each knowing the line it stands on.

It knows files, columns and lengths with units; what a row means is its reader's.
"""

from __future__ import annotations

import csv
import io
import math
import re
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError
from marking.lengths import parse_length
from marking.tomlfault import toml_fault

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_LARGEST_FILE = 1_000_000
_UNIT_COLUMN = re.compile(r"(?P<name>.+)_(?P<unit>in|mm|cm)")


@dataclass(frozen=True)
class Columns:
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

    @property
    def every(self) -> tuple[str, ...]:
        """All columns, in the order they are named to a person."""
        return (*self.text, *self.lengths, *self.optional)


@dataclass(frozen=True)
class Row:
    """One row: its text, its lengths in mm, and where it was written."""

    where: str
    text: dict[str, str]
    lengths: dict[str, float]


class _Faults(list[str]):
    """Every fault found, so that a person corrects a file once."""


def read_rows(path: Path, columns: Columns, given: dict[str, str] | None = None) -> list[Row]:
    """The rows of `path`, a .toml or a .csv file.

    `given` holds text for columns that the file may then leave out. Raises BadInputError with a
    message for each fault, naming file and line and what would do.
    """
    text = _text_of(path)
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


def _text_of(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise BadInputError(f"{path}: cannot be read: {fault.strerror or fault}") from None
    if len(data) > _LARGEST_FILE:
        raise BadInputError(f"{path}: {len(data)} bytes is no list of lengths; name another file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise BadInputError(f"{path}:{line}: not UTF-8; save the file as UTF-8") from None


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
) -> list[Row]:
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise BadInputError(f"{path}: broken TOML {toml_fault(str(fault), text)}") from None
    written = tables.pop(columns.table, [])
    for name in [key for key in tables if key in columns.text]:
        given[name] = str(tables.pop(name))
    if tables.pop("schema", 1) != 1:
        faults.append(f"{path}: this program reads schema 1; a later one needs a later program")
    faults.extend(f"{path}: {key}: unknown key; {_example(columns)}" for key in tables)
    if columns.pairs and isinstance(written, dict):
        key, value = columns.text[0], columns.lengths[0]
        lines = _lines(text, rf"^\s*[\"']?({'|'.join(map(re.escape, written)) or '-'})[\"']?\s*=")
        written = [{key: name, value: length} for name, length in written.items()]
    else:
        lines = _lines(text, rf"^\s*\[\[\s*{re.escape(columns.table)}\s*\]\]")
    if not isinstance(written, list) or not all(isinstance(row, dict) for row in written):
        faults.append(f"{path}: {columns.table} is no list of tables; {_example(columns)}")
        return []
    known = len(lines) == len(written)
    rows = []
    for number, cells in enumerate(written, 1):
        where = f"{path}:{lines[number - 1]}" if known else f"{path}: {columns.table} {number}"
        rows.append(_row(where, cells, columns, given, faults, {}))
    return [row for row in rows if row is not None]


def _lines(text: str, pattern: str) -> list[int]:
    """Numbers of the lines that `pattern` begins; TOML's reader does not tell them."""
    return [n for n, line in enumerate(text.splitlines(), 1) if re.match(pattern, line)]


def _csv_rows(
    path: Path, text: str, columns: Columns, given: dict[str, str], faults: _Faults
) -> list[Row]:
    first = text.split("\n", 1)[0]
    separator = next((mark for mark in (";", "\t") if mark in first), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    rows: list[Row | None] = []
    header: list[str] = []
    units: dict[str, str] = {}
    try:
        for cells in reader:
            where = f"{path}:{reader.line_num}"
            if not any(cell.strip() for cell in cells) or cells[0].startswith("#"):
                continue
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
    twice = sorted({name for name in names if names.count(name) > 1})
    for these, said in ((wanted, "missing"), (unknown, "not known"), (twice, "given twice")):
        if these:
            faults.append(
                f"{where}: column {', '.join(repr(n) for n in these)} {said}; the first line "
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
) -> Row | None:
    before = len(faults)
    for name in cells:
        if name not in columns.every:
            faults.append(f"{where}: {name}: unknown; a {columns.table} has {_named(columns)}")
    text = {}
    for name in columns.text:
        value = cells.get(name, given.get(name))
        if not isinstance(value, str) or not value.strip():
            faults.append(f"{where}: {name}: missing; every {columns.table} needs it, as text")
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
            faults.append(f"{where}: {name} = {cells[name]!r}: {fault}")
    return Row(where, text, lengths) if len(faults) == before else None


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
        value = f"{number:.12f} {unit}"
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("not a finite number; take this one again")
    if isinstance(value, str) and value.strip()[:1] in ("-", "−", "–"):
        return -parse_length(value.strip()[1:])
    return parse_length(value)
