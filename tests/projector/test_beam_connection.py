"""A page whose connection is dead says so, and each tap is done once or plainly not done."""

from __future__ import annotations

import contextlib
import signal

import pytest

from tests.projector.browsers import (
    beam,
    hung_crooked,
    remote_page,
    stage_page,
    true_up,
    when,
)
from tests.projector.wire import Wire

SHIFT = "desk.trued.shift[0]"
"""How far the light was nudged: a nudge done twice shows."""
STANDS_STILL = "() => { const now = Date.now(); Date.now = () => now; }"
"""The clock of which taps are fresh stands still, so that a slow machine decides nothing."""
BIG = "[...document.querySelectorAll('button.main')].filter((one) => one.offsetParent)"
"""The big buttons that are seen."""


def assert_dims_and_says_since_when(remote):
    remote.get_by_text("Not connected", exact=True).wait_for()
    said = remote.evaluate(f"{BIG}.map((one) => one.textContent)")
    assert said
    for text in said:
        assert text.startswith("Nothing confirmed since "), text
        hours, minutes, seconds = text.removeprefix("Nothing confirmed since ").split(":")
        assert (len(hours), len(minutes), len(seconds)) == (2, 2, 2)
    assert remote.evaluate(f"{BIG}.every((one) => one.disabled)")


@pytest.mark.parametrize("how", ["stopped", "killed", "cut"])
def test_a_dead_connection_dims_the_big_button_within_a_second(browser, work, tmp_path, how):
    with beam(tmp_path) as run:
        wire = Wire(run.remote)
        remote = remote_page(browser, wire.run(run))
        if how == "cut":
            wire.cut()
        else:
            run.process.send_signal(signal.SIGSTOP if how == "stopped" else signal.SIGKILL)
        assert_dims_and_says_since_when(remote)
        # How long it takes by the page's clock, whatever this machine is doing beside it.
        assert remote.evaluate("SILENT_MS + BEAT_MS") < 1000
        if how == "stopped":
            run.process.send_signal(signal.SIGCONT)
            remote.get_by_text("In step").wait_for()
            assert not remote.evaluate(f"{BIG}.some((one) => one.textContent.includes('since'))")
        wire.close()


