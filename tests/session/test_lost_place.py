"""A machine that may have lost its place inks nothing before its marks are read anew."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pytest

from devices.commands import main
from devices.conversation.conversation import Conversation
from devices.driving.driver import Driver
from devices.driving.kept_places import add_whereabouts, whereabouts_in
from devices.driving.machine import setting
from devices.driving.port import DeviceError
from devices.driving.program import Script
from devices.job import Job
from devices.session.person import Person
from devices.session.session import Link
from devices.setting_down import set_down as setdown
from devices.setting_down.read_marks import Sighted
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import open_record
from marking.sections.plan import divide_into_sections
from tests.driving.own_time import GantryPort, driven_at
from tests.inking.kills import make_job
from tests.session.begun import DONE, FIRST, SAMPLING, Begun, begun, first_inked

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from devices.plotter.bed import Bed
    from marking.sections.locating_marks import Mark

REFUSED, DEVICE_FAILED = 1, 3
__all__ = ["begun", "first_inked"]


def test_after_a_power_loss_in_mid_run_only_marks_read_anew_let_it_ink(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    port = GantryPort()
    zero = (2.0, 1.5)
    in_mid_stroke(port, 12, lambda: port.power_cycle(zero))
    before = begun.readings("before.csv")
    with driven_at(port, monkeypatch) as drive:
        assert drive(*begun.words, *before) == DEVICE_FAILED
        laid = len(port.cloth.ink)
        capsys.readouterr()
        for words in ([], before, ["--moved"], ["--moved", *before]):
            assert drive(*begun.words, *words) == REFUSED
            said = capsys.readouterr().err
            assert "may have lost its place" in said
            assert ("place nothing now" in said) is (before[-1] in words)
            assert len(port.cloth.ink) == laid, "it inked without its place"
        assert drive(*begun.words, *begun.readings("anew.csv", zero)) == DONE
    assert max(begun.faults(port)) <= SAMPLING


def test_a_run_that_was_stopped_shows_at_the_next_that_its_place_is_kept(
    begun: Begun, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SIGTERM in mid-move: braked, reset at rest, the pen up; nothing needs to be read again."""
    port = GantryPort()
    with driven_at(port, monkeypatch) as drive:
        for after in (5, 9, 14):
            in_mid_stroke(port, after, interrupt)
            assert drive(*begun.words, *(begun.readings("r.csv") if after == 5 else [])) == 130
            assert not port.machine.carriage.down
        assert drive(*begun.words) == DONE
    assert max(begun.faults(port)) <= SAMPLING
    assert not [event for event in kept_events(begun) if event == "lost"]


def interrupt() -> None:
    raise KeyboardInterrupt


def kept_events(begun: Begun) -> list[str]:
    with open_record(begun.folder) as record:
        return [kept.event for kept in whereabouts_in(record)]


def in_mid_stroke(port: GantryPort, after: int, happens: Callable[[], None]) -> None:
    """Something happens once, with the pen down, after so many strokes of ink."""

    def look() -> None:
        if len(port.cloth.ink) > after and port.machine.carriage.down:
            port.before_read = lambda: None
            happens()

    port.before_read = look


