"""The bench page in German, in real Chromium: beside the English one nothing is the same."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import polib
import pytest
from axe_playwright_python.sync_playwright import Axe

from devices.bench.fields.field import fields
from devices.bench.languages.words import FOLDER
from tests.bench.benches import answered, bench, field, opened, small_job, until, unwatched
from tests.bench.test_bench_for_everyone import AXE_ASKS, PHONE
from tests.firefox import firefox

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench

SHOWN = """() => {
    const found = new Set();
    const shown = (one) => one.checkVisibility({ visibilityProperty: true });
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const { data, parentElement } = walker.currentNode;
        const option = parentElement.closest("select");
        if (parentElement.closest("[lang]:not(html)")) continue;
        if (shown(option ?? parentElement)) found.add(data.trim());
    }
    for (const one of document.querySelectorAll("[aria-label], [title], [placeholder]")) {
        for (const name of ["aria-label", "title", "placeholder"]) {
            if (one.getAttribute(name) && shown(one)) found.add(one.getAttribute(name).trim());
        }
    }
    found.add(document.title);
    return [...found];
}"""
"""What is shown and read aloud: text nodes, choices and attributes."""
MISSED = "import('/pages/words.js').then((words) => [...words.missed])"
SAID = "([text]) => import('/pages/words.js').then((words) => words.told(text))"
ERRANDS = (
    "ways",
    "square",
    "ink-how",
    "forecast",
    "cover",
    "to-rule",
    "to-prove",
    "squared",
    "keep-page",
)
CATALOGUE = {one.msgid: one.msgstr for one in polib.pofile(str(FOLDER / "de.po"))}
COGNATES = {said for words, said in CATALOGUE.items() if words == said}
_WORD = re.compile(r"[^\W\d_]{2,}")
_DATA = re.compile(
    r"""/\S* | \w+://\S+                                # a path, a port
      | [\w-]+(/[\w-]+)*\.(pdf|svg|png|hpgl|json|csv)  # a file
      | \((fabric-\w+|removable)\)                     # a stock pen
      | [a-z]+(-[a-z\d]+)*-[a-z\d]*\d\w*[-\w]* | gantry-gcode
      | \[(measured|ink)\] | ^\w+\ =\ "[^"]*"$        # what is typed into a file
      | \b[jw][a-z]?\d+ | \b[A-Z]{2,3}\b              # a mark; what a machine takes
      | \b(hpgl|gcode|xonxoff|rtscts|dtrdsr|simplex|double|single|auto|none)\b
      | \b(in|mm|cm|ft|m|h|min)\b | Millrace\ sampler | \ba\b | canvasrule""",
    re.VERBOSE,
)
"""What a person called something, what is typed into job.toml, and units."""


def english_in(german: set[str], english: set[str]) -> list[str]:
    """What both pages show with a word in it that is no name and no unit."""
    both = (german & english) - COGNATES
    return sorted(one for one in both if _WORD.search(_DATA.sub(" ", one)))


def shown(page: Page) -> set[str]:
    return set(page.evaluate(SHOWN))


@pytest.fixture(scope="module")
def tongues(
    tmp_path_factory: pytest.TempPathFactory, chrome: Browser
) -> Iterator[tuple[Bench, Page, Page]]:
    """A bench with one job, and its page in German and in English."""
    root = tmp_path_factory.mktemp("jobs")
    folds = '[hems]\nfolds = ["double 4 in", "single 1/2 in"]\n'
    small_job(root / "a", f'[grid]\nend_margin = "1 3/8 in"\n{folds}')
    with bench(root) as run:
        german = opened(chrome, run, "a", locale="de-AT")
        english = opened(chrome, run, "a", locale="en-GB")
        yield run, german, english
        german.context.close()
        english.context.close()


def test_each_step_is_in_german_and_nothing_of_it_is_left_in_english(
    tongues: tuple[Bench, Page, Page],
) -> None:
    """Errands, wrong values and a rehearsal too; what the server says is translated in the page."""
    _, german, english = tongues
    assert german.evaluate("document.documentElement.lang") == "de"
    for errand in ERRANDS:
        english.locator(f'[data-errand="{errand}"]').first.click()
    english.locator("#ways-table article").first.wait_for(timeout=120_000)
    for page in (german, english):
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        page.locator(field("grid.pitch")).fill("a foot")
        page.locator(field("numerals.height")).fill("9 in")
        page.locator('[data-name="grid.pitch"] .fault').get_by_text("a foot").wait_for()
        page.locator('[data-name="numerals.height"] .fault:not(:empty)').wait_for()
        page.locator("#new-name").fill("a")
        page.locator("#make-new").click()
        page.locator("#say").get_by_text("/a").wait_for()
        busy = page.locator("[data-errand]:disabled")
        until(page, lambda busy=busy: busy.count() == 0, "every errand has ended")
        page.locator("#proof-fields input").first.wait_for()
    assert "\n".join(english_in(shown(german), shown(english))) == ""
    english.locator("#rehearse").click()

    def drawn() -> bool:
        answered(english)
        return english.locator("#told").get_by_text("strokes, about").count() > 0

    until(english, drawn, "strokes are drawn")
    german.locator("#told").get_by_text("Striche").first.wait_for()
    assert "\n".join(english_in(shown(german), shown(english))) == ""
    german.locator("#stop").click()
    german.get_by_text(
        CATALOGUE["It ended before all was drawn; the last lines say why."]
    ).wait_for()
    english.get_by_text("It ended before all was drawn").wait_for()
    assert "\n".join(english_in(shown(german), shown(english))) == ""
    assert "\n".join(german.evaluate(MISSED)) == ""


def test_axe_finds_nothing_in_german_at_a_phones_width(tongues: tuple[Bench, Page, Page]) -> None:
    """axe-core, by Deque, at A and AA; and longer words push nothing off the screen."""
    page = tongues[1]
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    said = Axe().run(page, options=AXE_ASKS).response
    assert len(said["passes"]) > 10
    assert [
        (one["id"], [node["html"] for node in one["nodes"]]) for one in said["violations"]
    ] == []
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    # What stays at the top leaves three quarters of the screen to the work.
    head = page.evaluate("document.querySelector('header').getBoundingClientRect().height")
    assert head < PHONE[1] / 4


def test_every_fault_of_every_field_is_said_in_german(
    tongues: tuple[Bench, Page, Page], tmp_path: Path
) -> None:
    job = unwatched(small_job(tmp_path / "b"))
    said: set[str] = set()
    for name in fields():
        for value in ("a", "0 in", "60 in", 7, ["near", "near"]):
            found = json.loads(job.tried(name, value))
            said.update((*found["faults"].values(), found.get("refused", "")))
            said.update(found.get("warnings", ()))
    assert len(said) > 500
    page = tongues[1]
    page.evaluate(SAID, ["\n".join(sorted(said))])
    assert "\n".join(page.evaluate(MISSED)) == ""


def test_what_is_typed_stays_as_it_is_within_what_is_said_of_it_in_german(
    tongues: tuple[Bench, Page, Page],
) -> None:
    page = tongues[1]
    for said in (
        "Hems: bottom double 4 in, sides double 1 1/2 in, heading single 2 in",
        "No line is drawn for the single 5/8 in side hem at 5/8 in: it falls in the margin, where "
        "the numerals stand.",
        "2.3 person-hours more than the best; most of it set-downs (3.0 h)",
        "Cross line 119 misses by 2.86 mm at the far end; “Zero end to the zero line” = "
        '"15/16 in" would let it on.',
        "119 lines to rule: about 2.7 h alone, and 4 min of waiting",
    ):
        told = page.evaluate(SAID, [said])
        assert told != said
        assert all(hem in told for hem in re.findall(r"(?:single|double) [\d /]+ in", said))
    assert page.evaluate(MISSED) == []


def test_nothing_of_it_is_left_in_english_in_firefox(
    tongues: tuple[Bench, Page, Page], tmp_path: Path
) -> None:
    """Debian's own: every step, an errand and a rehearsal, beside the English page in Chromium."""
    run, _, english = tongues
    with firefox(tmp_path) as fox:

        def in_both() -> str:
            return "\n".join(english_in(set(fox.run(f"return ({SHOWN})()")), shown(english)))

        fox.driver.navigate(run.url)
        fox.until(lambda: fox.text("#link") == "In step", "in step")
        fox.click('#language option[value="de"]')
        fox.until(lambda: fox.text("#link") == CATALOGUE["In step"], "in step, in German")
        assert fox.text("#undo") == "Rückgängig"
        fox.until(lambda: len(fox.all("#steps a")) == 8, "every step is there")
        opened_out = "for (const one of document.querySelectorAll('details')) one.open = true"
        fox.run(opened_out)
        english.evaluate(opened_out)
        fox.click('[data-errand="mends"]')
        english.locator('.outcome[data-of~="mends"]').get_by_text("nothing is asked").wait_for()
        asked_for = '.outcome[data-of~="mends"]'
        fox.until(lambda: "Neuzeichnen verlangt" in fox.text(asked_for), "the errand has ended")
        assert in_both() == ""

        fox.click("#rehearse")

        def drawn() -> bool:
            fox.run(
                "const yes = document.querySelector('#answers button');"
                "if (yes.checkVisibility()) yes.click();"
            )
            return "Striche" in fox.text("#ink-strokes")

        fox.until(drawn, "strokes are drawn")
        assert in_both() == ""
        fox.click("#stop")
        over = CATALOGUE["It ended before all was drawn; the last lines say why."]
        fox.until(lambda: fox.text("#held") == over, "it is stopped")
        english.get_by_text("It ended before all was drawn").wait_for()
        assert in_both() == ""
        assert fox.errors(run.url.partition("?")[0]) == []


