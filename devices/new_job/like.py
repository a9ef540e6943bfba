"""A job with another's choices: its job.toml and the profiles beside it, nothing of its record."""

from __future__ import annotations

import tomllib
from pathlib import Path

from devices.job import Job
from devices.new_job.folder import make_folder, new_path
from marking.errors import BadInputError
from marking.job.folder import JOB_FILE, load_job
from marking.job.written import with_changes


def make_like(folder: Path, old: Path, *, title: str | None = None) -> None:
    """Makes the job that follows `old`, under its title or another.

    Raises BadInputError; nothing is written then.
    """
    new_path(folder)
    # It is read as it stands: what would not read back there does not here.
    load_job(old, Job)
    text = (old / JOB_FILE).read_bytes()
    files = {JOB_FILE: text}
    for name in sorted(_profiles(tomllib.loads(text.decode("utf-8-sig")))):
        beside = old / name
        if beside.is_file() and not Path(name).is_absolute():
            if ".." in Path(name).parts:
                raise BadInputError(
                    f"{old / JOB_FILE}: its profile {name} lies outside the folder; copy it into "
                    "the folder first, and name it so"
                )
            files[name] = beside.read_bytes()
    if title is not None:
        label = str(old / JOB_FILE)
        renamed = with_changes(text.decode("utf-8-sig"), label, {("title",): title})
        files[JOB_FILE] = renamed.encode()
    make_folder(folder, files)


def _profiles(tables: object) -> set[str]:
    """What is named as a profile anywhere in a job; stock ones among it."""
    if not isinstance(tables, dict):
        return set()
    own = {value for key, value in tables.items() if key == "profile" and isinstance(value, str)}
    return own.union(*(_profiles(value) for value in tables.values()))
