"""Jobs, profiles, readings, measured files and records, each broken in one of many ways.

What is broken is drawn by a number, so that any case can be had again. The whole files come from
the program's own template and profiles, and from records that version 0.1 wrote.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import sqlite3
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from devices.commands import main
from devices.job_text import job_text
from marking.shipped_files import stock

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

OF_0_1 = Path(__file__).parents[1] / "folders_of_0_1"
RECORDS = sorted(folder for folder in OF_0_1.iterdir() if folder.is_dir())
JOB = job_text("Broken bench", "in", None, "50 in", "30 in", "flatbed-a3", 2)
SURVEY = (
    '[table.survey]\nnear = "50 in"\nfar = "50 in"\nzero_end = "30 in"\nfar_end = "30 in"\n'
    'diagonal_from_zero_near = "58 5/16 in"\ndiagonal_from_zero_far = "58 5/16 in"\n'
)
READINGS = {
    "toml": "".join(
        f'[[reading]]\nsection = "r1c{n}"\nmark = "w0{n}"\nx = "{n}2.5 mm"\ny = "1/2 in"\n'
        for n in range(1, 5)
    ),
    "csv": "section,mark,x_mm,y_mm,sd_mm\n"
    + "".join(f"r1c{n},w0{n},{n}2.5,{n}.25,\n" for n in range(1, 5)),
}
MEASURED = {
    "toml": "[measured]\n" + "".join(f'p0{n} = "{n}3 1/16 in"\n' for n in range(1, 7)),
    "csv": "id,length\n" + "".join(f"p0{n},{n}3 1/16 in\n" for n in range(1, 7)),
}
_LARGEST = 2_000_000
_DRAWS = 1.002
ODD_VALUES = (
    *("0", "-1", "1e999", "nan", "inf", "true", "[]", "{}", '""', "1979-05-27", "07:32:00", "''"),
    *('"0 in"', '"-1 in"', '"1 in in"', '"1/0 in"', '"1e5 in"', '"99999 ft"', '"1 parsec"'),
    *('"0.001 mm"', '"½ in"', '"１ in"', '"1 in\\u0000"', '"\\ud800"', '"١ in"', '"1 in 2 ft"'),
    *("9" * 30, "9" * 6_000, "0x" + "f" * 6_000, "1." + "0" * 5_000, "0b" + "1" * 9_000),
    *("[" * 3_000, "[" * 90 + "]" * 90, "{a=" * 400 + "1" + "}" * 400, "a." * 20_000 + "a"),
    *('"' + "x" * 70_000 + '"', '"' + "7" * 70_000 + ' in"', '"' + "1 in " * 9_000 + '"'),
    *('"""' + '\\"""' * 4_000, "'''", "[" + "1," * 30_000 + "]", '["double 1 in"]', "[[[]]]"),
    *('"../../etc/passwd"', '"/dev/zero"', '"/dev/stdin"', '"own.toml"', '"roll-36"', "[{}]"),
)
ODD_CELLS = (
    *("", " ", "nan", "inf", "-inf", "1e400", "1e-400", "-", "0x10", "1_000", "１", "9" * 5_000),
    *('"', '""', '"unclosed', "\x00", "\x1b[2J", "=1+1", ",,,,", "\t", ";", "w" * 200_000, "½"),
)
ODD_PLAIN: tuple[Any, ...] = (
    *(None, True, 0, -1, 1e308, "", "x", [], {}, [[]], [{}], {"is": "array"}, {"is": "layout"}),
    *([1, 2, 3], [[1, 2], [3, 4]], [["a"]], {"plan": "x"}, {"matrix": 1}, "9" * 5_000, 10**30),
)
ODD_TEXT = (
    *("", "null", "NaN", "[NaN]", "{", "[" * 50_000, "1" * 5_000, '{"a":1e999}', "\x00", "{}"),
    *("[]", '"x"', "-0", '{"matrix": [[1, 0], [0, 1]]}', "yesterday", "2026-13-45", "2026-01-01"),
)


def broken_text(whole: str, rng: random.Random, odd: tuple[str, ...]) -> bytes:
    """`whole` with a fault or a few in it."""
    text = whole
    for _ in range(rng.choice((1, 1, 1, 2, 5))):
        text = rng.choice(_FAULTS)(text, rng, odd)[:_LARGEST]
    data = text.encode("utf-8", "surrogatepass")
    if rng.random() < 0.1:
        data = data[: rng.randrange(len(data) + 1)]
    for _ in range(rng.choice((0, 0, 0, 1, 8))):
        at = rng.randrange(len(data) + 1)
        data = data[:at] + bytes([rng.randrange(256)]) + data[at + rng.randrange(2) :]
    return data


def _value_exchanged(text: str, rng: random.Random, odd: tuple[str, ...]) -> str:
    found = list(re.finditer(r"(?<== )[^\n#]+|(?<=,)[^,\n]*", text))
    if not found:
        return text + rng.choice(odd)
    where = rng.choice(found)
    return f"{text[: where.start()]}{rng.choice(odd)}{text[where.end() :]}"


def _put_in(text: str, rng: random.Random, odd: tuple[str, ...]) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice((*odd, "\n", "=", "[[", "]", "#", '"', ",", ".")) + text[at:]


def _left_out(text: str, rng: random.Random, _: tuple[str, ...]) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + text[at + rng.choice((1, 3, 30, 300)) :]


def _doubled(text: str, rng: random.Random, _: tuple[str, ...]) -> str:
    lines = text.splitlines(keepends=True)
    if not lines:
        return text
    at = rng.randrange(len(lines))
    often = min(rng.choice((2, 3, 3_000)), _LARGEST // len(lines[at]) + 1)
    return "".join([*lines[:at], lines[at] * often, *lines[at + 1 :]])


def _key_misspelt(text: str, rng: random.Random, odd: tuple[str, ...]) -> str:
    keys = list(re.finditer(r"(?m)^[\w.]+(?= =)|(?<=\[)[\w.]+(?=\])", text))
    if not keys:
        return _put_in(text, rng, odd)
    key = rng.choice(keys)
    new = rng.choice((key[0] + "x", key[0][1:], "a.b.c", '"' + "k" * 5_000 + '"', "schema"))
    return f"{text[: key.start()]}{new}{text[key.end() :]}"


_FAULTS: tuple[Callable[[str, random.Random, tuple[str, ...]], str], ...] = (
    _value_exchanged,
    _value_exchanged,
    _value_exchanged,
    _put_in,
    _left_out,
    _doubled,
    _key_misspelt,
)


def broken_job(folder: Path, rng: random.Random) -> None:
    """A job.toml in `folder`."""
    whole = JOB.replace("# [table.survey]", "") if rng.random() < 0.7 else JOB
    if rng.random() < 0.3:
        whole = whole.replace("[grid]", f"{SURVEY}[grid]", 1)
    (folder / "job.toml").write_bytes(broken_text(whole, rng, ODD_VALUES))


def broken_profile(folder: Path, rng: random.Random) -> None:
    """A sound job.toml in `folder` that names a broken profile of its own."""
    kind = rng.choice(("plotters", "projectors", "tables", "pens"))
    stock_profile = rng.choice(sorted(stock().joinpath(kind).glob("*.toml")))
    whole = stock_profile.read_text("utf-8")
    (folder / "own.toml").write_bytes(broken_text(whole, rng, ODD_VALUES))
    named = {
        "plotters": "[plotter]\nprofile = 'own.toml'\n",
        "projectors": "[projector]\nprofile = 'own.toml'\n",
        "tables": "",
        "pens": "[pens.lines]\nprofile = 'own.toml'\n",
    }[kind]
    table = '[table]\nlength = "50 in"\nwidth = "30 in"\n'
    if kind == "tables":
        table = "[table]\nprofile = 'own.toml'\n"
    (folder / "job.toml").write_text(table + named, "utf-8")


def broken_rows(folder: Path, rng: random.Random, whole: dict[str, str]) -> Path:
    """A file of rows in `folder`."""
    kind = rng.choice(tuple(whole))
    path = folder / f"rows.{kind}"
    odd = ODD_VALUES if kind == "toml" else (*ODD_CELLS, *ODD_VALUES)
    path.write_bytes(broken_text(whole[kind], rng, odd))
    return path


def broken_record(folder: Path, rng: random.Random) -> None:
    """A job.toml in `folder` with the record that it began, broken: of 0.1, or of this version."""
    source = rng.choice(RECORDS)
    job, record = begun_job() if rng.random() < 0.5 else _files_in(source)
    (folder / "job.toml").write_bytes(job)
    path = folder / "job.db"
    path.write_bytes(record)
    rng.choice((_bytes_spoilt, _row_spoilt, _row_spoilt, _row_spoilt, _format_spoilt))(path, rng)


def _files_in(folder: Path) -> tuple[bytes, bytes]:
    return (folder / "job.toml").read_bytes(), (folder / "job.db").read_bytes()


@lru_cache
def begun_job() -> tuple[bytes, bytes]:
    """job.toml and job.db of a job with device check, tape marks, readings, ink and a sheet."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        (folder / "job.toml").write_text('[table]\nlength = "30 in"\nwidth = "20 in"\n', "utf-8")
        runs = _asked(folder, "trial")["runs"]
        lines = [f'{run} = "{length * _DRAWS:.2f} mm"\n' for run, length in runs.items()]
        (folder / "square.toml").write_text("[measured]\n" + "".join(lines), "utf-8")
        _asked(folder, "trial", "--measured", str(folder / "square.toml"))
        marks = _asked(folder, "control", "--spacing", "3 in")["marks"]
        section = _asked(folder, "section")["sections"][0]
        x0, y0, x1, y1 = section["window"]
        rows = [
            f"{section['id']},{mark['id']},{(x - x0) / _DRAWS:.2f},{(y - y0) / _DRAWS:.2f}\n"
            for mark in marks
            for x, y in (mark["at"],)
            if x0 + 2 < x < x1 - 2 and y0 + 2 < y < y1 - 2
        ]
        (folder / "r.csv").write_text("section,mark,x_mm,y_mm\n" + "".join(rows), "utf-8")
        _asked(folder, "place", "--readings", str(folder / "r.csv"))
        _asked(folder, "place", "--inked", section["id"])
        _asked(folder, "prove")
        return _files_in(folder)