def test_a_tap_on_a_dead_connection_is_told_as_not_done(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        run.process.send_signal(signal.SIGSTOP)
        remote.get_by_text("Not connected", exact=True).wait_for()
        remote.get_by_role("button", name="Blank").click()
        remote.locator("#say").get_by_text("Not done, for want of a connection: blank").wait_for()
        run.process.send_signal(signal.SIGCONT)
        remote.get_by_text("In step").wait_for()
        assert not remote.evaluate("desk.blank")


@contextlib.contextmanager
def two_remotes(browser, work, folder):
    """A wire, the remote on it and another beside it, over a section that is trued up."""
    with beam(folder) as run:
        wire = Wire(run.remote)
        remote, other = remote_page(browser, wire.run(run)), remote_page(browser, run)
        true_up(other, work, "r1c1", hung_crooked(work, "r1c1"))
        when(remote, "desk.trued !== null")
        yield wire, remote, other
        wire.close()


def assert_nudged_once(remote):
    """Once a nudge the other way is done as well, nothing of the first is still to come."""
    remote.evaluate("nudge(0, 1, 1)")
    when(remote, "desk.trued.shift[1] === 1")
    assert remote.evaluate(SHIFT) == 1


def test_a_tap_whose_answer_was_lost_is_sent_again_and_done_once(browser, work, tmp_path):
    with two_remotes(browser, work, tmp_path) as (wire, remote, other):
        remote.evaluate(STANDS_STILL)
        wire.cut(only_answers=True)
        remote.evaluate("nudge(1, 0, 1)")
        when(other, f"{SHIFT} === 1")
        assert remote.evaluate("link.waiting.length") == 1
        wire.mend()
        remote.get_by_text("In step").wait_for()
        when(remote, "link.live && link.waiting.length === 0")
        assert_nudged_once(remote)


def test_a_tap_that_never_arrived_is_sent_again_and_done_once(browser, work, tmp_path):
    with two_remotes(browser, work, tmp_path) as (wire, remote, other):
        remote.evaluate(STANDS_STILL)
        wire.cut()
        remote.evaluate("nudge(1, 0, 1)")
        assert remote.evaluate("link.waiting.length") == 1
        remote.get_by_text("Not connected", exact=True).wait_for()
        assert other.evaluate(SHIFT) == 0
        wire.mend()
        when(other, f"{SHIFT} === 1")
        when(remote, "link.live && link.waiting.length === 0")
        assert_nudged_once(remote)


def test_a_tap_that_would_come_late_is_told_as_not_done(browser, work, tmp_path):
    with beam(tmp_path) as run:
        wire = Wire(run.remote)
        remote = remote_page(browser, wire.run(run))
        wire.cut()
        remote.get_by_role("button", name="Blank").click()
        remote.get_by_text("Not connected", exact=True).wait_for()
        remote.evaluate("() => { const now = Date.now() + 60000; Date.now = () => now; }")
        wire.mend()
        remote.locator("#say").get_by_text("Not done, for want of a connection: blank").wait_for()
        remote.get_by_text("In step").wait_for()
        assert not remote.evaluate("desk.blank")
        wire.close()


def test_a_tap_over_a_crash_is_done_once_or_told_as_not_done(browser, work, tmp_path):
    with beam(tmp_path) as run:
        remote = remote_page(browser, run)
        true_up(remote, work, "r1c1", hung_crooked(work, "r1c1"))
        port = int(run.remote.split(":")[2].split("/")[0])
        run.process.send_signal(signal.SIGSTOP)
        remote.evaluate("nudge(1, 0, 1)")
        run.process.kill()
        run.process.wait(60)
    with beam(tmp_path, port) as run:
        remote.get_by_label("Code").wait_for()
        remote.get_by_label("Code").fill(run.code)
        remote.get_by_role("button", name="Pair").click()
        remote.get_by_text("In step").wait_for()
        when(remote, "link.waiting.length === 0")
        # What the tap did is shown a moment after it is acknowledged.
        when(remote, f"{SHIFT} === 1 || document.getElementById('say').innerText !== ''")
        told = remote.locator("#say").inner_text()
        done = remote.evaluate(SHIFT)
        assert (done, "Not done, for want of a connection: a nudge" in told) in [
            (1, False),
            (0, True),
        ]


def test_what_was_done_before_a_crash_is_not_done_again_after_it(work, tmp_path):
    from devices.projector.desk.desk import acted, begun
    from devices.projector.desk.memory import keep_tap, remembered, remembered_taps
    from devices.serving.taps import Answer, Taps
    from marking.record.record import open_record

    desk = acted(begun(work), work, {"do": "blank", "on": True})
    with open_record(tmp_path) as record:
        keep_tap(record, work, begun(work), desk, Taps().with_answer("a", Answer(7)))
        taps = Taps().with_answer("a", Answer(7)).with_answer("b", Answer(2, "no such target"))
        keep_tap(record, work, desk, desk, taps)
    with open_record(tmp_path) as record:
        assert remembered(record, work).blank
        assert remembered_taps(record, work) == taps
        # Both are kept or neither: a desk without its tap's number would do the tap twice.
        with contextlib.suppress(KeyboardInterrupt), record.together():
            row = (work.layout_hash, work.division, "desk", '{"blank": false}')
            record.add_rows("beam", "layout, division, subject, value", [row])
            raise KeyboardInterrupt
        assert remembered(record, work).blank


def test_the_remote_is_told_when_the_stage_ceases_to_answer(browser, work, tmp_path):
    with beam(tmp_path) as run:
        stage, remote = stage_page(browser, run), remote_page(browser, run)
        when(remote, "desk.stage === ''")
        # As a browser that hangs: its connection stays open and it says nothing more.
        stage.evaluate("() => { beat = () => {}; socket.send = () => {}; }")
        remote.get_by_text("The stage page does not answer").wait_for()


def test_the_stage_says_that_nobody_answers_and_keeps_its_light(browser, work, tmp_path):
    with beam(tmp_path) as run:
        stage = stage_page(browser, run)
        when(stage, "display.ok && link.live")
        run.process.kill()
        stage.get_by_text("start it again and open the stage").wait_for()
        assert stage.evaluate("display.ok")


def test_after_a_crash_the_stage_gives_the_next_step(browser, work, tmp_path):
    with beam(tmp_path) as run:
        stage = stage_page(browser, run)
        when(stage, "display.ok")
        port = int(run.remote.split(":")[2].split("/")[0])
        run.process.kill()
        run.process.wait(60)
    with beam(tmp_path, port):
        said = stage.locator("#say").get_by_text("Start canvasrule beam again")
        said.wait_for()
        assert "open the stage at the new address that it prints" in said.inner_text()
