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
    # A page that axe looks at on a busy machine sends no beat meanwhile: it is not lost.
    with plotter_at(folder, 1500) as port, bench(folder, lost_after="30") as run:
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


def names_of_marks_are_read_on_a_phone(page: Page) -> None:
    """Each beside its mark, on the section drawn as large as the screen is wide."""
    page.set_viewport_size({"width": 390, "height": 844})
    names = page.locator("#marks-drawing .mark-name")
    assert names.all_text_contents() == ["w01", "w02"]
    marks = page.locator("#marks-drawing .mark:not(.ring)")
    drawing = page.locator("#marks-drawing").bounding_box()
    for name, mark in zip(names.all(), marks.all(), strict=True):
        box, dot = name.bounding_box(), mark.bounding_box()
        assert box is not None
        assert dot is not None
        assert drawing is not None
        # A letter of 12 px and what is above and below it.
        assert box["height"] >= 14
        beside = min(abs(box["x"] - dot["x"]), abs(box["x"] + box["width"] - dot["x"]))
        assert beside < 40
        assert abs(box["y"] - dot["y"]) < 20
        assert drawing["x"] <= box["x"] <= drawing["x"] + drawing["width"] - box["width"]
    page.set_viewport_size({"width": 1440, "height": 900})


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
    # What its feet stand on comes before the drawing, since the answer hangs on it.
    under = page.locator("#set-down-under li")
    assert "put a board of the table's height under it" in under.first.inner_text()
    assert under.first.inner_text().startswith("foot ")
    assert under.evaluate_all(
        "(all) => all.every((one) => one.compareDocumentPosition("
        "document.querySelector('#set-down-drawing')) & Node.DOCUMENT_POSITION_FOLLOWING)"
    )
    assert "foot" not in page.locator("#set-down-words").inner_text()
    assert not page.locator("#begin").is_visible()
    assert faults(page) == []
    until(page, lambda: page.evaluate("link.live"), "in step again")
    # Enter is yes; the pointer is found another day.
    page.locator("#running").focus()
    assert "With yes, ink begins" in page.locator("#asks").inner_text()
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
    # Its marks are read first.
    assert page.locator("#asks").inner_text() == "Is the device set down for r1c2?"
    page.keyboard.press("Enter")

    card(page, "marks")
    until(page, lambda: "w01, 1 of 2" in page.locator("#mark-now").inner_text(), "the first mark")
    assert page.locator('#card-marks [data-key="right"]').get_attribute("aria-label") == (
        "Towards the far end"
    )
    page.keyboard.press("1")
    page.locator('[data-step="0.1"][aria-pressed="true"]').wait_for()
    page.keyboard.press("ArrowRight")
    page.locator("#mark-off").get_by_text("x +0.004 in, y +0.000 in (+0.1, +0.0 mm)").wait_for()
    page.locator("#mark-off").get_by_text("by 0.004 in (0.1 mm)").wait_for()
    over, then = page.locator("#mark-over"), page.locator("#mark-then")
    assert (over.inner_text(), then.inner_text()) == ("Over the mark", "")
    page.keyboard.press("Enter")
    until(page, lambda: "w02, 2 of 2" in page.locator("#mark-now").inner_text(), "the second")
    assert page.locator("#marks-drawing .read").count() == 1
    names_of_marks_are_read_on_a_phone(page)
    # What agreeing sets off is said where it is agreed, and to whoever cannot see the button.
    assert over.inner_text() == "Over the mark: ink r1c2 if all fit"
    assert "ink begins if all fit" in then.inner_text()
    assert then.get_attribute("role") == "status"
    page.keyboard.press("Enter")
    # Its halves are drawn; what the pairs show is typed, as lengths are.
    page.locator("#typed-asks").get_by_text("what step?").wait_for(timeout=60_000)
    assert page.evaluate("document.activeElement.id") == "typed"
    assert faults(page) == []
    # What looks for faults holds the page up, on a busy machine until it is no longer heard.
    until(page, lambda: page.evaluate("link.live"), "in step again")
    page.locator("#typed").fill("9 in")
    page.keyboard.press("Enter")
    page.locator("#told").get_by_text("9 in: it tells from").wait_for()
    for vernier, step in (("v01", "1/128 in"), ("v02", "-0.1"), ("v03", "")):
        page.locator("#typed-asks").get_by_text(vernier).wait_for()
        page.locator("#typed").fill(step)
        page.keyboard.press("Enter")
        if step:
            page.locator("#told").get_by_text(step, exact=True).wait_for()
    until(page, lambda: page.locator("#typing").is_hidden(), "no more is asked")
    card(page, "inking")
    page.locator("#ink-verdict").get_by_text("It holds.").wait_for()
    assert "0.394 in allowed" in page.locator("#ink-verdict").inner_text()

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
    assert "0.020 in allowed" in verdict
    # In the words of why, too.
    assert " mm" not in verdict
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
    # What would ink, and where, stands at the button that begins it.
    said = f"Ink goes to A3 flat bed at {port}, where 7470A answered."
    page.locator("#ink-where", has_text=said).wait_for()
    assert page.locator("#ink").get_attribute("aria-describedby") == "ink-where"
    choose_port(page, "")
    assert "no port is chosen for it yet" in page.locator("#ink-where").inner_text()
    choose_port(page, "COM9")
    assert page.locator("#ink-where").inner_text() == "Ink goes to A3 flat bed at COM9."


