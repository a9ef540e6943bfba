"""Breaks input of every kind and looks for tracebacks, hunger and waiting.

    python -m tests.benchmarks.broken_input 100000          # about so many cases; --seed for others

Jobs, profiles, readings, measured files and records are broken by `broken_files.py`, messages to
the projector's pages by `broken_messages.py`. Each is read by the program's own reader in this
process; one in `BY_VERB` by a whole verb, one in `BY_PROCESS` by a command of its own whose
address space is limited. An answer is a result or a plain refusal. It may take `SECONDS` of the
processor and `MEMORY` at most, and a damaged record has to stay what it was, byte for byte.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import multiprocessing
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from devices.commands import main
from devices.driving.kept_places import given_in, whereabouts_in
from devices.job import Job
from marking.errors import CanvasruleError
from marking.input.rows import Columns, read_rows
from marking.job.folder import load_job
from marking.placement.laid_ink import stances
from marking.record.readings import read_readings
from marking.record.record import open_record
from tests.job.broken_files import (
    MEASURED,
    READINGS,
    begun_job,
    broken_job,
    broken_profile,
    broken_record,
    broken_rows,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from marking.record.record import Record

SECONDS, MEMORY = 2.0, 300 << 20
ADDRESSES = 1 << 30
"""Bytes of address space of a command: it reserves more than it takes."""
BY_VERB, BY_PROCESS = 25, 1_500
SHARES = {"job": 30, "profile": 12, "readings": 20, "measured": 16, "record": 12, "message": 10}
MEASURED_COLUMNS = Columns("measured", ("id",), ("length",), pairs=True)
RECORD_VERBS = (
    ("layout",),
    ("section",),
    ("section", "--for", "beam"),
    ("write", "--report"),
    ("control",),
    ("place", "--all"),
    ("place", "--inked", "r1c1"),
    ("drive", "--csv"),
    ("drive", "--simulate", "--unattended", "--most", "1"),
    ("trial",),
    ("prove",),
    ("beam", "--plan"),
)
SIZE = '[table]\nlength = "50 in"\nwidth = "30 in"\n'


@dataclass
class Score:
    """What became of the cases of one search."""

    answers: Counter[str] = field(default_factory=Counter)
    """By kind and by whether it was done or refused."""
    slowest: dict[str, float] = field(default_factory=dict)
    """Seconds of the processor, by kind."""
    memory: int = 0
    """Bytes at most."""
    failures: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        self.answers += other.answers
        for kind, seconds in other.slowest.items():
            self.slowest[kind] = max(seconds, self.slowest.get(kind, 0.0))
        self.memory = max(self.memory, other.memory)
        self.failures += other.failures


def read_record(folder: Path) -> None:
    """All that any verb reads of a record."""
    with open_record(folder) as record:
        stances(record)
        for rows in _readers(record):
            rows()


def _readers(record: Record) -> Sequence[Callable[[], object]]:
    return (
        *(record.readings, record.placements, record.ink, record.runs, record.strokes),
        *(record.layouts, record.divisions, record.standing_layout),
        *(lambda: whereabouts_in(record), lambda: given_in(record)),
        *(lambda kind=kind: record.checks(kind) for kind in ("proof", "device", "control")),
    )


def words_of(kind: str, folder: Path, rng: random.Random) -> list[str]:
    """The verb that reads such a file."""
    job = ["--job", str(folder)]
    rows = next((str(path) for path in folder.glob("rows.*")), "")
    if kind == "readings":
        return ["drive", *job, "--simulate", "--unattended", "--readings", rows]
    if kind == "measured":
        return ["trial", *job, "--measured", rows]
    if kind == "record":
        return [*rng.choice(RECORD_VERBS), *job]
    return ["layout", *job]


def make(kind: str, folder: Path, rng: random.Random) -> Callable[[], object]:
    """Writes a broken file of its kind into `folder`; what is returned reads it."""
    if kind == "job":
        broken_job(folder, rng)
        return lambda: load_job(folder, Job)
    if kind == "profile":
        broken_profile(folder, rng)
        return lambda: load_job(folder, Job)
    if kind == "record":
        broken_record(folder, rng)
        return lambda: read_record(folder)
    (folder / "job.toml").write_text(SIZE, "utf-8")
    if kind == "readings":
        path = broken_rows(folder, rng, READINGS)
        return lambda: read_readings(path)
    path = broken_rows(folder, rng, MEASURED)
    return lambda: read_rows(path, MEASURED_COLUMNS)


def one_case(kind: str, number: int, seed: int) -> Score:
    """Breaks one file, reads it, and says what became of it."""
    rng = random.Random(f"{seed} {kind} {number}")
    score = Score()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        read = make(kind, folder, rng)
        before = _record_in(folder)
        began = time.process_time()
        if number % BY_PROCESS == 0:
            answer, fault = _by_process(words_of(kind, folder, rng))
        elif number % (BY_VERB // 5 if kind == "record" else BY_VERB) == 0:
            answer, fault = _by_verb(words_of(kind, folder, rng))
        else:
            answer, fault = _by_reader(read)
        seconds = time.process_time() - began
        if answer == "damaged" and _record_in(folder) != before:
            fault = "a record that is damaged was written to"
    score.answers[f"{kind} {answer}"] += 1
    score.slowest[kind] = seconds
    score.memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss << 10
    if seconds > SECONDS:
        fault = f"took {seconds:.1f} s"
    if score.memory > MEMORY:
        fault = f"took {score.memory >> 20} MB, or one before it did"
    if fault:
        score.failures.append(f"{kind} {number} of seed {seed}: {fault}")
    return score


def _record_in(folder: Path) -> str | None:
    path = folder / "job.db"
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None


def _by_reader(read: Callable[[], object]) -> tuple[str, str]:
    try:
        read()
    except CanvasruleError as refused:
        return _refusal(str(refused)), _fault_in(str(refused))
    except BaseException:
        return "failed", traceback.format_exc(limit=-3)
    return "done", ""


def _by_verb(words: list[str]) -> tuple[str, str]:
    said = io.StringIO()
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
            code = main(words)
    except SystemExit as left:
        return "failed", f"{words[0]} left with {left.code}: {said.getvalue()[-300:]}"
    except BaseException:
        return "failed", f"{words[0]}: {traceback.format_exc(limit=-3)}"
    return (_refusal(said.getvalue()) if code else "done"), _fault_in(said.getvalue())


def _by_process(words: list[str]) -> tuple[str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "devices.commands", *words],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        check=False,
        timeout=120,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (ADDRESSES, ADDRESSES)),
    )
    said = done.stderr.decode("utf-8", "replace")
    if "Traceback" in said or done.returncode not in (0, 1, 2, 3):
        return "failed", f"{words[0]}, exit code {done.returncode}: {said[-600:]}"
    return (_refusal(said) if done.returncode else "done"), _fault_in(said)


def _refusal(said: str) -> str:
    return "damaged" if "job.db: damaged (" in said else "refused"


def _fault_in(said: str) -> str:
    """What is wrong with a message to a person."""
    if len(said.splitlines()) > 60 or len(said) > 20_000:
        return f"a message of {len(said)} characters in {len(said.splitlines())} lines"
    return "a terminal's codes in a message" if "\x1b" in said or "\x00" in said else ""


def search(count: int, seed: int, kinds: Sequence[str] = tuple(SHARES)) -> Score:
    """`count` cases, shared among `kinds`."""
    score = Score()
    whole = sum(SHARES[kind] for kind in kinds)
    for kind in kinds:
        number = count * SHARES[kind] // whole
        score.add(_messages(number, seed) if kind == "message" else _cases(kind, number, seed))
    return score


def _cases(kind: str, count: int, seed: int) -> Score:
    score = Score()
    for number in range(1, count + 1):
        score.add(one_case(kind, number, seed))
    return score


def _messages(count: int, seed: int) -> Score:
    """Messages to the pages of a run of its own, which judges them by its own clock."""
    from tests.projector.broken_messages import broken_messages

    found = broken_messages(count, seed)
    score = Score(
        Counter({"message answered": found.sent - len(found.unanswered)}),
        {"message": found.slowest},
        round(found.memory_mb * 2**20),
    )
    wrong = [f"no answer to {one}" for one in found.unanswered]
    wrong += [found.said] if found.said else []
    wrong += [] if found.alive else ["no remote is shown the desk afterwards"]
    if found.slowest > SECONDS:
        wrong.append(f"took {found.slowest:.1f} s: {found.slowest_what}")
    if score.memory > MEMORY:
        wrong.append(f"took {found.memory_mb:.0f} MB")
    score.failures += [f"messages of seed {seed}: {one[-800:]}" for one in wrong]
    return score


def _part(job: tuple[int, int, tuple[str, ...]]) -> Score:
    return search(*job)


def run(count: int, seed: int, processes: int) -> Score:
    """The search in several processes, each a portion at a time with a seed of its own."""
    portions = max(1, count // 1_000)
    # Made once, and there in every process.
    begun_job()
    files = tuple(kind for kind in SHARES if kind != "message")
    messages = count * SHARES["message"] // sum(SHARES.values())
    portions = max(1, (count - messages) // 1_000)
    jobs = [((count - messages) // portions, seed + n, files) for n in range(portions)]
    score = Score()
    fork = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(processes, mp_context=fork) as pool:
        for done, part in enumerate(pool.map(_part, jobs), 1):
            score.add(part)
            print(f"\r{done}/{portions}, {len(score.failures)} failures", end="", file=sys.stderr)
    print(file=sys.stderr)
    score.add(_messages(messages, seed))
    return score


def report(score: Score) -> None:
    """The score in a table, and each failure."""
    for kind in SHARES:
        told = {
            name.rpartition(" ")[2]: number
            for name, number in sorted(score.answers.items())
            if name.startswith(f"{kind} ")
        }
        slowest = score.slowest.get(kind, 0.0)
        print(f"{kind:<10} {sum(told.values()):>7}  slowest {slowest:.2f} s  {told}")
    print(f"memory at most {score.memory >> 20} MB")
    print(f"{len(score.failures)} failures")
    for failure in score.failures[:30]:
        print(f"- {failure}")


def _main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("count", type=int, nargs="?", default=2_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    score = run(options.count, options.seed, options.processes)
    report(score)
    return 1 if score.failures else 0


if __name__ == "__main__":
    raise SystemExit(_main())