def test_the_language_is_what_the_browser_prefers_until_another_is_chosen(
    tongues: tuple[Bench, Page, Page], browser: Browser
) -> None:
    run = tongues[0]
    page = opened(browser, run, locale="fr-CA")
    # None that we have: English.
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.locator("#undo").inner_text() == "Undo"
    assert page.locator("#language option").all_inner_texts() == ["English", "Deutsch"]
    page.select_option("#language", "de")
    page.locator("#undo").get_by_text(CATALOGUE["Undo"]).wait_for()
    # Another run has another port: it is remembered there, too, and this tab keeps its own.
    again = page.context.new_page()
    again.goto(run.url)
    again.locator("#undo").get_by_text(CATALOGUE["Undo"]).wait_for()
    again.select_option("#language", "en")
    again.locator("#undo").get_by_text("Undo", exact=True).wait_for()
    page.reload()
    page.locator("#undo").get_by_text(CATALOGUE["Undo"]).wait_for()
    assert page.evaluate("document.cookie") == "canvasrule-language=en"


def test_without_its_words_the_page_is_shown_in_english(
    tongues: tuple[Bench, Page, Page], browser: Browser
) -> None:
    context = browser.new_context(locale="de-DE")
    context.route("**/pages/words/de.json", lambda route: route.abort())
    page = context.new_page()
    page.goto(tongues[0].url)
    page.get_by_text("In step").wait_for()
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.evaluate("document.body.checkVisibility({ visibilityProperty: true })")


