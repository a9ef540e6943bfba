"""Writes a set of files so that each is whole or untouched, and none is left from another job.

It knows names and bytes, not what they mean.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from marking.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Mapping

MANIFEST = "files.json"


@dataclass(frozen=True)
class Written:
    """One file, by its path below the output folder with forward slashes."""

    path: str
    bytes: int
    sha256: str


def digest(data: bytes) -> str:
    """SHA-256 as hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def write_set(
    folder: Path, files: Mapping[str, bytes], made_from: str
) -> tuple[list[Written], list[str]]:
    """Writes `files` below `folder`; every one is staged in full before the first is replaced.

    A manifest records what was written and what it was `made_from`. Files that an earlier call
    wrote from something else are removed, since a stale section must never be plotted; the ones
    a person has changed since are left, and named in the second result. Raises BadInputError,
    with no file changed, when the folder or the disk does not take them.
    """
    old = _manifest(folder)
    kept = old["files"] if old.get("made_from") == made_from else {}
    written = [Written(name, len(data), digest(data)) for name, data in files.items()]
    listed = {**kept, **{file.path: file.sha256 for file in written}}
    manifest = {"made_from": made_from, "files": dict(sorted(listed.items()))}
    staged = {**files, MANIFEST: (json.dumps(manifest, indent=1) + "\n").encode()}
    _replace_all(folder, staged)
    changed = []
    for name, sha in old["files"].items():
        path = folder.joinpath(*PurePosixPath(name).parts)
        if name in listed or not path.is_file():
            continue
        if digest(path.read_bytes()) == sha:
            path.unlink()
        else:
            changed.append(name)
    return written, changed


def _manifest(folder: Path) -> dict[str, Any]:
    """The last manifest, or an empty one; only names that stay inside `folder` count."""
    try:
        manifest = json.loads((folder / MANIFEST).read_text("utf-8"))
        files = {
            str(name): str(sha)
            for name, sha in manifest["files"].items()
            if ".." not in PurePosixPath(name).parts and not PurePosixPath(name).is_absolute()
        }
        return {"made_from": manifest["made_from"], "files": files}
    except (OSError, ValueError, KeyError, AttributeError, TypeError):
        return {"files": {}}


def _replace_all(folder: Path, files: Mapping[str, bytes]) -> None:
    staged: list[tuple[Path, Path]] = []
    try:
        for name, data in files.items():
            path = folder.joinpath(*PurePosixPath(name).parts)
            path.parent.mkdir(parents=True, exist_ok=True)
            part = path.with_name(f".{path.name}.part")
            staged.append((part, path))
            part.write_bytes(data)
        for part, path in staged:
            os.replace(part, path)
    except OSError as fault:
        for part, _ in staged:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
        raise BadInputError(
            f"{fault.filename or folder}: cannot be written: {fault.strerror or fault}; "
            "free some space or choose another folder"
        ) from None


def write_new(path: Path, data: bytes) -> None:
    """Writes a file that must not exist yet. Raises BadInputError when it does or cannot be."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            file.write(data)
    except FileExistsError:
        raise BadInputError(f"{path}: is there already and was not touched") from None
    except OSError as fault:
        with contextlib.suppress(OSError):
            if path.is_file() and path.stat().st_size < len(data):
                path.unlink()
        raise BadInputError(f"{path}: cannot be written: {fault.strerror or fault}") from None


def replace_file(path: Path, data: bytes) -> None:
    """Writes one file whole, over an older one if there is one. Raises BadInputError."""
    _replace_all(path.parent, {path.name: data})
