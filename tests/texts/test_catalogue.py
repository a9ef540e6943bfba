"""The catalogues of the bench page, against what it may show."""

from __future__ import annotations

import re
from functools import cache

import polib
import pytest

from devices.bench.languages.words import FOLDER, said_to
from tests.texts.extract import PAGES, extracted
from tests.texts.from_pages import html_texts, script_texts
from tests.texts.from_python import texts_of
from tests.texts.places import lost

LANGUAGES = sorted(path.stem for path in FOLDER.glob("*.po"))


@cache
def catalogue(language: str) -> dict[str, str]:
    return {one.msgid: one.msgstr for one in polib.pofile(str(FOLDER / f"{language}.po"))}


@cache
def shown() -> dict[str, list[str]]:
    return extracted()


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_that_the_page_may_show_is_left_untranslated(language: str) -> None:
    """Else: python -m tests.texts.extract, and translate what it lists."""
    said = catalogue(language)
    assert not [words for words in shown() if not said.get(words)]
    assert not [words for words in said if words not in shown()]


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_translation_has_the_places_options_and_files_of_its_text(language: str) -> None:
    wrong = {words: lost(words, said) for words, said in catalogue(language).items()}
    assert not {words: what for words, what in wrong.items() if what}
    assert lost("{0} of {1}: see --moved", "{1} von {1}") == "--moved, {0}, {1}"


def test_the_page_offers_the_languages_that_there_are() -> None:
    page = (PAGES / "bench.html").read_text("utf-8")
    found = re.search(r'data-languages="([a-z ]+)"', page)
    assert found is not None
    assert found[1].split() == ["en", *LANGUAGES]


def test_texts_are_found_as_a_person_would_mark_them() -> None:
    source = '''
"""A docstring."""
import re
COLUMNS = "section, mark, x_bed"
def said(n, name, side):
    """Another."""
    side = "near" if n else "far"
    re.compile("[a-z] line")
    if side == "no word of it":
        raise BadInputError(f"{name}: {n} {'line' if n == 1 else 'lines'} on the {side} edge; look")
    return [f"{name}.toml", f"  {counted(n, 'stroke')} drawn", ": unknown key; ", {"key": "A word"}]
'''
    assert {one.words for one in texts_of(source, "here")} == {
        "near",
        "far",
        "{0}: {1} line on the {2} edge; look",
        "{0}: {1} lines on the {2} edge; look",
        "{0} stroke",
        "{0} strokes",
        "{0} drawn",
        "unknown key",
        "A word",
    }
    raised = {one.words for one in texts_of(source, "here", raised_only=True)}
    assert raised == {
        "{0}: {1} line on the {2} edge; look",
        "{0}: {1} lines on the {2} edge; look",
    }


def test_texts_of_a_page_are_its_nodes_attributes_and_what_its_scripts_mark() -> None:
    page = '<p title="Help me">One <b>two</b>\n  three</p><i lang="de">Nein</i><script>no</script>'
    found = [one.words for one in html_texts(page, "here")]
    assert found == ["Help me", "One", "two", "three"]
    script = 'const a = gettext("Say \\"{what}\\""), b = "not this";'
    assert [one.words for one in script_texts(script, "here")] == ['Say "{what}"']


def test_a_browser_is_refused_in_its_own_language() -> None:
    text = "There is no such file."
    german = catalogue("de")[text]
    assert said_to(",de-AT,de;q=0.9,en;q=0.8", text) == german
    assert said_to("de,en-US,en;q=0.5", text) == german
    assert said_to(",en-GB,de;q=0.9", text) == text
    assert said_to("fr,../de,", text) == text
    # No file system has so long a name.
    assert said_to(f"{'d' * 5_000},de", text) == german
