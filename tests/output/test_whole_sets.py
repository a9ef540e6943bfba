"""A set of written files is there whole, or as it was before: never half of one job's."""

from __future__ import annotations

import os
import signal
import threading
from pathlib import Path

import pytest

from marking.errors import BadInputError
from marking.output.files import write_set

FIRST = {"sections/a.hpgl": b"IN;a1", "sections/b.hpgl": b"IN;b1", "gone.md": b"old"}
SECOND = {"sections/a.hpgl": b"IN;a2", "sections/b.hpgl": b"IN;b2", "sections/c.hpgl": b"IN;c2"}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.mark.parametrize("held", ["sections/a.hpgl", "sections/b.hpgl", "gone.md", "files.json"])
def test_a_file_that_another_program_holds_leaves_every_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held: str
) -> None:
    """Windows refuses to replace or remove an open file; here it is refused in its stead."""
    write_set(tmp_path, FIRST, "first")
    before = contents(tmp_path)
    replace, unlink = os.replace, Path.unlink

    def refuse(path: object) -> None:
        if Path(str(path)) == tmp_path / held:
            raise PermissionError(13, "The process cannot access the file", str(path))

    def no_replace(source: Path, target: Path) -> None:
        refuse(target)
        replace(source, target)

    def no_unlink(path: Path, missing_ok: bool = False) -> None:
        refuse(path)
        unlink(path, missing_ok=missing_ok)

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", no_replace)
        patched.setattr(Path, "unlink", no_unlink)
        with pytest.raises(BadInputError, match=f"{held.rpartition('/')[2]}: cannot be written"):
            write_set(tmp_path, SECOND, "second")
    assert contents(tmp_path) == before
    write_set(tmp_path, SECOND, "second")
    assert {name: data for name, data in contents(tmp_path).items() if name in SECOND} == SECOND
    assert "gone.md" not in contents(tmp_path)


def test_an_interrupt_in_the_middle_is_heard_when_the_set_is_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_set(tmp_path, FIRST, "first")
    replace = os.replace

    def interrupted(source: Path, target: Path) -> None:
        replace(source, target)
        if target.name == "a.hpgl":
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_set(tmp_path, SECOND, "second")
    now = contents(tmp_path)
    assert {name: now[name] for name in SECOND} == SECOND
    assert "gone.md" not in now
    assert not [name for name in now if name.endswith(".part")]


def test_a_set_can_be_written_away_from_the_main_thread(tmp_path: Path) -> None:
    thread = threading.Thread(target=write_set, args=(tmp_path, FIRST, "first"))
    thread.start()
    thread.join()
    assert {name: contents(tmp_path)[name] for name in FIRST} == FIRST
