"""What has to be kept of a job so that it is made again from paper alone, years later.

That is job.toml less its comments, with the table's and the pens' profiles put in place, and every
key beside that a line's place hangs on: a later version may have other defaults. Marks that a job
does without are no defaults: what is not asked for is not inked in any version.
"""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING, Any, get_args

from msgspec import Struct
from pydantic import BaseModel

from marking.errors import BadInputError, RefusedError, shortened
from marking.input.toml import read_toml
from marking.job.folder import JOB_FILE, load_job
from marking.job.settings import layout_settings, written_as
from marking.keep.plain_toml import plain_toml
from marking.shipped_files import stock, stock_names

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from marking.job.folder import JobT

_HASH_SHOWN = 16
"""Hexadecimal digits of a layout's hash: one in 10^19 would pass by chance."""
_PUT_IN_PLACE = {("table",): "tables"} | {
    ("pens", pen): "pens" for pen in ("lines", "heavy", "numerals", "removable")
}
_FILE_NAME = re.compile(r"(?!\.)[^/\\\\:*?\"<>|\x00-\x1f]{1,200}\.toml")
_BY_NAME = ("plotter", "projector")
"""Machines: a stock one keeps its name, one of the job's own folder goes along as a file."""

_ASKED_FOR: Mapping[str, Any] = {
    "grid.lines": [],
    "grid.centre_line": False,
    "numerals.second_zero": "none",
    "numerals.middle_every": 0,
    "numerals.other_unit": "none",
}
"""Marks that are inked for who asks for them, each with how a job does without."""


class KeptJob(Struct, frozen=True):
    """A job as text, and what proves that it is made again."""

    files: Mapping[str, str]
    """By name, job.toml first."""
    version: str
    """Of this program, that made it."""
    layout: str
    """The first digits of its layout's hash."""


def kept_job(folder: Path, job: JobT, version: str, layout_hash: str) -> KeptJob:
    """What to keep of the job in `folder`, which was read as `job`.

    Raises BadInputError when its files cannot be read, RefusedError when the text would not be
    read back as the very same job.
    """
    path = folder / JOB_FILE
    written = read_toml(path, str(path))
    files: dict[str, str] = {}
    for keys, kind in _PUT_IN_PLACE.items():
        _put_profile_in_place(written, keys, kind, folder)
    for name in _BY_NAME:
        files |= _own_profile(written, name, folder)
    _write_out(written, layout_settings(job), type(job))
    kept = KeptJob({JOB_FILE: plain_toml(written), **files}, version, layout_hash[:_HASH_SHOWN])
    if made_again(kept, type(job), str(path)).model_dump() != job.model_dump():
        raise RefusedError(
            f"{path}: its text would not be read back as the same job, so no page can keep it; "
            "keep a copy of the file itself"
        )
    return kept


def made_again(kept: KeptJob, model: type[JobT], label: str) -> JobT:
    """The job that was kept, read in a folder of its own; `label` names where it comes from.

    Raises BadInputError when it is not one that this version reads, or a file of it would lie
    outside its folder.
    """
    wrong = [name for name in kept.files if not _FILE_NAME.fullmatch(name)]
    if wrong or JOB_FILE not in kept.files:
        what = (
            f"{shortened(wrong[0])!r} is no plain file name" if wrong else f"it has no {JOB_FILE}"
        )
        raise BadInputError(f"{label}: {what}, so this is no page of a job")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file, text in kept.files.items():
            (folder / file).write_bytes(text.encode())
        try:
            return load_job(folder, model)
        except BadInputError as fault:
            said = (message.replace(f"{folder}{os.sep}", "") for message in fault.messages)
            raise BadInputError(*(f"{label}: {one}" for one in said)) from None


def layout_kept(kept: KeptJob, layout_hash: str) -> bool:
    """Whether a layout is the one that was kept."""
    return layout_hash.startswith(kept.layout)


def _put_profile_in_place(
    written: dict[str, Any], keys: tuple[str, ...], kind: str, folder: Path
) -> None:
    """The keys of a profile beneath the job's own, which is what it means."""
    above = written
    for key in keys[:-1]:
        above = above.get(key, {})
    table = above.get(keys[-1])
    if table is None or "profile" not in table:
        return
    name = table["profile"]
    where = stock().joinpath(kind, f"{name}.toml") if name in stock_names(kind) else folder / name
    profile = read_toml(where, str(where))
    own = {key: value for key, value in table.items() if key != "profile"}
    above[keys[-1]] = {**{k: v for k, v in profile.items() if k != "about"}, **own}


def _own_profile(written: dict[str, Any], name: str, folder: Path) -> dict[str, str]:
    """A profile that lies in the job's folder, by a name that leads nowhere else."""
    table = written.get(name)
    if table is None or "profile" not in table or table["profile"] in stock_names(f"{name}s"):
        return {}
    path = folder / table["profile"]
    plain = PureWindowsPath(table["profile"]).name
    # The job's own text has to name what is kept.
    written[name] = {**table, "profile": plain}
    return {plain: plain_toml(read_toml(path, str(path)))}


def _write_out(written: dict[str, Any], settings: Mapping[str, Any], model: type[JobT]) -> None:
    """Adds the keys that the job left to their defaults."""
    without = {dotted for dotted, value in _ASKED_FOR.items() if settings.get(dotted) == value}
    if "numerals.other_unit" in without:
        without.add("numerals.other_every")
    for dotted, value in settings.items():
        if dotted in without:
            continue
        *above, key = dotted.split(".")
        table: Any = written
        for part in above:
            table = table.setdefault(part, {})
        name = _name_in_file(model, above, key)
        if value is not None and name not in table:
            table[name] = written_as(dotted, value, model)


def _name_in_file(model: type[BaseModel], above: Sequence[str], key: str) -> str:
    """What a file calls a key: some have another name in the program."""
    for part in above:
        inner = model.model_fields[part].annotation if part in model.model_fields else None
        kinds = [one for one in (inner, *get_args(inner)) if isinstance(one, type)]
        found = next((one for one in kinds if issubclass(one, BaseModel)), None)
        if found is None:
            return key
        model = found
    field = model.model_fields.get(key)
    return field.alias if field is not None and field.alias is not None else key
