"""The Mark step's cards in real Chromium: set down, marks, verdict, inking, ended; and ports."""

from __future__ import annotations

import json
import subprocess
from typing import TYPE_CHECKING

import pytest

from devices.commands import main
from marking.measures.lengths import parse_length
from tests.bench.benches import (
    answered,
    bench,
    choose_port,
    command,
    opened,
    surroundings,
    until,
)
from tests.bench.test_bench_for_everyone import faults
from tests.inking.kills import make_job, plotter_at

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import Any

    from playwright.sync_api import Browser, Page

    from tests.bench.benches import Bench

WIDE_LIMITS = '[allowed]\ntotal = "10 mm"\nstep = "10 mm"\n'
"""Two marks hold so much: what is looked at is the page, not the verdict."""


@pytest.fixture(scope="module")
def at_a_plotter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Bench, str]]:
    """A bench over a job of four sections, and the port of a simulated plotter over TCP."""
    folder = tmp_path_factory.mktemp("jobs") / "a"
    make_job(folder, "flatbed-a3", WIDE_LIMITS)
    toml = folder / "job.toml"
    # Verniers are read before the ink where the removable pen has a holder of its own.
    toml.write_text(toml.read_text("utf-8").replace("slot = 1", "slot = 2"), "utf-8")
    with plotter_at(folder, 1500) as port, bench(folder) as run:
        yield run, port[1]


@pytest.fixture
def one_inked(at_a_plotter: tuple[Bench, str]) -> Path:
    """A job whose first section the terminal has inked, with limits that two marks do not hold."""
    run, port = at_a_plotter
    folder = run.root / "inked"
    make_job(folder, "flatbed-a3", WIDE_LIMITS.replace("10 mm", "0.5 mm"))
    words = ["--unattended", "--most", "1", "--ink-anyway", "set down by tape alone"]
    assert main(["drive", "--job", str(folder), "--port", port, *words]) == 0
    return folder


def sections(folder: Path) -> dict[str, Any]:
    """As the terminal's `section --json` has them, by id."""
    said = subprocess.run(
        command("section", "--job", folder, "--json"),
        capture_output=True, text=True, check=True, env=surroundings(),
    )  # fmt: skip
    return {one["id"]: one for one in json.loads(said.stdout)["sections"]}


def card(page: Page, name: str) -> None:
    """Waits until a card is the one at hand, and no other is."""
    page.locator(f"#card-{name}").wait_for(timeout=60_000)
    assert page.locator("#mark article:visible").count() == 1


def answered_typing(page: Page) -> bool:
    """Leaves out whatever else is to be typed; whether ink goes on."""
    page.evaluate("""() => {
        const asked = !document.querySelector('#typing').hidden;
        if (asked) document.querySelector('#typed-send').click();
    }""")
    return page.locator("#card-inking").is_visible()


def boxes(page: Page) -> tuple[dict[str, float], dict[str, float]]:
    """The table and the machine on the drawing, in its own units."""
    table, machine = page.evaluate("""() => ['.top', '.machine'].map((name) => {
        const box = document.querySelector(`#set-down-drawing ${name}`).getBBox();
        return { x: box.x, y: box.y, width: box.width, height: box.height };
    })""")
    return table, machine


