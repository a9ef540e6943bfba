"""Writes a set of files so that each is whole or untouched, and none is left from another job.

It knows names and bytes, not what they mean.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import signal
import stat
import threading
from contextlib import contextmanager
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from marking.errors import BadInputError
from marking.input.text import read_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

MANIFEST = "files.json"


class Written(Struct, frozen=True):
    """One file, by its path below the output folder with forward slashes."""

    path: str
    bytes: int
    sha256: str


def digest(data: bytes) -> str:
    """SHA-256 as hexadecimal."""
    return hashlib.sha256(data).hexdigest()


class WrittenSet(Struct, frozen=True):
    """What one call wrote, and what it did with files of an earlier one. Paths as in `Written`."""

    written: tuple[Written, ...]
    removed: tuple[str, ...]
    left: tuple[str, ...]
    """Files of an earlier set that a person has changed since."""


def write_set(folder: Path, files: Mapping[str, bytes], made_from: str) -> WrittenSet:
    """Writes `files` below `folder`; every one is staged in full before the first is replaced.

    A manifest records what was written and what it was `made_from`. Files that an earlier call
    wrote from something else are removed, since a stale section must never be plotted; the ones
    a person has changed since are left. Raises BadInputError, with no file changed, when the
    folder or the disk does not take them.
    """
    old = _manifest(folder)
    kept = old["files"] if old.get("made_from") == made_from else {}
    written = tuple(Written(name, len(data), digest(data)) for name, data in files.items())
    listed = {**kept, **{file.path: file.sha256 for file in written}}
    manifest = {"made_from": made_from, "files": dict(sorted(listed.items()))}
    # The manifest comes last, so that what it lists is there and what it forgets is gone.
    staged = {**files, MANIFEST: (json.dumps(manifest, indent=1) + "\n").encode()}
    removed: list[str] = []
    left: list[str] = []
    for name, sha in old["files"].items():
        if name in listed or not (folder / name).is_file():
            continue
        still_ours = digest((folder / name).read_bytes()) == sha
        (removed if still_ours else left).append(name)
    _replace_all(folder, staged, [folder / name for name in removed])
    return WrittenSet(written, tuple(removed), tuple(left))


def _manifest(folder: Path) -> dict[str, Any]:
    """The last manifest, or an empty one; only names that stay inside `folder` count."""
    try:
        path = folder / MANIFEST
        manifest = json.loads(read_text(path, str(path), "list of files"))
        files = {
            str(name): str(sha)
            for name, sha in manifest["files"].items()
            if _stays_inside(str(name))
        }
        return {"made_from": manifest["made_from"], "files": files}
    except (BadInputError, ValueError, KeyError, AttributeError, TypeError, RecursionError):
        return {"files": {}}


def _stays_inside(name: str) -> bool:
    """Whether a name leads nowhere else, on any system: a manifest may come from another one."""
    path = PureWindowsPath(name)
    return not path.anchor and ".." not in path.parts


def _replace_all(folder: Path, files: Mapping[str, bytes], stale: Sequence[Path] = ()) -> None:
    """Stages every file, and only then moves them into place and removes the stale ones.

    A file that holds these very bytes already is left alone, and keeps its date.
    """
    staged: list[tuple[Path, Path]] = []
    contents = {folder / name: data for name, data in files.items()}
    contents = {path: data for path, data in contents.items() if not _holds(path, data)}
    for path in contents:
        if path.is_dir():
            raise BadInputError(f"{path}: a folder of that name is in the way")
    if not contents:
        return
    try:
        for parent in dict.fromkeys(path.parent for path in contents):
            path = parent
            parent.mkdir(parents=True, exist_ok=True)
        for path, data in contents.items():
            part = path.with_name(f".{path.name}.part")
            staged.append((part, path))
            part.write_bytes(data)
        with _interrupted_afterwards():
            _exchange(staged, stale)
    except OSError as fault:
        raise _cannot_write(path, fault) from None
    finally:
        for part, _ in staged:
            _remove(part)


def _holds(path: Path, data: bytes) -> bool:
    """Whether this very file is there; one that cannot be read is taken for another."""
    try:
        there = os.stat(path)
        if not stat.S_ISREG(there.st_mode) or there.st_size != len(data):
            return False
        return path.read_bytes() == data
    except OSError:
        return False


def _exchange(staged: Sequence[tuple[Path, Path]], stale: Sequence[Path]) -> None:
    """Moves every staged file into place and removes the stale, or puts all back as it was.

    Raises BadInputError when a file cannot be replaced: another program may hold it open.
    """
    before: list[tuple[Path, bytes | None]] = []
    try:
        for part, path in staged[:-1]:
            before.append((path, path.read_bytes() if path.is_file() else None))
            os.replace(part, path)
        # The last one tells of all the others, and of what is gone.
        for path in stale:
            before.append((path, path.read_bytes()))
            path.unlink()
        part, path = staged[-1]
        os.replace(part, path)
    except OSError as fault:
        for changed, data in reversed(before):
            _put_back(changed, data)
        raise _cannot_write(path, fault) from None


def _put_back(path: Path, data: bytes | None) -> None:
    with contextlib.suppress(OSError):
        if data is None:
            path.unlink(missing_ok=True)
        elif not path.exists() or path.read_bytes() != data:
            path.write_bytes(data)


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


@contextmanager
def _interrupted_afterwards() -> Iterator[None]:
    """Hears an interrupt only at the end, so that no set is left half exchanged."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if heard:
        raise KeyboardInterrupt


def _cannot_write(path: Path, fault: OSError) -> BadInputError:
    advice = "; free some space" if fault.errno in (errno.ENOSPC, errno.EFBIG) else ""
    blocked = next((parent for parent in path.parents if parent.is_file()), None)
    if blocked is not None:
        return BadInputError(f"{blocked}: is a file and no folder; give another folder")
    return BadInputError(f"{path}: cannot be written: {fault.strerror or fault}{advice}")


def write_new(path: Path, data: bytes) -> None:
    """Writes a file that must not exist yet. Raises BadInputError when it does or cannot be."""
    made = False
    try:
        if any(parent.is_file() for parent in path.parents):
            raise NotADirectoryError(errno.ENOTDIR, "not a folder")
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            made = True
            file.write(data)
    except FileExistsError:
        raise BadInputError(f"{path}: is there already and was not touched") from None
    except OSError as fault:
        if made:
            _remove(path)
        raise _cannot_write(path, fault) from None


def replace_file(path: Path, data: bytes) -> None:
    """Writes one file whole, over an older one if there is one. Raises BadInputError."""
    _replace_all(path.parent, {path.name: data})
