"""Verbs run for the page, each as a process of its own: what the terminal would have said.

Only the verbs and options named here are ever run. One errand of a kind goes on at a time; asked
for again, it begins anew. It knows command lines and no result.
"""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import json
import os
import sys
from functools import partial
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field
from msgspec.structs import replace

from devices.bench.form_options import READINGS_FILE, by_option, named_in
from devices.bench.languages.said_here import said_here
from marking.errors import BadInputError

if TYPE_CHECKING:
    from asyncio.subprocess import Process
    from collections.abc import Awaitable, Callable, Mapping, Sequence
    from pathlib import Path

    Placed = Callable[[Sequence[str]], tuple[Mapping[str, str], Sequence[str]]]

PROOF_FILE, TRIAL_FILE, CORRECTED_FILE = "proof.csv", "square.csv", "square-corrected.csv"
"""What was measured, in the job's folder, as the verbs read it."""
ASK_PORTS = "ports"
_ENDED = -1
"""The code of one that was ended for another."""
_MOST_PRINTED = 40_000
ERRANDS: Mapping[str, tuple[str, ...]] = {
    "ways": ("ways",),
    "ways-all": ("ways", "--all"),
    "forecast": ("control", "--only-look"),
    "tape-marks": ("control",),
    "square": ("trial",),
    "ink-how": ("trial", "--ink"),
    "square-corrected": ("trial", "--corrected"),
    "squared": ("trial", "--measured", TRIAL_FILE),
    "squared-corrected": ("trial", "--corrected", "--measured", CORRECTED_FILE),
    "files": ("write", "--svg", "--hpgl", "--picture", "--report"),
    "to-rule": ("rule", "--sheet"),
    "job-sheet": ("paper", "job"),
    "hand-sheets": ("paper", "hand"),
    "full-size": ("paper", "full"),
    "tiles": ("paper", "tiles"),
    "keep-page": ("paper", "keep"),
    "cover": ("cover",),
    "ruled": ("rule",),
    "unruled": ("rule",),
    "next-ruled": ("rule",),
    "to-tick": ("rule",),
    "mends": ("mend",),
    "mend": ("mend",),
    "mend-undo": ("mend",),
    "mend-ruled": ("mend",),
    "mend-looked-over": ("mend",),
    "hem": ("hem",),
    "placed": ("place", "--readings", READINGS_FILE),
    "placed-inked": ("place",),
    "days": ("days",),
    "morning": ("days",),
    "to-prove": ("prove",),
    ASK_PORTS: ("drive", "--who"),
    "proved": ("prove", "--measured", PROOF_FILE),
}

REST_ON_NO_WAY = frozenset(("ways", "ways-all"))
"""Errands whose result is the same whichever way is chosen."""
SHOWN_BY_THE_PAGE = frozenset(("ways", "ways-all", "to-prove", "proved", "to-tick", ASK_PORTS))
"""Errands whose JSON the page makes into cards and fields; the others' words are shown as said."""
DRAWN_BESIDE: Mapping[str, tuple[str, ...]] = {
    "cover": ("cover",),
    "square": ("trial",),
    "square-corrected": ("trial", "--corrected"),
    "forecast": ("control", "--only-look"),
    "tape-marks": ("control", "--only-look"),
}
"""Errands whose words the page shows, beside what it makes of the JSON of these."""


class Errand(Struct, frozen=True):
    """How one errand stands."""

    of: int
    """The count of the job's changes, of those that it rests on, that it was begun at."""
    code: int | None = None
    """Its exit code; None while it goes on."""
    result: Any = None
    """What it printed as JSON, where the page asks for that."""
    said: tuple[str, ...] = ()
    """What it told beside its result."""
    printed: str = ""
    """What it printed as words."""
    faults: Mapping[str, str] = field(default_factory=dict)
    """What it says of single fields, by their names; not in `said` again."""
    asks: tuple[str, ...] = ()
    """Fields of its form, or lengths, of which a person may say that it is done all the same."""

    @property
    def record(self) -> dict[str, Any]:
        """As the pages are shown it."""
        return {
            "of": self.of,
            "code": self.code,
            "result": self.result,
            "said": list(self.said),
            "printed": self.printed,
            "faults": dict(self.faults),
        }