def test_a_section_is_set_down_read_judged_and_inked_card_by_card(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    """Placed as `section --json` says, at a phone's width, and by keyboard alone."""
    run, port = at_a_plotter
    page = opened(browser, run, "a")
    told = sections(run.root / "a")
    choose_port(page, port)
    page.locator("#run-more summary").click()
    page.locator("#verniers").check()
    page.locator("#ink-all").click()
    card(page, "set-down")
    assert page.locator("#set-down-name").inner_text() == "Set it down: r1c1, 1 of 4"
    page.locator("#asks").get_by_text("Is the device set down for r1c1?").wait_for()
    assert not page.locator("#begin").is_visible()
    assert faults(page) == []
    # Enter is yes; the pointer is found another day.
    page.locator("#running").focus()
    page.keyboard.press("Enter")
    card(page, "inking")
    assert page.locator("#inking-name").inner_text() == "Inking r1c1"
    every = int(page.locator("#ink-strokes").inner_text().split()[2])
    assert every > len(told["r1c1"]["strokes"]), "verniers are drawn beside them"
    page.locator("#asks").get_by_text("Find it now?").wait_for(timeout=60_000)
    assert page.evaluate("document.querySelector('#ink-bar').value") == every
    page.keyboard.press("n")

    page.locator("#set-down-name").get_by_text("r1c2, 2 of 4").wait_for(timeout=60_000)
    card(page, "set-down")
    along, across = page.locator("#set-down-place").inner_text().split(",")
    x0, y0, x1, _ = told["r1c2"]["window"]
    assert parse_length(along.split(" along")[0]) == pytest.approx(x0, abs=0.5)
    assert parse_length(across.strip().split(" across")[0]) == pytest.approx(y0, abs=0.5)
    table, machine = boxes(page)
    long = parse_length("26 in")
    # The drawing is to scale, and the machine where its figures say.
    scale = machine["width"] / (x1 - x0)
    assert table["width"] == pytest.approx(long * scale, rel=0.01)
    assert machine["x"] - table["x"] == pytest.approx(x0 * scale, abs=2)
    assert page.locator("#set-down-drawing .done").count() == 1
    page.keyboard.press("Enter")

    card(page, "marks")
    until(page, lambda: "w01, 1 of 2" in page.locator("#mark-now").inner_text(), "the first mark")
    assert page.locator('#card-marks [data-key="right"]').get_attribute("aria-label") == (
        "Towards the far end"
    )
    page.keyboard.press("1")
    page.locator('[data-step="0.1"][aria-pressed="true"]').wait_for()
    page.keyboard.press("ArrowRight")
    page.locator("#mark-off").get_by_text("x +0.1, y +0.0 mm").wait_for()
    page.locator("#mark-off").get_by_text("by 0.1 mm").wait_for()
    page.keyboard.press("Enter")
    until(page, lambda: "w02, 2 of 2" in page.locator("#mark-now").inner_text(), "the second")
    assert page.locator("#marks-drawing .read").count() == 1
    page.keyboard.press("Enter")
    # Its halves are drawn; what the pairs show is typed, as lengths are.
    page.locator("#typed-asks").get_by_text("what step?").wait_for(timeout=60_000)
    assert page.evaluate("document.activeElement.id") == "typed"
    assert faults(page) == []
    page.locator("#typed").fill("9 in")
    page.keyboard.press("Enter")
    page.locator("#told").get_by_text("9 in: it tells from").wait_for()
    for step in ("1/128 in", "-0.1"):
        page.locator("#typed").fill(step)
        page.keyboard.press("Enter")
        page.locator("#told").get_by_text(step, exact=True).wait_for()
    until(page, lambda: answered_typing(page), "no more is asked")
    card(page, "inking")
    page.locator("#ink-verdict").get_by_text("It holds.").wait_for()
    assert "10.00 mm allowed" in page.locator("#ink-verdict").inner_text()

    page.locator("#set-down-name").get_by_text("r2c1, 3 of 4").wait_for(timeout=60_000)
    page.keyboard.press("n")
    card(page, "ended")
    assert page.locator("#go-next").inner_text() == "Ink r2c1"
    assert page.locator("#go-all").inner_text() == "Ink all 2 that are left"


def test_one_section_is_gone_on_with_by_one_button_and_a_verdict_that_does_not_hold_says_why(
    at_a_plotter: tuple[Bench, str], one_inked: Path, browser: Browser
) -> None:
    run, port = at_a_plotter
    page = opened(browser, run, one_inked.name)
    choose_port(page, port)
    page.locator("#ink").click()
    card(page, "set-down")
    page.keyboard.press("n")
    card(page, "ended")
    assert page.locator("#go-next").inner_text() == "Ink r1c2"
    page.locator("#go-next").click()
    card(page, "set-down")
    until(page, lambda: answered(page), "it is set down")
    for number in ("1 of 2", "2 of 2"):
        page.locator("#mark-now", has_text=number).wait_for(timeout=60_000)
        page.locator('#card-marks [data-key="enter"]').click()
    card(page, "ended")
    verdict = page.locator("#ended-verdict").inner_text()
    assert verdict.startswith("It does not hold.")
    assert "0.50 mm allowed" in verdict
    page.locator("#told").get_by_text("Nothing was inked").wait_for()


def test_ports_say_what_answers_at_each_and_none_is_refused_where_it_is_typed(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    run, port = at_a_plotter
    page = opened(browser, run)
    # On this computer there may be one, or none.
    page.locator("#port").evaluate("one => { one.replaceChildren(new Option('none', '')); }")
    page.locator("#ink").click()
    page.locator("#port-fault").get_by_text("No port is chosen").wait_for()
    assert page.evaluate("document.activeElement.id") == "port-typed"
    assert not page.locator("#running").is_visible()
    page.evaluate("tap({do: 'machine', act: 'ink', port: ' '}, 'ink')")
    page.locator("#say").get_by_text("No port is chosen").wait_for()
    choose_port(page, port)
    page.locator("#ask-ports").click()
    page.locator("#port-answers").get_by_text(f"{port}: answers as 7470A").wait_for()


SHOWN = """async ([card, told, asks]) => {
    const { show } = await import("/pages/mark.js");
    const now = { running: true, holder: link.page, ended: null, faults: [], lines: [] };
    show({ ...now, card, told, asks });
}"""
"""A message of the machine, shown as one that comes."""


def test_a_pen_that_is_asked_for_after_another_is_the_one_that_is_shown(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    page = opened(browser, at_a_plotter[0])
    for pen, said in (
        ({"holder": 1, "pen": "lines", "new": False}, "The pen for lines into holder 1."),
        ({"holder": 1, "pen": "lines", "new": True}, "A new pen into holder 1"),
    ):
        page.evaluate(SHOWN, ["pen", {"pen": pen}, "Is it in?"])
        assert said in page.locator("#pen-says").inner_text()


def test_a_key_held_down_moves_the_pen_on_and_answers_once(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    """Else one long press would agree to all that is asked, ink at the end of it."""
    page = opened(browser, at_a_plotter[0])
    page.evaluate("() => { pressed = []; tap = (what) => pressed.push(what.key); }")
    page.evaluate(SHOWN, ["inking", {"progress": {"of": 1, "drawn": 0, "left_s": None}}, "Ink it?"])
    for at, key in (("#running", "Enter"), ("#answers .main", "Enter"), ("#running", "ArrowUp")):
        page.locator(at).focus()
        for _ in range(3):
            page.keyboard.down(key)
        page.keyboard.up(key)
    # With Ctrl it is the browser's.
    page.keyboard.press("Control+ArrowUp")
    assert page.evaluate("pressed") == ["enter", "enter", "up", "up", "up"]


def test_what_is_said_of_a_run_stays_said_where_the_run_could_not_begin(
    at_a_plotter: tuple[Bench, str], browser: Browser
) -> None:
    page = opened(browser, at_a_plotter[0])
    choose_port(page, at_a_plotter[1])
    # As link.js has it without a connection.
    page.evaluate("() => { tap = () => false; }")
    page.locator("#moved").check()
    page.locator("#ink").click()
    assert page.locator("#moved").is_checked()
