"""What a catalogue says: to the page as a whole, and to a browser that may not see the page."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from devices.bench.fields.words import FILE_TALK, by_field, in_page_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

FOLDER = Path(__file__).parent
_CODE = re.compile("[a-z]{2,3}")
"""A language's code: whatever else a browser names becomes no file's name."""
_LABEL = re.compile("“([^”]+)”")
_FILE = re.compile(r"\{0\}: ")
"""How a message begins that names the file it is about."""
_PART = re.compile(r"\b[a-z_]+\.\{(\d)\}")
OF_A_FILE = tuple(talk for talk in FILE_TALK if not talk.startswith("canvasrule"))
"""Words of which the page has others: a text with them has a twin in the catalogue."""


@cache
def words_in(language: str) -> str | None:
    """The translated texts of a catalogue as a JSON object by English text; None without one."""
    path = FOLDER / f"{language}.po"
    if not (_CODE.fullmatch(language) and path.is_file()):
        return None
    import polib

    said = {one.msgid: one.msgstr for one in polib.pofile(str(path)) if one.msgstr}
    return json.dumps({**dict(_as_labelled(said)), **said}, ensure_ascii=False)


def _as_labelled(said: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Texts that name keys of job.toml, as the page says them: each key by its field's label."""
    for msgid, msgstr in said.items():
        if any(talk in msgid for talk in OF_A_FILE):
            continue
        for begin in (0, 5) if _FILE.match(msgid) and _FILE.match(msgstr) else (0,):
            (labelled,) = by_field([msgid[begin:]], "").values()
            (translated,) = by_field([msgstr[begin:]], "").values()
            # A key of which a part is a place is named whole.
            labelled, translated = (_PART.sub(r"{\1}", one) for one in (labelled, translated))
            if labelled not in (msgid, msgid[begin:]):
                yield labelled, _LABEL.sub(lambda one: _quoted(one[1], said), translated)
        # Within a sentence a key that begins its text stays, by its label.
        if (within := in_page_words(msgid)) != msgid:
            translated = in_page_words(msgstr)
            yield within, _LABEL.sub(lambda one: _quoted(one[1], said), translated)


def _quoted(label: str, said: Mapping[str, str]) -> str:
    """A label in quotation marks, as the catalogue has both."""
    return said.get("“{label}”", "“{label}”").format(label=said.get(label, label))


def said_to(accepted: str, text: str) -> str:
    """`text` in the first language of `accepted`, as a browser's Accept-Language has it."""
    for one in accepted.split(","):
        language = one.strip().lower().partition("-")[0].partition(";")[0]
        if language == "en":
            break
        if (words := words_in(language)) is not None:
            return str(json.loads(words).get(text, text))
    return text
