"""The bench page in real Chromium: the job from an empty folder on, and whatever may go wrong."""

from __future__ import annotations

import json
import subprocess
from typing import TYPE_CHECKING

import pytest

from tests.bench.benches import bench, command, field, opened, small_job, surroundings
from tests.projector.browsers import chromium, when

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as one:
        yield one


def kept(folder: Path) -> str:
    return (folder / "job.toml").read_text("utf-8")


def in_job(page: Page, folder: Path, text: str) -> None:
    """Waits until job.toml has a text."""
    for _ in range(200):
        if text in kept(folder):
            return
        page.wait_for_timeout(25)
    raise AssertionError(f"{text!r} never came into\n{kept(folder)}")


def test_an_empty_folder_leads_to_ink_on_simulated_cloth_in_few_clicks(
    tmp_path: Path, browser: Browser
) -> None:
    """Counted as the goal is: each click and each field filled, at most 25."""
    done = 0
    with bench(tmp_path) as run:
        page = opened(browser, run)

        def fill(name: str, text: str) -> None:
            nonlocal done
            done += 1
            page.locator(name).fill(text)
            page.locator(name).blur()

        def click(name: str) -> None:
            nonlocal done
            done += 1
            page.locator(name).first.click()

        fill("#new-name", "Sampler")
        page.select_option("#new-table", "own")
        done += 1
        fill("#new-length", "26 in")
        fill("#new-width", "17 in")
        click("#make-new")
        page.locator(field("table.survey.near")).wait_for()
        for name, text in {
            "near": "26 in",
            "far": "26 1/16 in",
            "zero_end": "17 in",
            "far_end": "17 in",
            "diagonal_from_zero_near": "31 1/16 in",
            "diagonal_from_zero_far": "31 1/16 in",
        }.items():
            fill(field(f"table.survey.{name}"), text)
        in_job(page, tmp_path / "Sampler", 'diagonal_from_zero_far = "31 1/16 in"')
        for _ in range(100):
            if not (tmp_path / "Sampler" / "job.waiting.json").exists():
                break
            page.wait_for_timeout(25)
        else:
            raise AssertionError("measurements that are in job.toml wait still")
        click("#rehearse")
        page.locator("#answers button").first.wait_for(timeout=20_000)
        while page.locator("#told").get_by_text("strokes, about").count() == 0:
            if page.locator("#answers").is_visible():
                click("#answers button")
            page.wait_for_timeout(100)
        assert done <= 25
        page.get_by_role("button", name="Stop").click()
        page.get_by_text("It ended before all was drawn").wait_for(timeout=20_000)
        # A rehearsal is none of the cover's.
        assert not (tmp_path / "Sampler" / "job.db").exists()


