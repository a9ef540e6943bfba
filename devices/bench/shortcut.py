"""An icon on the desktop that opens the bench, as each system wants it; and taking it away.

It knows desktops and a command line, nothing of what the command does.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

from marking.errors import BadInputError, RefusedError

NAME = "Canvasrule bench"


def desktop(platform: str) -> Path:
    """The desktop's folder of whoever runs this."""
    if platform.startswith("linux"):
        try:
            said = subprocess.run(
                ["xdg-user-dir", "DESKTOP"], capture_output=True, text=True, check=True
            )
            if said.stdout.strip():
                return Path(said.stdout.strip())
        except (OSError, subprocess.CalledProcessError):
            pass
    return Path.home() / "Desktop"


def icon_file(platform: str, folder: Path) -> Path:
    """The file that is the icon."""
    ending = {"win32": ".lnk", "darwin": ".command"}.get(platform, ".desktop")
    return folder / f"{NAME}{ending}"


def icon_text(platform: str, words: list[str]) -> str:
    """What stands in the icon's file; for Windows the PowerShell that makes it.

    Desktop Entry Specification 1.4 of freedesktop.org for Linux; a script that the Finder runs
    for macOS; WScript.Shell's CreateShortcut for Windows.
    """
    if platform == "win32":
        target, *options = (word.replace("'", "''") for word in words)
        return (
            "$link = (New-Object -ComObject WScript.Shell).CreateShortcut($env:CANVASRULE_ICON)\n"
            f"$link.TargetPath = '{target}'\n"
            f"$link.Arguments = '{subprocess.list2cmdline(options)}'\n"
            "$link.Save()\n"
        )
    if platform == "darwin":
        return f"#!/bin/sh\nexec {shlex.join(words)}\n"
    # The specification's own quoting: backslash, quote, backtick and dollar are escaped, % doubled.
    quoted = " ".join(f'"{_escaped(word)}"' for word in words)
    return (
        "[Desktop Entry]\nType=Application\nVersion=1.4\n"
        f"Name={NAME}\nComment=Mark a table's canvas cover\nExec={quoted}\n"
        "Terminal=true\nCategories=Graphics;\n"
    )


def _escaped(word: str) -> str:
    for letter in '\\"`$':
        word = word.replace(letter, f"\\{letter}")
    return word.replace("\\", "\\\\").replace("%", "%%")


def make_icon(platform: str = sys.platform) -> Path:
    """Puts the icon on the desktop and returns its file. Raises BadInputError, RefusedError."""
    folder = desktop(platform)
    path = icon_file(platform, folder)
    text = icon_text(platform, [sys.executable, "-m", "devices.commands", "bench"])
    if not folder.is_dir():
        raise RefusedError(f"{folder}: there is no desktop here; start it by canvasrule bench")
    try:
        if platform == "win32":
            subprocess.run(
                ["powershell", "-NoProfile", "-Command", text],
                env={**os.environ, "CANVASRULE_ICON": str(path)},
                check=True,
                capture_output=True,
            )
        else:
            path.write_text(text, encoding="utf-8")
            path.chmod(0o755)
    except (OSError, subprocess.CalledProcessError) as fault:
        raise BadInputError(f"{path}: cannot be made: {fault}") from None
    return path


def take_icon_away(platform: str = sys.platform) -> Path | None:
    """Takes it away again; None where there is none. Raises BadInputError."""
    path = icon_file(platform, desktop(platform))
    if not path.exists():
        return None
    try:
        path.unlink()
    except OSError as fault:
        raise BadInputError(f"{path}: cannot be taken away: {fault.strerror}") from None
    return path
