"""What a catalogue says, as the page reads it."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent


@cache
def words_in(language: str) -> str | None:
    """The translated texts of a catalogue as a JSON object by English text; None without one."""
    path = FOLDER / f"{language}.po"
    if not (language.isalpha() and path.is_file()):
        return None
    import polib

    said = {one.msgid: one.msgstr for one in polib.pofile(str(path)) if one.msgstr}
    return json.dumps(said, ensure_ascii=False)
