"""Ports of every kind: pyserial's loop:// and socket://, pseudo-terminals, socat's pair of ttys."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from typing import TYPE_CHECKING, Any

import pytest
from serial.tools.list_ports_common import ListPortInfo

from devices.commands import main
from devices.driving.port import (
    DeviceError,
    candidates,
    chosen,
    open_port,
    permission_advice,
)
from devices.job import Job
from marking.errors import BadInputError
from marking.job.folder import RECORD_FILE, load_job
from marking.record.record import open_record
from tests.inking.kills import SECTION, cloth_faults, free_port, made, make_job, start_plotter

if TYPE_CHECKING:
    from pathlib import Path

    from devices.plotter.profile import Plotter

COMMAND = [sys.executable, "-m", "devices.commands"]


@pytest.fixture
def a4(tmp_path: Path) -> Plotter:
    make_job(tmp_path / "profile", "flatbed-a4")
    return load_job(tmp_path / "profile", Job).plotter


def test_bytes_go_round_a_loop(a4: Plotter) -> None:
    port = open_port("loop://", a4)
    port.write(b"OA;")
    heard = b""
    while len(heard) < 3:
        heard += port.read()
    assert heard == b"OA;"
    assert port.clear_to_send("rtscts") in (True, False)
    port.close()


def test_what_is_no_port_is_said_to_be_none(a4: Plotter, tmp_path: Path) -> None:
    file = tmp_path / "plot.hpgl"
    file.write_bytes(b"IN;")
    with pytest.raises(BadInputError, match="a file, not a port"):
        chosen(str(file))
    with pytest.raises(DeviceError, match="not there"):
        open_port(str(tmp_path / "ttyNone"), a4)
    with pytest.raises(DeviceError, match="nothing listens there"):
        open_port(f"socket://127.0.0.1:{free_port()}", a4)
    with pytest.raises(BadInputError, match="cannot be used as a port"):
        open_port("nonsense://x", a4)
    for platform, word in (
        ("linux", "dialout"),
        ("darwin", "/dev/cu"),
        ("win32", "Device Manager"),
    ):
        assert word in permission_advice(platform)


def test_of_a_port_that_nothing_is_known_of_nothing_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """pyserial's own record of a port that the system says nothing of."""
    known = ListPortInfo("/dev/ttyUSB0")
    known.description = "USB serial"
    found = [ListPortInfo("/dev/ttyS0"), known]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: found)
    assert [port.description for port in candidates()] == ["", "USB serial"]
    with pytest.raises(BadInputError, match=r"/dev/ttyS0\n  /dev/ttyUSB0   USB serial$"):
        chosen(None)


def test_two_jobs_do_not_drive_one_plotter(a4: Plotter) -> None:
    """The kernel's lock of a real tty: a pseudo-terminal's."""
    master, slave = os.openpty()
    try:
        first = open_port(os.ttyname(slave), a4)
        with pytest.raises(DeviceError, match="in use by another program"):
            open_port(os.ttyname(slave), a4)
        first.close()
        open_port(os.ttyname(slave), a4).close()
    finally:
        os.close(master)
        os.close(slave)


