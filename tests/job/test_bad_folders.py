"""Profiles and folders that are missing, shut, full or something else: files stay as they were."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from marking.job.folder import JOB_FILE
from tests.job.command_cases import (
    BAD_INPUT,
    TABLE,
    assert_plain,
    assert_refused,
    contents,
    job_in,
    limited,
    without_privilege,
)

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli


@pytest.mark.parametrize(
    ("profile", "said"),
    [
        ('"flatbed-a5"', ["flatbed-a4", "roll-36"]),
        ('"flatbed-24x63"', ['did you mean "flatbed-24x36"']),
        ('"mine.toml"', ["mine.toml", "no such profile"]),
        ('"../../x.toml"', ["../../x.toml", "no such profile"]),
        ('"../flatbed-a3"', ["no such profile"]),
        ('"folder.toml"', ["no such profile"]),
        ('"a\\u0000b.toml"', ["no such profile"]),
        ('""', ["no such profile"]),
        ("3", ["plotter.profile = 3"]),
        ("[]", ["plotter.profile"]),
    ],
)
def test_a_missing_profile_is_named_with_those_there_are(
    run_cli: RunCli, tmp_path: Path, profile: str, said: list[str]
) -> None:
    job_in(tmp_path, f"{TABLE}[plotter]\nprofile = {profile}\n")
    (tmp_path / "folder.toml").mkdir()
    assert_refused(run_cli, tmp_path, BAD_INPUT, "plotter.profile", "flatbed-a3", *said)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"name = \n", "line 1, column 8"),
        (b'name = "\xff"\n', "UTF-8"),
        (b'profile = "flatbed-a3"\n', "profile"),
        (b'name = "a"\nx_size = "100 mm"\ny_size = 3\n', "plotter.y_size = 3"),
    ],
)
def test_a_broken_profile_is_named_by_its_own_file(
    run_cli: RunCli, tmp_path: Path, data: bytes, said: str
) -> None:
    job_in(tmp_path, f'{TABLE}[plotter]\nprofile = "mine.toml"\n')
    (tmp_path / "mine.toml").write_bytes(data)
    assert_refused(run_cli, tmp_path, BAD_INPUT, str(tmp_path / "mine.toml"), said)


def test_an_unreadable_file_is_named(tmp_path: Path) -> None:
    job_in(tmp_path, f'{TABLE}[plotter]\nprofile = "mine.toml"\n')
    (tmp_path / "mine.toml").write_text('name = "Ours"\n', "utf-8")
    for name in ("mine.toml", JOB_FILE):
        (tmp_path / name).chmod(0)
        done = limited(without_privilege, "layout", "--job", tmp_path)
        (tmp_path / name).chmod(0o644)
        assert_plain(done, BAD_INPUT, f"{tmp_path / name}", "Permission denied")


def test_a_read_only_folder_is_named_and_left_alone(run_cli: RunCli, tmp_path: Path) -> None:
    folder = job_in(tmp_path / "bench", TABLE)
    assert run_cli("write", "--job", folder, "--svg").returncode == 0
    job_in(folder, TABLE.replace("50", "40"))
    before = contents(folder)
    shut = [folder, folder / "out", folder / "out" / "sections"]
    for path in shut:
        path.chmod(0o555)
    try:
        for words in (
            ["write", "--job", folder],
            ["write", "--job", folder, "--out", folder / "new"],
            ["layout", "--job", folder, "--picture", folder / "picture.svg"],
            ["start", folder / "other", "--table", "bench-64x150"],
        ):
            assert_plain(limited(without_privilege, *words), BAD_INPUT, "Permission denied")
    finally:
        for path in shut:
            path.chmod(0o755)
    assert contents(folder) == before


@pytest.mark.parametrize("verb", ["write", "picture", "start", "demo"])
def test_a_folder_that_is_a_file_is_named_and_left_alone(
    run_cli: RunCli, tmp_path: Path, verb: str
) -> None:
    job_in(tmp_path, TABLE)
    (tmp_path / "file").write_text("a letter", "utf-8")
    before = contents(tmp_path)
    for inside in (tmp_path / "file", tmp_path / "file" / "below"):
        words: list[str | Path] = {
            "write": ["write", "--job", tmp_path, "--out", inside],
            "picture": ["layout", "--job", tmp_path, "--picture", inside / "picture.svg"],
            "start": ["start", inside, "--table", "bench-64x150"],
            "demo": ["demo", inside],
        }[verb]
        done = run_cli(*words)
        assert_plain(done, BAD_INPUT, str(tmp_path / "file"))
        assert "is there already" not in done.stderr, "there is no job in a file"
        assert contents(tmp_path) == before


def test_stale_sections_that_cannot_be_taken_away_leave_every_file_as_it_was(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """The reports could be replaced, but old sections would stand beside them: so none is."""
    job_in(tmp_path, TABLE)
    assert run_cli("write", "--job", tmp_path, "--svg", "--report").returncode == 0
    job_in(tmp_path, TABLE.replace("50 in", "48 in"))
    before = contents(tmp_path)
    (tmp_path / "out" / "sections").chmod(0o555)
    try:
        done = limited(without_privilege, "write", "--job", tmp_path, "--report")
        assert_plain(done, BAD_INPUT, "sections", "Permission denied")
    finally:
        (tmp_path / "out" / "sections").chmod(0o755)
    assert contents(tmp_path) == before
    assert run_cli("write", "--job", tmp_path, "--report").returncode == 0
    assert not list((tmp_path / "out" / "sections").iterdir())


@pytest.mark.parametrize(("verb", "option"), [("layout", "--picture"), ("control", "--map")])
def test_a_misspelt_folder_for_a_picture_is_named_and_not_made(
    run_cli: RunCli, tmp_path: Path, verb: str, option: str
) -> None:
    job_in(tmp_path, TABLE)
    before = contents(tmp_path)
    picture = tmp_path / "pcitures" / "bench.png"
    done = run_cli(verb, "--job", tmp_path, option, picture)
    assert_plain(done, BAD_INPUT, f"there is no folder {picture.parent}")
    assert contents(tmp_path) == before


def test_a_target_that_is_a_folder_stops_the_whole_set(run_cli: RunCli, tmp_path: Path) -> None:
    """Nothing is replaced when one of the files cannot be."""
    job_in(tmp_path, TABLE)
    (tmp_path / "out" / "report.md").mkdir(parents=True)
    (tmp_path / "out" / "marking.svg").write_text("an older marking", "utf-8")
    before = contents(tmp_path)
    done = run_cli("write", "--job", tmp_path)
    assert_plain(done, BAD_INPUT, str(tmp_path / "out" / "report.md"))
    assert contents(tmp_path) == before


@pytest.mark.parametrize("room", [0, 300, 9_000])
def test_a_full_disk_leaves_every_file_as_it_was(
    run_cli: RunCli, tmp_path: Path, room: int
) -> None:
    """No file may grow past `room` bytes, as on a disk that fills while it is written."""
    import resource

    def little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    folder = job_in(tmp_path / "bench", TABLE)
    assert run_cli("write", "--job", folder, "--svg", "--hpgl").returncode == 0
    job_in(folder, TABLE.replace("50 in", "48 in"))
    before = contents(tmp_path)
    for words in (
        ["write", "--job", folder],
        ["write", "--job", folder, "--out", folder / "new" / "out"],
        ["layout", "--job", folder, "--picture", folder / "picture.svg"],
        ["start", tmp_path / "other", "--table", "bench-64x150"],
        ["demo", tmp_path / "demo"],
    ):
        if room >= 9_000 and words[0] in ("start", "demo"):
            continue
        done = limited(little_room, *words)
        assert_plain(done, BAD_INPUT, "cannot be written", "File too large")
        after = contents(tmp_path)
        assert {name: data for name, data in after.items() if data is not None} == {
            name: data for name, data in before.items() if data is not None
        }
