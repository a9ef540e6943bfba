"""Prints what driving reaches: pen idle, random kills, noise, memory. Run from the checkout."""

from __future__ import annotations

import random
import resource
import sys
import tempfile
from itertools import count, islice
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from devices.conversation.conversation import Conversation
from devices.driving.machine import setting
from devices.driving.program import Script
from devices.job import Job
from devices.simulated.cloth import Cloth
from devices.simulated.onboard import simulated
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.sections.plan import divide_into_sections
from marking.shipped_files import stock
from tests.conversation.line import Line
from tests.inking.kills import cloth_faults, drive_with_kills, made, make_job

if TYPE_CHECKING:
    from collections.abc import Iterator

    from devices.dialects.writer import PenUse

MILLRACE = stock().joinpath("demo", "millrace", "job.toml").read_text("utf-8")


def idle(folder: Path, profile: str, keys: str) -> None:
    folder.mkdir()
    (folder / "job.toml").write_text(MILLRACE.replace("flatbed-a3", profile) + keys)
    job = load_job(folder, Job)
    plan = divide_into_sections(lay_out(job), job, job.plotter.zone)
    section = max(plan.sections[:8], key=lambda one: len(one.pieces))
    ready = setting(section, job.plotter, job.pens)
    machine = simulated(job.plotter, ready.bed, Cloth())
    line = Line(Conversation(ready.dialect, ready.limits), machine, 9600)
    line.open()
    script = Script(ready.writer, ready.dialect, line.conversation.room, ready.nudge)
    line.run(script.opening())
    starved, began = machine.starved, line.now
    line.run(script.ink(ready.strokes))
    share = (machine.starved - starved) / (line.now - began)
    print(
        f"  {job.plotter.buffer_bytes:5} bytes, {job.plotter.handshake:8} section {section.id}: "
        f"pen idle {100 * share:.2f} %, {machine.lost_bytes} bytes lost, "
        f"{len(line.confirmed)} of {len(ready.strokes)} strokes confirmed"
    )


def kills(folder: Path, wanted: int) -> None:
    rng = random.Random(500)
    done = worst = 0
    missing = displaced = 0.0
    section = None
    for number in count():
        if done >= wanted:
            break
        plotter = ("flatbed-a4", "flatbed-a3", "gantry-gcode")[number % 3]
        job = folder / f"kills{number}"
        make_job(job, plotter)
        section = made(job)
        tally = drive_with_kills(job, rng, min(20, wanted - done))
        done += tally.kills
        least, furthest = cloth_faults(job, section)
        missing, displaced = max(missing, least), max(displaced, furthest)
        worst = max(worst, tally.worst_retraced)
    print(
        f"  {done} kills: no point of a stroke further than {missing:.3f} mm from ink, no ink "
        f"further than {displaced:.3f} mm from a stroke (both sampled at 0.05 mm); at most "
        f"{worst} strokes retraced after one"
    )


def memory(folder: Path, strokes: int) -> None:
    make_job(folder, "flatbed-a3")
    ready = made(folder)
    load_job(folder, Job)
    few = [stroke for stroke in ready.strokes if len(stroke.path) == 2]

    talk = Conversation(ready.dialect, ready.limits)
    talk.open(0.0)
    for reply in ("1024", "0", "0", "24", "0", "0", "16"):
        talk.due(0.0)
        talk.receive(reply.encode() + b"\r", 0.0)
    script = Script(ready.writer, ready.dialect, talk.room, 1)

    def many() -> Iterator[PenUse]:
        for number in count():
            one = few[number % len(few)]
            shift = 37 * (number % 97)
            path = tuple(((x + shift) % ready.bed.high[0], y) for x, y in one.path)
            yield replace(one, id=str(number), path=path, joined=False)

    source = many()
    peaks = []
    for _ in range(4):
        talk.feed(script.ink(islice(source, strokes // 4)))
        while not talk.drained:
            due = talk.due(0.0)
            if due is not None:
                talk.receive(_at_once(due.data), 0.0)
        peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    print(f"  {strokes} strokes, greatest memory so far after each quarter, KiB: {peaks}")


def _at_once(data: bytes) -> bytes:
    """What a plotter without any delay would answer."""
    reply, at, down = b"", b"0,0", b"0"
    for word in data.split(b";"):
        if word[:2] in (b"PU", b"PD"):
            down = b"1" if word[:2] == b"PD" else b"0"
            if len(word) > 2:
                at = b",".join(word[2:].split(b",")[-2:])
        elif word == b"OA":
            reply += at + b"," + down + b"\r"
        elif word == b"OS":
            reply += b"1" + (b"7" if down == b"1" else b"6") + b"\r"
    return reply


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    strokes = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print("Pen idle over a Millrace section at 9600 baud")
        for number, (profile, keys) in enumerate(
            (
                ("flatbed-a4", ""),
                ("flatbed-a3", ""),
                ("flatbed-a3", '\nhandshake = "rtscts"\n'),
                (
                    "flatbed-a3",
                    '\nhandshake = "space"\nbuffer_bytes = 255\nlongest_instruction = 120\n',
                ),
            )
        ):
            idle(folder / f"idle{number}", profile, keys)
        print("Memory", flush=True)
        memory(folder / "memory", strokes)
        print("Random kills of driver, plotter and cable", flush=True)
        kills(folder, wanted)


if __name__ == "__main__":
    main()