def test_a_plotter_that_is_off_is_named_and_the_command_ends_with_3(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_job(tmp_path / "job", "flatbed-a4")
    code = main(["drive", "--job", str(tmp_path / "job"), "--unattended", "--port", "loop://"])
    # A loop answers with the questions themselves: a local echo, or a wrong baud rate.
    assert code == 3
    assert "baud" in capsys.readouterr().err


def test_the_real_command_draws_a_section_through_a_pty_and_a_pair_of_socat_ttys(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    ink = folder / "cloth.ink"
    here, there = tmp_path / "here", tmp_path / "there"
    simulate = subprocess.Popen(
        [*COMMAND, "simulate", "--job", str(folder), "--pty", "--pace", "150", "--ink", str(ink)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert simulate.stdout is not None
    tty = simulate.stdout.readline().strip()
    socat = subprocess.Popen(["socat", f"PTY,raw,echo=0,link={here}", f"{tty},raw,echo=0"])
    try:
        while not here.exists():
            assert socat.poll() is None, "socat makes the port as soon as it runs"
            time.sleep(0.02)
        arguments = ["--section", SECTION, "--unattended", "--port", os.path.realpath(here)]
        arguments += ["--ink-anyway", "a trial with no mark"]
        done = subprocess.run(
            [*COMMAND, "drive", "--job", str(folder), *arguments],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
    finally:
        socat.kill()
        simulate.kill()
        simulate.wait()
        socat.wait()
    assert not there.exists()
    assert done.returncode == 0, done.stderr
    missing, displaced = cloth_faults(folder, made(folder))
    assert max(missing, displaced) < 0.06


def begun(folder: Path) -> bool:
    if not (folder / RECORD_FILE).exists():
        return False
    with open_record(folder) as record:
        return any(kept.event == "drawn" for kept in record.strokes(SECTION))


def test_a_section_begun_on_one_plotter_is_not_gone_on_with_on_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    port = free_port()
    # Slowly: however late a busy machine looks, the section is not done by then.
    plotter = start_plotter(folder, port, 15)
    drive = ["drive", "--job", str(folder), "--section", SECTION, "--unattended"]
    try:
        from tests.inking.kills import start_driver

        driver = start_driver(folder, port)
        while driver.is_alive() and not begun(folder):
            time.sleep(0.02)
        driver.kill()
        driver.join()
    finally:
        plotter.kill()
    with open_record(folder) as record:
        assert record.runs(SECTION)
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(text + 'unit = "0.0251 mm"\n')
    assert main([*drive, "--simulate"]) == 1
    err = capsys.readouterr().err
    assert "plotter.unit was 0.025 mm, is 0.0251 mm" in err
    assert "Put them back" in err
    (folder / "job.toml").write_text(text.replace('"26 in"', '"25 in"'))
    assert main([*drive, "--simulate"]) == 1
    assert "job.toml" in capsys.readouterr().err
    (folder / "job.toml").write_text(text)
    (folder / "readings.toml").write_text(
        f'section = "{SECTION}"\n[[reading]]\nmark = "w99"\nx = "1 mm"\ny = "1 mm"\n'
        '[[reading]]\nmark = "w98"\nx = "90 mm"\ny = "1 mm"\n'
    )
    code = main([*drive, "--simulate", "--readings", str(folder / "readings.toml")])
    assert code in (1, 2)
    assert "w9" in capsys.readouterr().err
    assert main([*drive, "--simulate", "--pace", "400"]) == 0
    assert main(["drive", "--job", str(folder), "--csv"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.endswith(",drawn") for line in lines)


def test_a_profile_with_a_wrong_handshake_or_no_buffer_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for number, (keys, word) in enumerate(
        (
            ('handshake = "telepathy"\n', "handshake"),
            ("buffer_bytes = 0\n", "buffer_bytes"),
            ('dialect = "logo"\n', "dialect"),
            ('dialect = "gcode"\nhandshake = "xonxoff"\n', "acknowledges"),
            ('pen_up = "Z1"\npen_down = "S1"\n', "pen_up"),
        )
    ):
        folder = tmp_path / f"job{number}"
        make_job(folder, "flatbed-a4", keys)
        assert main(["drive", "--job", str(folder), "--simulate", "--unattended"]) == 2
        assert word in capsys.readouterr().err


def test_a_disk_that_fills_stops_the_run_with_the_pen_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from devices.inking.section import ink_section
    from devices.session.person import Person
    from devices.session.session import Workplace
    from devices.simulated.cloth import Cloth
    from devices.simulated.onboard import OnboardPort, simulated
    from marking.layout.layout import lay_out
    from marking.sections.plan import divide_into_sections

    folder = tmp_path / "job"
    make_job(folder, "flatbed-a4")
    job = load_job(folder, Job)
    layout = lay_out(job)
    plan = divide_into_sections(layout, job, job.plotter.zone)
    section = plan.sections[0]
    with open_record(folder) as record:
        original = record.add_strokes
        calls = 0

        def filling(*given: Any) -> None:
            nonlocal calls
            calls += 1
            if calls > 6:
                # SQLite itself refuses to grow the file any further: its own full disk.
                pages = record._connection.execute("PRAGMA page_count").fetchone()[0]
                record._connection.execute(f"PRAGMA max_page_count = {pages}")
                original(given[0], "filler", ["x" * 5000] * 50, "sent")
            original(*given)

        monkeypatch.setattr(record, "add_strokes", filling)
        peer = simulated(job.plotter, made(folder).bed, Cloth())
        port = OnboardPort(peer, 200)
        place = Workplace(
            job, layout, plan, record, Person(False), ink_anyway="a trial of a full disk"
        )
        with pytest.raises(DeviceError, match="room"):
            ink_section(section, place, port, port.clock)
        # The vector under way is finished, then the pen goes up.
        peer.advance(port.clock() + 60)
        assert not peer.carriage.down