@dataclasses.dataclass
class Errands:
    """The errands of one run, by kind."""

    folder: Path
    changed: Callable[[str], Awaitable[None]]
    known: dict[str, Errand] = dataclasses.field(default_factory=dict)
    _processes: dict[str, Process] = dataclasses.field(default_factory=dict)
    _tasks: set[asyncio.Task[None]] = dataclasses.field(default_factory=set)

    @property
    def at_work(self) -> bool:
        """Whether any goes on."""
        return bool(self._processes)

    async def start(
        self, kind: str, of: int, said: tuple[str, ...] = (), placed: Placed | None = None
    ) -> None:
        """Begins an errand, with words that were `said` for it; `placed` finds the fields that what
        it says is wrong is of, else its form's options do.

        Raises BadInputError for one that is not known.
        """
        if kind not in ERRANDS:
            raise BadInputError("That is nothing this page says; reload it.")
        await self.end(kind)
        as_json = ("--json",) if kind in SHOWN_BY_THE_PAGE else ()
        process = await self._begun(*ERRANDS[kind], *said, *as_json)
        self.known.pop(kind, None)
        self._processes[kind], self.known[kind] = process, Errand(of)
        task = asyncio.get_running_loop().create_task(
            self._followed(kind, process, of, placed or partial(by_option, kind))
        )
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _begun(self, verb: str, *options: str) -> Process:
        words = [str(self.folder / word) if word.endswith(".csv") else word for word in options]
        return await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "devices.commands", verb, "--job", str(self.folder)),
            *words,
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
            env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        )

    async def _followed(self, kind: str, process: Process, of: int, placed: Placed) -> None:
        out, err = await process.communicate()
        if self._processes.get(kind) is not process:
            return
        code = process.returncode
        printed, as_json = out.decode("utf-8", "replace").strip(), b""
        if kind in DRAWN_BESIDE and code == 0:
            beside = await self._begun(*DRAWN_BESIDE[kind], "--json")
            if self._processes.get(kind) is not process:
                # It was ended, and perhaps begun anew, while this one was being made.
                beside.kill()
                await beside.communicate()
                return
            process = self._processes[kind] = beside
            as_json, _ = await process.communicate()
            if self._processes.get(kind) is not process:
                return
        del self._processes[kind]
        result: Any = None
        with contextlib.suppress(ValueError):
            result = json.loads(printed if kind in SHOWN_BY_THE_PAGE else as_json)
        if kind in SHOWN_BY_THE_PAGE and result is not None:
            printed = "\n".join(result.get("says", ()))
        lines = err.decode("utf-8", "replace").splitlines()
        lines = [line.removeprefix("canvasrule: ") for line in lines]
        faults, others = placed(lines) if code else ({}, lines)
        said = tuple(line for line in map(said_here, others) if line.strip())
        self.known[kind] = Errand(
            of,
            code,
            result,
            said,
            said_here(printed[:_MOST_PRINTED]),
            {name: said_here(fault) for name, fault in faults.items()},
            named_in(kind, lines) if code else (),
        )
        await self.changed(kind)

    async def refuse(self, kind: str, of: int, said: str, faults: Mapping[str, str]) -> None:
        """Tells of one that cannot be begun, as of one that was refused."""
        await self.end(kind)
        self.known[kind] = Errand(of, BadInputError.exit_code, said=(said,), faults=faults)
        await self.changed(kind)

    def typed_anew(self, kind: str, name: str) -> None:
        """Forgets what was said of a field, and what a person was asked of the figures before."""
        if (known := self.known.get(kind)) is not None:
            faults = {one: fault for one, fault in known.faults.items() if one != name}
            asks = tuple(one for one in known.asks if one in faults)
            self.known[kind] = replace(known, faults=faults, asks=asks)

    async def end(self, kind: str) -> None:
        """Ends one that goes on, if it does; it is told as ended."""
        process = self._processes.pop(kind, None)
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                process.terminate()
            await process.wait()
            self.known[kind] = replace(self.known[kind], code=_ENDED)

    async def close(self) -> None:
        """Ends whatever goes on."""
        for kind in tuple(self._processes):
            await self.end(kind)
