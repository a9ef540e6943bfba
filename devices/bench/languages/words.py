"""What a catalogue says: to the page as a whole, and to a browser that may not see the page."""

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


def said_to(accepted: str, text: str) -> str:
    """`text` in the first language of `accepted`, as a browser's Accept-Language has it."""
    for one in accepted.split(","):
        language = one.strip().lower().partition("-")[0].partition(";")[0]
        if language == "en":
            break
        if (words := words_in(language)) is not None:
            return str(json.loads(words).get(text, text))
    return text
