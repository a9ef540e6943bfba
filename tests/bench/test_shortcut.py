"""The icon on the desktop that opens the bench, on each system, and taking it away."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

from devices.bench.shortcut import icon_text
from tests.bench.benches import command, surroundings

if TYPE_CHECKING:
    from pathlib import Path

HARD = 'it\'s "50 %" $HOME `x` \\ here'
"""A name of a folder with all that has a meaning of its own in one system's file or another's."""


def test_the_icon_of_a_linux_desktop_is_sound_and_is_taken_away(tmp_path: Path) -> None:
    """Held against desktop-file-validate of freedesktop.org's desktop-file-utils."""
    (tmp_path / "Desktop").mkdir()
    around = {**surroundings(), "HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path)}
    subprocess.run(command("bench", "--shortcut"), check=True, env=around, capture_output=True)
    [icon] = (tmp_path / "Desktop").iterdir()
    assert icon.stat().st_mode & 0o100
    said = subprocess.run(["desktop-file-validate", icon], capture_output=True, text=True)
    assert (said.returncode, said.stdout) == (0, "")
    subprocess.run(command("bench", "--no-shortcut"), check=True, env=around, capture_output=True)
    assert list((tmp_path / "Desktop").iterdir()) == []
    # Nothing to take away is no fault.
    subprocess.run(command("bench", "--no-shortcut"), check=True, env=around, capture_output=True)


def test_a_program_in_any_folder_is_named_so_that_a_linux_desktop_takes_it(tmp_path: Path) -> None:
    icon = tmp_path / "bench.desktop"
    icon.write_text(icon_text("linux", [str(tmp_path / HARD / "python"), "-m", "x"]), "utf-8")
    said = subprocess.run(["desktop-file-validate", icon], capture_output=True, text=True)
    assert (said.returncode, said.stdout) == (0, "")


def test_the_script_of_a_mac_desktop_starts_the_bench_from_any_folder(tmp_path: Path) -> None:
    """Run by the shell that the Finder's terminal runs it with, /bin/sh."""
    folder = tmp_path / HARD
    folder.mkdir()
    python = folder / "python"
    python.symlink_to(sys.executable)
    script = tmp_path / "bench.command"
    words = [str(python), "-c", "import sys; print(sys.argv[1:])", "bench", HARD]
    script.write_text(icon_text("darwin", words), "utf-8")
    said = subprocess.run(["/bin/sh", script], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == str(["bench", HARD])


def test_the_powershell_of_a_windows_desktop_quotes_what_it_names() -> None:
    """Read alone: no Windows is at hand. A quote in a PowerShell string is doubled."""
    text = icon_text("win32", ["C:\\Users\\O'Hara\\python.exe", "-m", "devices.commands", "bench"])
    assert "$link.TargetPath = 'C:\\Users\\O''Hara\\python.exe'" in text
    assert "$link.Arguments = '-m devices.commands bench'" in text
