"""What every new folder gets, whatever its job comes from: files that were not there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from devices.job_text import SCHEMA_FILE, job_schema
from marking.errors import BadInputError
from marking.job.folder import JOB_FILE
from marking.output.files import write_new

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def new_path(folder: Path) -> Path:
    """Where the job of a new folder will lie. Raises BadInputError where one is there."""
    path = folder / JOB_FILE
    if path.exists():
        raise BadInputError(f"{path}: is there already and was not touched; give another folder")
    return path


def make_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Writes a job's files, by name; job.toml last: a folder that has it has all of it.

    Raises BadInputError, before anything is written, where one of them is there already.
    """
    there = [folder / name for name in files if (folder / name).exists()]
    if there:
        raise BadInputError(f"{there[0]}: is there already and was not touched")
    for name in sorted(files, key=lambda name: name == JOB_FILE):
        write_new(folder / name, files[name])
    schema = folder / SCHEMA_FILE
    if not schema.exists():
        write_new(schema, job_schema().encode())