@pytest.mark.parametrize("after", [4, 13])
def test_a_command_that_was_killed_goes_on_where_the_machine_shows_that_nothing_happened(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    port = GantryPort()
    with driven_at(port, monkeypatch) as drive:
        killed_in_mid_stroke(port, after, monkeypatch, drive, begun)
        assert "resting" not in kept_events(begun)[-1:], "the end of the run was seen"
        assert drive(*begun.words) == DONE
    assert max(begun.faults(port)) <= SAMPLING
    assert "lost" not in kept_events(begun)


def killed_in_mid_stroke(
    port: GantryPort,
    after: int,
    monkeypatch: pytest.MonkeyPatch,
    drive: Callable[..., int],
    begun: Begun,
) -> None:
    """As by SIGKILL: no byte is sent and no row kept after it; the machine works on alone."""
    with monkeypatch.context() as patched:
        patched.setattr(Driver, "halt", lambda self: None)
        patched.setattr(Link, "leave", lambda self: None)
        in_mid_stroke(port, after, interrupt)
        assert drive(*begun.words, *begun.readings("r.csv")) == 130
    for _ in range(30):
        port.read()


@pytest.mark.parametrize("killed", [True, False])
def test_a_power_loss_between_two_runs_is_seen_and_nothing_is_inked(
    begun: Begun,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    killed: bool,
) -> None:
    """Nobody was listening: no banner is heard, and the machine says that it is idle."""
    port, zero = GantryPort(), (1.5, 1.0)
    with driven_at(port, monkeypatch) as drive:
        if killed:
            killed_in_mid_stroke(port, 12, monkeypatch, drive, begun)
        else:
            in_mid_stroke(port, 12, interrupt)
            assert drive(*begun.words, *begun.readings("r.csv")) == 130
        port.power_cycle(zero)
        port.read()
        laid = len(port.cloth.ink)
        capsys.readouterr()
        for words in ([], begun.readings("r.csv")):
            assert drive(*begun.words, *words) == REFUSED
            assert "may have lost its place" in capsys.readouterr().err
        assert len(port.cloth.ink) == laid
        assert not port.machine.carriage.down, "the pen was left on the cloth"
        assert drive(*begun.words, *begun.readings("anew.csv", zero)) == DONE
    # A pen that sank when the power went leaves its mark on the stroke.
    assert max(begun.faults(port)) <= SAMPLING


def test_a_person_reads_the_marks_anew_under_the_pen_before_any_move_is_trusted(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    port, zero = GantryPort(), (2.0, 1.5)
    before, read = begun.readings("before.csv"), begun.bed_of_marks(zero)
    asked: list[tuple[str, int]] = []

    def agrees(person: Person, question: str) -> bool:
        asked.append((question, sum(b"G0" in data for _, data in port.written)))
        return True

    def under_the_pen(marks: Sequence[Mark], bed: Bed, *_: Any, **__: Any) -> tuple[Sighted, ...]:
        at = {one.id: read[one.id] / bed.unit for one in marks}
        return tuple(Sighted(name, (round(x), round(y))) for name, (x, y) in at.items())

    monkeypatch.setattr(setdown, "has_keyboard", lambda: True)
    monkeypatch.setattr(setdown, "sight", under_the_pen)
    monkeypatch.setattr(Person, "agrees", agrees)
    with driven_at(port, monkeypatch) as drive:
        in_mid_stroke(port, 12, lambda: port.power_cycle(zero))
        assert drive(*begun.words, *before) == DEVICE_FAILED
        moves = sum(b"G0" in data for _, data in port.written)
        asked.clear()
        capsys.readouterr()
        attended = [word for word in begun.words if word != "--unattended"]
        assert drive(*attended, *before) == DONE
    assert asked[0] == ("Does it stand at its zero, the device and cover unmoved?", moves)
    assert "place nothing now" in capsys.readouterr().err
    assert max(begun.faults(port)) <= SAMPLING


def test_readings_taken_before_a_board_that_restarts_when_opened_place_nothing(
    begun: Begun, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    port = GantryPort()
    with driven_at(port, monkeypatch) as drive:
        in_mid_stroke(port, 12, interrupt)
        assert drive(*begun.words, *begun.readings("r.csv")) == 130
        laid = len(port.cloth.ink)
        for name in ("", "one.csv", "two.csv"):
            # Its banner comes while the port is being opened.
            port.machine.lose_power(port.now)
            port.machine.restore_power(port.now)
            words = begun.readings(name, (0.3, 0.1 * len(name))) if name else []
            assert drive(*begun.words, "--moved", *words) == REFUSED
        assert len(port.cloth.ink) == laid
    assert "may have lost its place" in capsys.readouterr().err


@pytest.mark.parametrize("number", [1, 3])
def test_an_alarm_by_which_the_place_may_be_lost_ends_the_run_and_is_kept(
    begun: Begun,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    number: int,
) -> None:
    port = GantryPort()

    def alarm() -> None:
        if number == 1:
            port.machine.hit_limit(port.now)
        else:
            port.machine.receive(b"\x18", port.now)

    in_mid_stroke(port, 12, alarm)
    with driven_at(port, monkeypatch) as drive:
        assert drive(*begun.words, *begun.readings("r.csv")) == DEVICE_FAILED
        laid = len(port.cloth.ink)
        assert not port.machine.carriage.down
        assert drive(*begun.words) == REFUSED
        assert "may have lost its place" in capsys.readouterr().err
        assert len(port.cloth.ink) == laid


def test_a_restart_that_nobody_heard_between_two_stretches_is_noticed_before_any_ink(
    tmp_path: Path,
) -> None:
    """As when a person looks for the marks, or changes pens, and the banner is lost as noise."""
    make_job(tmp_path / "job", "gantry-gcode")
    job = load_job(tmp_path / "job", Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    made = setting(plan.sections[0], job.plotter, job.pens)
    port = GantryPort()
    with open_record(tmp_path / "job") as record:
        talk = Conversation(made.dialect, made.limits)
        spoken = made.dialect
        driver = Driver(
            port, talk, spoken, "barrier", record, 1, FIRST, lambda: "go on", print, port.clock
        )
        driver.greet()
        script = Script(made.writer, made.dialect, talk.room, made.nudge)
        driver.send(script.opening())
        driver.send(script.hop_to((20000, 30000)))
        port.power_cycle((200.0, 300.0))
        port.read()
        with pytest.raises(DeviceError, match="no longer stands where it was left"):
            driver.send(script.ink(made.strokes))
        assert [kept.event for kept in whereabouts_in(record)] == ["lost"]
    # A pen that sank when the power went out is all there is.
    assert len(port.cloth.ink) <= 1


def test_a_place_is_lost_for_every_section_and_found_for_each_by_its_own_marks(
    tmp_path: Path,
) -> None:
    from devices.session.whereabouts import loss, read_anew
    from marking.record.readings import MarkReading

    old = MarkReading("r1c2", "k1", (10.0, 20.0), 0.25, "a file")
    new = MarkReading("r1c2", "k1", (10.0, math.nextafter(20.0, 21)), 0.25, "a file")
    with open_record(tmp_path) as record:
        assert loss(record, "r1c1") is None
        record.add_readings("layout", [old])
        add_whereabouts(record, "r1c1", "lost", "it was switched off")
    with open_record(tmp_path) as record:
        assert {loss(record, one).detail for one in ("r1c1", "r1c2")} == {"it was switched off"}
        lost = loss(record, "r1c2")
        assert read_anew([old, new], lost, record) == (new,)
        record.add_readings("layout", [new])
        assert read_anew([old, new], lost, record) == (new,), "read after the loss, it counts"
        add_whereabouts(record, "r1c2", "found")
        assert loss(record, "r1c2") is None
        assert loss(record, "r1c1") == lost
        add_whereabouts(record, "r1c2", "lost", "it was switched off again")
        assert read_anew([old, new], loss(record, "r1c2"), record) == ()


def after_an_alarm(begun: Begun, port: GantryPort, drive: Callable[..., int]) -> list[Any]:
    """A limit was hit; its zero is set again, and its marks are read into the file given."""
    in_mid_stroke(port, 6, lambda: port.machine.hit_limit(port.now))
    assert drive(*begun.words, *begun.readings("first.csv")) == DEVICE_FAILED
    zero = (2.0, 1.5)
    port.power_cycle(zero)
    return begun.readings("second.csv", zero)


def at_the_first_byte(port: GantryPort, happens: Callable[[], None]) -> None:
    """Something happens once, as a command begins to greet the machine."""

    def look(data: bytes) -> None:
        port.before_write = lambda data: None
        happens()

    port.before_write = look


@pytest.mark.parametrize("ends", ["silence", "killed"])
def test_readings_given_to_a_run_that_ended_in_its_opening_are_old_after_a_power_loss(
    begun: Begun,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    ends: str,
) -> None:
    port, later = GantryPort(), (3.0, 2.5)
    with driven_at(port, monkeypatch) as drive:
        second = after_an_alarm(begun, port, drive)
        laid = len(port.cloth.ink)
        if ends == "silence":
            at_the_first_byte(port, lambda: port.machine.lose_power(port.now))
            assert drive(*begun.words, *second) == DEVICE_FAILED
            assert "does not answer" in capsys.readouterr().err
        else:
            at_the_first_byte(port, interrupt)
            assert drive(*begun.words, *second) == 130
        port.power_cycle(later)
        port.read()
        for words in ([], ["--moved"]):
            assert drive(*begun.words, *words, *second) == REFUSED
            assert "place nothing now" in capsys.readouterr().err
        assert len(port.cloth.ink) == laid
        assert drive(*begun.words, *begun.readings("third.csv", later)) == DONE
    assert max(begun.faults(port)) <= SAMPLING


def test_readings_given_before_a_section_is_begun_are_old_after_a_silence_too(
    begun: Begun, monkeypatch: pytest.MonkeyPatch
) -> None:
    port, later = GantryPort(), (3.0, 2.5)
    with driven_at(port, monkeypatch) as drive:
        first = begun.readings("first.csv")
        at_the_first_byte(port, lambda: port.machine.lose_power(port.now))
        assert drive(*begun.words, *first) == DEVICE_FAILED
        port.power_cycle(later)
        port.read()
        assert drive(*begun.words, *first) == REFUSED
        assert not port.cloth.ink
        assert drive(*begun.words, *begun.readings("second.csv", later)) == DONE
    assert max(begun.faults(port)) <= SAMPLING


def test_a_port_that_is_not_there_makes_no_reading_old(
    begun: Begun, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = GantryPort()
    words = [*begun.words, *begun.readings("first.csv")]
    assert main(["drive", *map(str, words), "--port", "/dev/no-such-port"]) == DEVICE_FAILED
    with driven_at(port, monkeypatch) as drive:
        assert drive(*words) == DONE
    assert "lost" not in kept_events(begun)
    assert max(begun.faults(port)) <= SAMPLING


@pytest.mark.parametrize("attended", [True, False])
def test_a_pen_that_a_screw_holds_is_set_to_its_height_again_after_a_lost_place(
    begun: Begun,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    attended: bool,
) -> None:
    """It counts its height from where it stood when its power came: it may draw in the air."""
    port = GantryPort()
    in_mid_stroke(port, 12, lambda: port.power_cycle((2.0, 1.5)))
    with driven_at(port, monkeypatch) as drive:
        assert drive(*begun.words, *begun.readings("r.csv")) == DEVICE_FAILED
        capsys.readouterr()
        monkeypatch.setattr(setdown, "has_keyboard", lambda: True)
        monkeypatch.setattr(Person, "agrees", lambda person, question: False)
        left_out = "--unattended" if attended else ""
        assert drive(*(word for word in begun.words if word != left_out)) == REFUSED
    said = capsys.readouterr().err
    assert "pen raised clear of the cloth" in said
    assert "pen's height anew" in said
    assert "draw in the air" in said
