"""Takes translations into a catalogue: JSON objects of a text and what it is in that language.

    python -m tests.texts.take de FILE...

One whose places, options or files are not those of its text is refused, and said.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import polib

from devices.bench.languages.words import FOLDER
from tests.texts.places import lost


def main(language: str, *files: str) -> int:
    """Returns 1 where anything was refused."""
    path = FOLDER / f"{language}.po"
    catalogue = polib.pofile(str(path), wrapwidth=96)
    entries = {one.msgid: one for one in catalogue}
    taken, refused = 0, []
    for file in files:
        for msgid, msgstr in json.loads(Path(file).read_text("utf-8")).items():
            if msgid not in entries:
                refused.append(f"not in the catalogue: {msgid}")
            elif not msgstr or (msgstr != msgstr.strip()) != (msgid != msgid.strip()):
                refused.append(f"empty, or a space at an end: {msgid}")
            elif wrong := lost(msgid, msgstr):
                refused.append(f"{wrong}: {msgid}\n  {msgstr}")
            else:
                entries[msgid].msgstr = msgstr
                taken += 1
    catalogue.save(str(path))
    print(f"{taken} taken, {len(refused)} refused", *refused, sep="\n")
    return bool(refused)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
