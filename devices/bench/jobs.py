"""The jobs that lie in one folder: listed, made, copied and renamed. It knows folders and files."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError
from marking.input.text import read_text
from marking.job.folder import JOB_FILE

if TYPE_CHECKING:
    from pathlib import Path

HOME_FOLDER = "canvasrule jobs"
_MOST = 200
_NAME = re.compile(r"[^\x00-\x1f\x7f/\\\\:*?\"<>|]{1,100}")
"""What every system takes for a folder's name."""


def jobs_in(root: Path) -> list[dict[str, Any]]:
    """The jobs in the folders of `root`, by name, each with its title."""
    return [{"name": name, "title": _title(root / name)} for name in job_names(root)]


def job_names(root: Path) -> list[str]:
    """The names of the folders of `root` that are jobs."""
    try:
        return sorted(path.name for path in root.iterdir() if (path / JOB_FILE).is_file())[:_MOST]
    except OSError:
        return []


def jobs_folder(given: Path, *, home: Path, named: bool) -> tuple[Path, Path | None]:
    """The folder that jobs lie in, and the job to open first where it is clear which.

    `given` is a job's folder, or one that jobs lie in; where it was not `named` and neither, jobs
    are looked for, and made, in a folder of `home`: an icon starts in a folder of something else.
    """
    here = given.resolve()
    if (here / JOB_FILE).is_file():
        return here.parent, here
    found = jobs_in(here)
    if not found and not named:
        here = home / HOME_FOLDER
        found = jobs_in(here)
    return here, here / found[0]["name"] if len(found) == 1 else None


def _title(folder: Path) -> str:
    try:
        text = read_text(folder / JOB_FILE, str(folder / JOB_FILE), "job")
        return str(tomllib.loads(text).get("title", folder.name))
    except (BadInputError, ValueError, RecursionError):
        return f"{folder.name} (its job.toml cannot be read)"


def folder_named(root: Path, name: str) -> Path:
    """The folder of a job by its name. Raises BadInputError for what is no folder's name."""
    name = name.strip()
    if _NAME.fullmatch(name) is None or name.strip(". ") != name:
        raise BadInputError(
            f'"{name[:40]}": not a name for a folder; use letters, figures, spaces and hyphens'
        )
    return root / name


def free_folder(root: Path, name: str) -> Path:
    """A folder by that name which is not there yet. Raises BadInputError."""
    folder = folder_named(root, name)
    if folder.exists():
        raise BadInputError(f"{folder}: is there already; give another name")
    return folder


def renamed(job: Path, folder: Path) -> None:
    """Gives a job's folder another name. Raises BadInputError where the system does not let it."""
    try:
        job.rename(folder)
    except OSError as fault:
        raise BadInputError(f"{job}: cannot be renamed: {fault.strerror or fault}") from None
