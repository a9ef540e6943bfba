"""A port that does not open and a machine that does not answer: told until when, and left at once.

Times are the machine's own, but for a port, which the system opens in its own time.
"""

from __future__ import annotations

import contextlib
import socket
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

from devices.conversation.conversation import Conversation
from devices.driving import port
from devices.driving.driver import Driver
from devices.driving.port import DeviceError, open_in_time
from devices.job import Job
from marking.job.folder import load_job
from marking.record.record import open_record
from tests.inking.kills import SECTION, made, make_job

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from devices.driving.driver import Wish

LOOK = 0.02


@dataclass
class SilentLine:
    """A line with nothing at its other end."""

    now: float = 0.0
    written: bytes = b""
    told: list[tuple[float, float]] = field(default_factory=list)
    """When it was told until when something is waited for; the second 0 where it came."""

    def clock(self) -> float:
        return self.now

    def write(self, data: bytes) -> None:
        self.written += data

    def read(self) -> bytes:
        self.now += LOOK
        return b""

    def clear_to_send(self, line: str) -> bool:
        return True

    def forget_unsent(self) -> None:
        pass

    def waits(self, seconds: float) -> None:
        self.told.append((self.now, self.now + seconds if seconds else 0.0))


def greet(folder: Path, plotter: str, line: SilentLine, wish: Callable[[], Wish]) -> None:
    """Asks what is asked before anything moves."""
    make_job(folder / "job", plotter)
    here = made(folder / "job")
    with open_record(folder / "job") as record:
        talk = Conversation(here.dialect, here.limits)
        driver = Driver(
            line, talk, here.dialect, "xonxoff", record, 0, SECTION, wish, lambda _: None,
            line.clock, waits=line.waits,
        )  # fmt: skip
        driver.greet()


@pytest.mark.parametrize("plotter", ["flatbed-a4", "flatbed-a3", "gantry-gcode"])
def test_until_when_an_answer_is_waited_for_is_told_and_kept_to(
    tmp_path: Path, plotter: str
) -> None:
    line = SilentLine()
    with pytest.raises(DeviceError, match="does not answer"):
        greet(tmp_path, plotter, line, lambda: "go on")
    # Not for a machine that answers as quickly as they do.
    assert line.told[0][0] == pytest.approx(2.0, abs=0.3)
    assert max(until for _, until in line.told) < 20
    for told_at, until in line.told:
        assert told_at < line.now <= until < line.now + 3


@pytest.mark.parametrize("plotter", ["flatbed-a4", "gantry-gcode"])
@pytest.mark.parametrize("wished", ["stop", "pause"])
def test_a_wish_to_end_is_heard_while_an_answer_is_waited_for(
    tmp_path: Path, plotter: str, wished: Wish
) -> None:
    """Nobody is at the page by then, or has had enough: what comes later must ink nothing."""
    line = SilentLine()
    heard: list[float] = []

    def wish() -> Wish:
        if line.now < 4:
            return "go on"
        heard.append(line.now)
        return wished

    with pytest.raises(KeyboardInterrupt):
        greet(tmp_path, plotter, line, wish)
    assert heard == [pytest.approx(4, abs=2 * LOOK)]
    # A run that was killed before may have left its pen on the cloth.
    assert line.written.rpartition(b"G0Z4" if plotter == "gantry-gcode" else b"PU")[1]


@pytest.fixture
def crowded() -> Iterator[str]:
    """A port over TCP at which no more connections are taken: opening it hangs."""
    with contextlib.ExitStack() as kept:
        server = kept.enter_context(socket.create_server(("127.0.0.1", 0), backlog=0))
        for _ in range(4):
            one = kept.enter_context(socket.socket())
            one.setblocking(False)
            one.connect_ex(server.getsockname())
        yield f"socket://127.0.0.1:{server.getsockname()[1]}"


def test_a_port_that_hangs_is_given_up_by_when_it_was_said(
    tmp_path: Path, crowded: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    plotter, told = load_job(tmp_path / "job", Job).plotter, list[float]()
    monkeypatch.setattr(port, "OPENS_WITHIN", 4.0)
    with pytest.raises(DeviceError, match=r"did not open within 4 s"):
        open_in_time(crowded, plotter, lambda: False, told.append)
    # It is told once it has taken a second, and a busy machine looks no sooner.
    assert len(told) == 2
    assert 0 < told[0] <= 3
    assert told[1] == 0
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        open_in_time(crowded, plotter, lambda: time.monotonic() > began + 0.2, told.append)
    assert time.monotonic() - began < 4