def test_what_is_typed_shows_at_once_and_is_kept_when_the_field_is_left(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a", "# ours\n[grid]\npitch = '1 in'   # to count by\n")
    with bench(folder) as run:
        page = opened(browser, run)
        other = opened(browser, run, (390, 844))
        page.locator(field("grid.pitch")).fill("2")
        page.locator('[data-name="grid.pitch"] .fault').get_by_text('write "2 in"').wait_for()
        assert "pitch = '1 in'" in kept(folder)
        page.locator(field("grid.pitch")).fill("2 in")
        page.locator(field("grid.pitch")).blur()
        in_job(page, folder, 'pitch = "2 in"   # to count by')
        assert "# ours" in kept(folder)
        when(other, f"document.querySelector('{field('grid.pitch')}').value === '2 in'")
        page.get_by_role("button", name="Undo").click()
        in_job(page, folder, "pitch = '1 in'   # to count by")
        page.get_by_role("button", name="Redo").click()
        in_job(page, folder, 'pitch = "2 in"')
        # An editor beside it is heard within a second.
        (folder / "job.toml").write_text(kept(folder).replace("2 in", "3 in"), "utf-8")
        when(page, f"document.querySelector('{field('grid.pitch')}').value === '3 in'")


def test_lengths_under_the_pointer_are_those_of_the_layout(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a")
    said = subprocess.run(
        command("layout", "--job", folder, "--json"),
        capture_output=True, text=True, check=True, env=surroundings(),
    )  # fmt: skip
    record = json.loads(said.stdout)
    last = max(one["points"][0][0] for one in record["strokes"] if one["layer"] == "cross")
    first = min(one["points"][0][0] for one in record["strokes"] if one["layer"] == "cross")
    with bench(folder) as run:
        page = opened(browser, run)
        when(page, "document.querySelector('#marking').width > 300")
        box = page.locator("#marking").bounding_box()
        assert box is not None
        corners = record["fit"]["top"]["corners"]
        long, wide = corners[2]
        scale = 0.94 * min(box["width"] / long, box["height"] / wide)
        x = box["x"] + box["width"] / 2 + (last - long / 2) * scale
        page.mouse.move(x, box["y"] + box["height"] / 2)
        count = round((last - first) / 25.4)
        shown = page.locator("#pointer").inner_text()
        # A pixel is coarser than a 32nd here.
        whole = float(shown.split(" in")[0].split()[0])
        assert abs(whole - count) <= 1, shown


def test_numerals_are_shown_at_their_true_size(tmp_path: Path, browser: Browser) -> None:
    """By the browser's own measure of 96 pixels to the inch (CSS Values and Units 4, 6.2)."""
    folder = small_job(tmp_path / "a")
    said = subprocess.run(
        command("layout", "--job", folder, "--json"),
        capture_output=True, text=True, check=True, env=surroundings(),
    )  # fmt: skip
    numeral = json.loads(said.stdout)["numerals"][0]
    with bench(folder) as run:
        page = opened(browser, run)
        drawing = page.locator("#numerals svg").first
        drawing.wait_for()
        high = page.evaluate("""() => {
            const lines = document.querySelector('#numerals svg').querySelectorAll('polyline');
            const boxes = Array.from(lines, (one) => one.getBoundingClientRect());
            const low = Math.max(...boxes.map((one) => one.bottom));
            return low - Math.min(...boxes.map((one) => one.top));
        }""")
        pen = 0.8  # of numerals by default; the box of a line is that of its middle
        assert high / 96 * 25.4 + pen == pytest.approx(numeral["height"], abs=0.1)


def test_a_second_start_finds_the_first_and_opens_the_job_that_it_names(
    tmp_path: Path, browser: Browser
) -> None:
    one, other = small_job(tmp_path / "one"), small_job(tmp_path / "the other")
    with bench(one) as run:
        page = opened(browser, run)
        again = subprocess.run(
            command("bench", "--job", other, "--no-open", "--json"),
            capture_output=True, text=True, check=True, env=surroundings(),
        )  # fmt: skip
        url = json.loads(again.stdout)["page"]
        assert url.startswith(run.url)
        page.goto(url)
        page.locator("#folder").get_by_text("the other").wait_for()


def test_a_broken_job_says_so_on_the_page_and_is_shown_again_once_mended(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a")
    with bench(folder) as run:
        page = opened(browser, run)
        good = kept(folder)
        (folder / "job.toml").write_text(good + "[grid\n", "utf-8")
        page.get_by_text("broken TOML").wait_for()
        # The last good picture stays.
        assert page.evaluate("document.querySelector('#marking').width") > 0
        (folder / "job.toml").write_text(good, "utf-8")
        page.get_by_text("broken TOML").wait_for(state="hidden")


def test_without_the_key_nothing_is_shown_and_no_other_page_may_post(
    tmp_path: Path, browser: Browser
) -> None:
    folder = small_job(tmp_path / "a")
    with bench(folder) as run:
        page = browser.new_context().new_page()
        bare = run.url.partition("?")[0]
        refused = page.goto(bare)
        assert refused is not None
        assert refused.status == 403
        for path in ("layout", "inked", "ports", "out/proof.pdf"):
            assert page.request.get(bare + path).status == 403
        page.goto(run.url)
        posted = page.request.post(
            f"{bare}try",
            data='{"name":"grid.pitch","value":"2 in"}',
            headers={"Origin": "http://elsewhere.example"},
        )
        assert posted.status == 403


def test_a_page_that_goes_pauses_the_machine_that_it_held(tmp_path: Path, browser: Browser) -> None:
    """On a simulated plotter over TCP, at its own pace, with ink that would go on for minutes."""
    folder = small_job(tmp_path / "a")
    simulated = subprocess.Popen(
        command("simulate", "--job", folder, "--pace", "4"),
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=surroundings(),
    )  # fmt: skip
    assert simulated.stdout is not None
    port = simulated.stdout.readline().strip()
    try:
        with bench(folder) as run:
            page = opened(browser, run)
            page.evaluate(
                "(name) => document.querySelector('#port').append(new Option(name, name))", port
            )
            page.select_option("#port", port)
            page.get_by_role("button", name="Ink the next section").click()
            while page.locator("#told").get_by_text("strokes, about").count() == 0:
                if page.locator("#answers").is_visible():
                    page.locator("#answers button").first.click()
                page.wait_for_timeout(100)
            other = opened(browser, run)
            page.context.close()
            other.get_by_text("The page that held the machine has gone").wait_for()
            other.get_by_text("r1c1: paused").wait_for(timeout=30_000)
    finally:
        simulated.terminate()
        simulated.wait(20)
