"""A pen that a killed run left on the cloth: the next command raises it, however early it ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from devices.simulated.gantry import Gantry
from tests.driving.own_time import GantryPort, driven_at
from tests.session.begun import DONE, SAMPLING, Begun, begun, first_inked
from tests.session.test_lost_place import (
    in_mid_stroke,
    interrupt,
    kept_events,
    killed_in_mid_stroke,
)

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["begun", "first_inked"]


@pytest.mark.parametrize("question", [b"", b"!?", b"\x18", b"?", b"$$\n"])
def test_whoever_interrupts_the_greeting_finds_the_pen_raised_and_the_place_kept(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, question: bytes
) -> None:
    """A killed run leaves its pen on the cloth; the next may be ended before it has moved it."""
    port = GantryPort()
    # It works off what it has: a short buffer ends in mid-stroke.
    port.machine = port.machine.__class__(Gantry(buffer_bytes=64), port.cloth)

    def answers(data: bytes) -> None:
        if data == question:
            port.before_write, port.before_read = lambda _: None, _once(port)

    with driven_at(port, monkeypatch) as drive:
        killed_in_mid_stroke(port, 4, monkeypatch, drive, begun)
        assert port.machine.carriage.down
        if question:
            port.before_write = answers
        else:
            port.before_read = _once(port)
        assert drive(*begun.words) == 130
        assert not port.machine.carriage.down
        assert "lost" not in kept_events(begun)
        assert drive(*begun.words) == DONE
    assert max(begun.faults(port)) <= SAMPLING


def test_after_a_killed_run_the_person_is_told_to_look_at_the_pen_first(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    port = GantryPort()
    told = "did not hear that the pen was raised"
    with driven_at(port, monkeypatch) as drive:
        killed_in_mid_stroke(port, 4, monkeypatch, drive, begun)
        capsys.readouterr()
        in_mid_stroke(port, 9, interrupt)
        assert drive(*begun.words) == 130
        said = capsys.readouterr().err
        assert told in said
        assert said.index(told) < said.index("do not move the device")
        assert drive(*begun.words) == DONE
        assert told not in capsys.readouterr().err


def _once(port: GantryPort) -> Callable[[], None]:
    def interrupts() -> None:
        port.before_read = lambda: None
        raise KeyboardInterrupt

    return interrupts


def test_a_machine_that_was_not_heard_yet_is_not_told_to_have_lost_its_place(
    begun: Begun, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while a port that is the wrong one stays silent."""
    port = GantryPort(answered=lambda _: b"")
    port.before_read = lambda: _once(port)() if port.now > 1.0 else None
    with driven_at(port, monkeypatch) as drive:
        assert drive(*begun.words) == 130
    assert "lost" not in kept_events(begun)