def _asked(folder: Path, *words: str) -> Any:
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        code = main([*words, "--json", "--job", str(folder)])
    assert code == 0, words
    return json.loads(said.getvalue())


def _bytes_spoilt(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    page = rng.choice((512, 1024, 4096))
    at = rng.randrange(0, len(data), page)
    how = rng.randrange(5)
    if how == 0:
        data[at : at + page] = rng.randbytes(page)
    elif how == 1:
        data[at : at + page] = bytes(page)
    elif how == 2:
        del data[rng.randrange(len(data)) :]
    elif how == 3:
        for _ in range(rng.choice((1, 4, 40))):
            data[rng.randrange(len(data))] = rng.randrange(256)
    else:
        path.with_name("job.db-wal").write_bytes(rng.randbytes(rng.choice((8, 32, 4_152))))
    path.write_bytes(data)


def _row_spoilt(path: Path, rng: random.Random) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    tables = [
        name
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        if connection.execute(f"SELECT 1 FROM {name}").fetchone()
    ]
    table = rng.choice(tables)
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    number, column = rng.randrange(3), rng.choice(columns)
    rowids = [row for (row,) in connection.execute(f"SELECT rowid FROM {table}")]
    rowid = rng.choice(rowids[-1 - number :])
    (value,) = connection.execute(
        f"SELECT {column} FROM {table} WHERE rowid = ?", (rowid,)
    ).fetchone()
    # What the table itself refuses stays as it was.
    with contextlib.suppress(sqlite3.Error):
        connection.execute(
            f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (_spoilt(value, rng), rowid)
        )
    connection.close()


def _spoilt(value: Any, rng: random.Random) -> Any:
    if isinstance(value, str) and value[:1] in ("{", "[") and rng.random() < 0.7:
        return json.dumps(_plain_spoilt(json.loads(value), rng))
    return rng.choice((*ODD_TEXT, 0, -1, 2**62, 1.5, b"", b"\xff\xfe", b"x" * 100_000))


def _plain_spoilt(plain: Any, rng: random.Random) -> Any:
    """Plain data with one thing in it, at any depth, left out or exchanged."""
    if isinstance(plain, dict) and plain and rng.random() < 0.85:
        key = rng.choice(sorted(plain))
        if rng.random() < 0.25:
            return {name: value for name, value in plain.items() if name != key}
        return {**plain, key: _plain_spoilt(plain[key], rng)}
    if isinstance(plain, list) and plain and rng.random() < 0.7:
        at = rng.randrange(len(plain))
        if rng.random() < 0.2:
            return [*plain[:at], *plain[at + 1 :]]
        return [*plain[:at], _plain_spoilt(plain[at], rng), *plain[at + 1 :]]
    return rng.choice(ODD_PLAIN)


def _format_spoilt(path: Path, rng: random.Random) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    how = rng.randrange(5)
    if how == 0:
        odd = rng.choice((-1, 0, 2, 3, 2**40, "six", None, 1.5, b"x"))
        try:
            connection.execute("UPDATE schema_version SET version = ?", (odd,))
        except sqlite3.Error:
            connection.execute("DELETE FROM schema_version")
    elif how == 1:
        connection.execute("INSERT INTO schema_version VALUES (3)")
    elif how == 2:
        connection.execute(f"PRAGMA application_id = {rng.choice((0, 1, 0x43565243))}")
    elif how == 3:
        connection.execute(f"DROP TABLE {rng.choice(('ink', 'reading', 'schema_version'))}")
    else:
        connection.execute("ALTER TABLE reading RENAME COLUMN mark TO stain")
    connection.close()
