"""From an empty folder to a proved cover on the bench page, in real Chromium on simulated cloth."""

from __future__ import annotations

import contextlib
import shutil
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from tests.bench.benches import bench, choose_port, field, in_job, opened, until
from tests.bench.whole.at_the_table import AtTheTable

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from tests.conftest import RunCli

SIX = {
    "near": "19 1/32 in",
    "far": "18 13/16 in",
    "zero_end": "8 31/32 in",
    "far_end": "9 1/16 in",
    "diagonal_from_zero_near": "20 31/32 in",
    "diagonal_from_zero_far": "20 31/32 in",
}
"""A top with no square corner: to the nearest 32nd in of one whose corners lie at (0, 0),
(19 1/32, 0), (18 29/32, 9 1/16) and (3/32, 8 31/32) in."""
KEYS = {
    "enter": "Enter", "up": "ArrowUp", "down": "ArrowDown", "left": "ArrowLeft",
    "right": "ArrowRight",
}  # fmt: skip


class AtKeys(Struct, frozen=True):
    """Whoever works the machine by the page's keys."""

    page: Page

    def run(self, script: str) -> Any:
        return self.page.evaluate(f"() => {{ {script} }}")

    def press(self, key: str) -> None:
        self.page.locator("#running").press(KEYS.get(key, key))

    def wait(self, seconds: float) -> None:
        self.page.wait_for_timeout(1000 * seconds)


class AtAPhone(AtKeys):
    """Whoever works it by a finger on a phone."""

    def press(self, key: str) -> None:
        if key in ("up", "down", "left", "right"):
            # What is read and what is pressed are seen at once, below the head of the page.
            apart = self.page.evaluate(
                """(key) => {
                const under = (one) => document.querySelector(one).getBoundingClientRect();
                return [under("header").bottom, under(`[data-key="${key}"]`).bottom
                    - under("#mark-now").top];
            }""",
                key,
            )
            assert sum(apart) < 844, apart
        self.page.locator(f'#running [data-key="{key}"]:visible').first.tap()


def on_a_phone(browser: Browser, url: str) -> Page:
    """The page on a phone."""
    page = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    ).new_page()
    page.goto(url)
    page.get_by_text("In step").wait_for()
    return page


def fill(page: Page, name: str, text: str) -> None:
    """Types into a field and leaves it."""
    box = page.locator(name)
    box.fill(text)
    box.blur()


def errand(page: Page, kind: str) -> str:
    """Has a verb run, and returns what the page says of it."""
    place = page.locator(f'.outcome[data-of~="{kind}"]')
    before = place.inner_text()
    page.locator(f'[data-errand="{kind}"]').click()
    until(page, lambda: place.inner_text() not in ("", before, "Working…"), kind)
    return place.inner_text()


def inked(page: Page, person: AtTheTable, hands: AtKeys) -> str:
    """Inks the next section, whatever the page asks for; begun anew where a busy machine's beat
    came so late that the pen was stopped."""
    choose_port(page, person.at.port)
    while True:
        page.locator("#ink:enabled").press("Enter")
        page.locator("#stop:enabled").wait_for()
        said = person.work(hands)
        if "Nothing is heard of the page" not in said:
            return said


def steps(page: Page) -> dict[str, str]:
    """How each step stands."""
    found: dict[str, str] = page.evaluate("""() => Object.fromEntries(
        [...document.querySelectorAll("#steps a")].map(
            (one) => [one.firstChild.textContent, one.querySelector("small").textContent]))""")
    return found


def is_open(page: Page, name: str) -> bool:
    """Whether it is that job which the page shows."""
    return (page.locator("#folder").text_content() or "").endswith(name)


def judged(page: Page, person: AtTheTable) -> str:
    """Measures the cover as the page asks, and returns the verdict."""
    page.locator('[data-errand="to-prove"]').click()
    page.locator("#proof-fields input").first.wait_for(timeout=60_000)
    for at, length in person.measured(AtKeys(page)).items():
        fill(page, f"#{at}", length)
    return errand(page, "proved")