SHOWN = """async ([card, told, asks]) => {
    const { show } = await import("/pages/mark.js");
    const ages_s = { set_down: 0 };
    const now = { running: true, holder: link.page, ended: null, faults: [], lines: [], ages_s };
    show({ ...now, card, told, asks });
}"""
"""A message of the machine, shown as one that comes."""


READ = {
    "mark": "w02", "number": 2, "of": 2, "step_mm": 1, "off_mm": [-0.25, 3.175], "keys": {},
    "marks": [], "ink_follows": True,
}  # fmt: skip
JUDGED = {
    "holds": False, "fits": True, "anyway": None, "again": [], "error_mm": 0.75, "step_mm": 0.2,
    "error_limit_mm": 25.4 / 32, "step_limit_mm": 1.0,
    "marks": [{"id": "w02", "off_mm": [0.5, -1]}],
    "words": ["Set a tape mark at 103.4, 25.4 mm by tape; that would bring the error to 0.60 mm"],
}  # fmt: skip
IN_UNIT = """async ([unit, card, told]) => {
    const { showIn } = await import("/pages/lengths.js");
    const { show } = await import("/pages/mark.js");
    const now = { running: true, holder: link.page, ended: null, faults: [], lines: [], asks: "" };
    // In one go: the job's own unit comes with all that is told of it.
    showIn(unit);
    show({ ...now, card, told });
}"""


@pytest.mark.parametrize(
    ("unit", "off", "step", "said"),
    [
        ("in", "x −0.010 in, y +1/8 in (−0.3, +3.2 mm)", "by 0.039 in (1 mm)",
         ("0.030 in from true, 1/32 in allowed", "0.008 in, 0.039 in allowed",
          "at 4 1/16 in, 1 in by tape", "to 0.024 in", "+0.020 in along, −0.039 in across")),
        ("mm", "x −0.3 mm, y +3.2 mm from", "by 1 mm",
         ("0.75 mm from true, 0.79 mm allowed", "0.20 mm, 1.00 mm allowed",
          "at 103.4, 25.4 mm by tape", "to 0.60 mm", "+0.50 mm along, −1.00 mm across")),
    ],
)  # fmt: skip
def test_nudges_and_verdicts_are_told_in_the_jobs_own_unit(
    at_a_plotter: tuple[Bench, str], browser: Browser, unit: str, off: str, step: str,
    said: tuple[str, ...],
) -> None:  # fmt: skip
    page = opened(browser, at_a_plotter[0], size=(390, 844))
    page.evaluate(IN_UNIT, [unit, "marks", {"mark": READ, "set_down": None}])
    assert off in page.locator("#mark-off").inner_text()
    assert page.locator('[data-key="2"]').inner_text().replace("\n", " ") == step
    assert faults(page) == []
    page.evaluate(IN_UNIT, [unit, "verdict", {"verdict": JUDGED}])
    words = page.locator("#card-verdict").inner_text()
    assert [one for one in said if one not in words] == []


@pytest.mark.parametrize("axes", [["+x", "+y"], ["+y", "-x"]])
def test_the_machines_own_axes_are_told_apart_on_a_large_table(
    at_a_plotter: tuple[Bench, str], browser: Browser, axes: list[str]
) -> None:
    page = opened(browser, at_a_plotter[0], size=(390, 844))
    down = {
        "section": "r1c1", "number": 1, "of": 70, "stays": False, "words": [], "under": [],
        "window": [12.7, 0, 432, 297], "along": "1/2 in", "across": "0 in", "turned": False,
        "axes": axes, "top": [[0, 0], [3810, 0], [3810, 1626], [0, 1626]], "sections": [],
        "marks": [], "fence": None, "fed": None, "wait_s": 0, "wait_for": [],
    }  # fmt: skip
    page.evaluate(SHOWN, ["set-down", {"set_down": down}, "Is it set down?"])
    letters = page.locator("#set-down-drawing .name")
    assert letters.all_text_contents() == ["X", "Y"]
    one, other = (letter.bounding_box() for letter in letters.all())
    assert one is not None
    assert other is not None
    apart = max(
        abs(one[at] - other[at]) - one[size] for at, size in (("x", "width"), ("y", "height"))
    )
    assert apart > 0


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
