"""Files that hold what would be written are left as they are; the others are written whole."""

from __future__ import annotations

import contextlib
import os
import socket
from typing import TYPE_CHECKING

import pytest

from marking.errors import BadInputError
from marking.output.files import MANIFEST, write_set

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

LONG_AGO = 1_000_000_000
"""Seconds since 1970: a date that no run of the tests writes."""


def aged(folder: Path) -> None:
    for path in folder.rglob("*"):
        os.utime(path, (LONG_AGO, LONG_AGO))


def written_since(folder: Path) -> set[str]:
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {p.relative_to(folder).as_posix() for p in files if p.stat().st_mtime != LONG_AGO}


def test_only_files_that_change_get_a_new_date(tmp_path: Path) -> None:
    write_set(tmp_path, {"a.svg": b"one", "sections/b.svg": b"two"}, "a job")
    aged(tmp_path)
    write_set(tmp_path, {"a.svg": b"one", "sections/b.svg": b"two"}, "a job")
    assert written_since(tmp_path) == set()
    done = write_set(tmp_path, {"a.svg": b"one", "sections/b.svg": b"owt"}, "a job")
    assert written_since(tmp_path) == {"sections/b.svg", MANIFEST}
    assert [file.path for file in done.written] == ["a.svg", "sections/b.svg"]


def test_a_file_that_a_person_changed_is_written_again(tmp_path: Path) -> None:
    write_set(tmp_path, {"a.svg": b"one"}, "a job")
    (tmp_path / "a.svg").write_bytes(b"eno")
    write_set(tmp_path, {"a.svg": b"one"}, "a job")
    assert (tmp_path / "a.svg").read_bytes() == b"one"


def test_a_folder_in_the_way_of_one_file_leaves_all_others_unwritten(tmp_path: Path) -> None:
    write_set(tmp_path, {"a.svg": b"one"}, "a job")
    aged(tmp_path)
    (tmp_path / "b.svg").mkdir()
    with pytest.raises(BadInputError, match=r"b\.svg: a folder of that name is in the way"):
        write_set(tmp_path, {"a.svg": b"one more", "b.svg": b"two"}, "a job")
    assert written_since(tmp_path) == set()


def pipe(path: Path) -> None:
    os.mkfifo(path)


def socket_there(path: Path) -> None:
    # Bound by its name alone: the whole path may be longer than a socket's may be.
    with contextlib.chdir(path.parent), socket.socket(socket.AF_UNIX) as bound:
        bound.bind(path.name)


def link_to_a_device(path: Path) -> None:
    path.symlink_to(os.devnull)


@pytest.mark.parametrize("stands", [socket_there, link_to_a_device, pipe])
@pytest.mark.parametrize("data", [b"one", b""])
def test_what_is_no_file_and_stands_in_the_place_of_one_is_neither_read_nor_kept(
    tmp_path: Path, stands: Callable[[Path], None], data: bytes
) -> None:
    """A pipe would be waited for, a socket cannot be read, and a null device is as empty as an
    empty file. POSIX has all three; this runs on Linux and on macOS."""
    stands(tmp_path / "a.svg")
    assert not (tmp_path / "a.svg").is_file()
    write_set(tmp_path, {"a.svg": data}, "a job")
    assert (tmp_path / "a.svg").is_file()
    assert (tmp_path / "a.svg").read_bytes() == data