@pytest.fixture(scope="module")
def small_words(tongues: tuple[Bench, Page, Page], chrome: Browser) -> Iterator[Page]:
    """A page that knows few texts, made to be mistaken for one another."""
    words = {
        "{0}: missing; give {1}": "{0}: fehlt; geben Sie {1}",
        "{0}: missing": "{0}: FEHLT",
        "{0} and {1}": "{0} und {1}",
        "{0} of {1} sections": "{1} Abschnitte, davon {0}",
        "{0} sections": "{0} Abschnitte",
        "{0} strokes": "{0} Striche",
        "section {0}: {1} left out": "Abschnitt {0}: {1} weggelassen",
        "the near line": "die nahe Linie",
        "From one line to the next": "Von Linie zu Linie",
        "unknown key": "unbekannter Schlüssel",
        "all is well{0}.": "alles ist gut{0}.",
        "and {0}": "und {0}",
        "braces {{x}} stay": "Klammern {{x}} bleiben",
        "Look twice. Then ink.": "Zweimal hinsehen. Dann zeichnen.",
        "wrote {0}": "geschrieben: {0}",
    }
    context = chrome.new_context(locale="de")
    body = json.dumps(words)
    context.route("**/pages/words/de.json", lambda route: route.fulfill(body=body))
    page = context.new_page()
    page.goto(tongues[0].url)
    page.locator("#jobs-name").wait_for()
    yield page
    context.close()


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("grid.pitch: missing; give 3 sections", "grid.pitch: fehlt; geben Sie 3 Abschnitte"),
        ("grid.pitch: missing", "grid.pitch: FEHLT"),
        ("3 of 12 sections", "12 Abschnitte, davon 3"),
        ("section r1c1: 2 strokes and 3 sections left out",
         "Abschnitt r1c1: 2 Striche und 3 Abschnitte weggelassen"),
        ("/tmp/my jobs/a: grid.pich: unknown key",
         "/tmp/my jobs/a: grid.pich: unbekannter Schlüssel"),
        ("From one line to the next.", "Von Linie zu Linie."),
        ("From one line to the next: the near line", "Von Linie zu Linie: die nahe Linie"),
        ("The near line", "Die nahe Linie"),
        ("all is well.", "alles ist gut."),
        ("all is well, and 2 strokes.", "alles ist gut, und 2 Striche."),
        ("braces {x} stay", "Klammern {x} bleiben"),
        ("1. Look twice. Then ink.", "1. Zweimal hinsehen. Dann zeichnen."),
        ("the near line\n\n  unknown key", "die nahe Linie\n\n  unbekannter Schlüssel"),
        ("n15   12 1/2 in   the near line", "n15   12 1/2 in   die nahe Linie"),
        ("wrote /a/out/p.svg, /a/out/p.pdf", "geschrieben: /a/out/p.svg, /a/out/p.pdf"),
        # Half of it is not known: then what is known is said, sentence by sentence.
        ("Never heard. unknown key", "Never heard. unbekannter Schlüssel"),
        ("Never heard of {x}", "Never heard of {x}"),
    ],
)  # fmt: skip
def test_a_text_is_found_by_the_template_it_was_made_by(
    small_words: Page, english: str, german: str
) -> None:
    assert small_words.evaluate(SAID, [english]) == german
    missed = small_words.evaluate(MISSED)
    assert any("heard" in one for one in missed) or "heard" not in english