def test_an_empty_folder_leads_to_a_proved_cover_and_a_section_laid_down_wrong_to_none(
    tmp_path: Path, browser: Browser, run_cli: RunCli
) -> None:
    person = AtTheTable(run_cli, pace=20)
    folder = tmp_path / "Sampler"
    with contextlib.closing(person), bench(tmp_path) as run:
        page, phone = opened(browser, run), on_a_phone(browser, run.url)
        page.locator("#new-name").fill("Sampler")
        page.select_option("#new-table", "own")
        page.locator("#new-length").fill("19 in")
        page.locator("#new-width").fill("9 in")
        page.locator("#make-new").click()
        phone.locator(field("table.survey.near")).wait_for()
        fill(page, field("hems.depth"), "2 in")
        fill(page, field("hems.folds"), "double 1 in")
        for name, length in SIX.items():
            # On either of the two, as it comes.
            fill(phone if "diagonal" in name else page, field(f"table.survey.{name}"), length)
        in_job(page, folder, 'diagonal_from_zero_far = "20 31/32 in"')
        until(
            page,
            lambda: steps(page)["Measure"] == "Measured" == steps(phone)["Measure"],
            "measured",
        )

        page.locator('[data-errand="ways"]').click()
        way = page.locator("#ways-table article").filter(has_text="all lines by plotter")
        way.get_by_role("button").click(timeout=120_000)
        in_job(page, folder, 'way = "flatbed-a3"')
        # Which is chosen changes nothing of what each takes.
        page.locator("#ways-table").get_by_role("button", name="Chosen").wait_for()
        assert page.locator('.outcome[data-of~="ways"]').inner_text() == "Done."
        assert "job.pdf" in errand(page, "job-sheet")

        # The plotter draws too long, and scrap shows it.
        errand(page, "square")
        for corners, length in person.scrap((folder / "out" / "trial.hpgl").read_bytes()).items():
            fill(page, f'[data-name="squared.{corners}"] input', length)
        assert "corrected" in errand(page, "squared")
        errand(page, "tape-marks")
        person.looks_up(folder)
        person.set_tape_marks(folder)

        assert "r1c1: done" in inked(page, person, AtKeys(page))
        until(page, lambda: steps(phone)["Mark"] == "1 of 2 sections", "the phone tells of it")
        shutil.copytree(folder, tmp_path / "Wrong")
        first = len(person.cloth.ink)

        assert "r1c2: done" in inked(phone, person, AtAPhone(phone))
        # Tape marks and the ink beside it, each after being brought under the pen.
        assert {"ja1", "jb1", "w01", "w02"} <= set(person.read)
        until(page, lambda: steps(page)["Mark"] == "2 of 2 sections", "the other tab tells of it")

        said = judged(page, person)
        assert "PASS" in said, said
        assert "keep.pdf" in errand(page, "keep-page")
        until(page, lambda: steps(page) == steps(phone), "both are in step")

        # The next cover begins with the choices of this one and nothing of its ink.
        page.locator("#this-job summary").click()
        page.locator("#other-name").fill("Second")
        page.locator("#copy").click()
        until(page, lambda: is_open(phone, "Second"), "the next cover's job is open")
        after = {"Measure": "Measured", "Way": "flatbed-a3", "Mark": "Nothing inked yet"}
        until(page, lambda: after.items() <= steps(phone).items(), "it has the choices alone")

        # The same cover with its second section 3 mm out of place, and no look at the marks.
        page.locator("#job-list li").filter(has_text="Wrong").get_by_role("button").click()
        until(page, lambda: is_open(page, "Wrong"), "the other job is open")
        # Nothing that was said of the first job stands there.
        assert page.locator("#proof-fields input").count() == 0
        assert page.locator("#told li").count() == 0
        assert not page.locator("#card-ended").is_visible()
        assert page.locator(".outcome").all_inner_texts() == [""] * page.locator(".outcome").count()
        person.elsewhere = range(first, len(person.cloth.ink))
        person.off, person.looks = (3.0, 0.0, 0.0), False
        assert "r1c2: done" in inked(page, person, AtKeys(page))
        said = judged(page, person)
        assert "PASS" not in said
        assert "Section most out of place: r1c2, 3." in said
