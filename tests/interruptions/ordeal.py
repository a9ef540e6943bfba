"""One cover from its tape marks to its last stroke, with a person who runs the command again.

The person knows what the command says and what the machine shows, and helps no further: what
ends a run is followed by the same command; where that says what to read, it is read.
"""

from __future__ import annotations

import csv
import io
import math
import random
import re
import shutil
import signal
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from devices.simulated.table import Stand, TableCloth
from tests.interruptions.cloth_checks import Ink, samples
from tests.interruptions.standing_machine import StandingMachine

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from tests.interruptions.forked import Terminal
    from tests.interruptions.job_sheet import Sheet
    from tests.interruptions.machine_models import Model

    Spot = tuple[float, float]

READ_TO = 0.08
"""mm, one sigma: how well a person brings the pen over a mark."""
TAPED_TO = 0.05
"""mm, one sigma: how far a tape mark is from where it should be."""
DISPLACED = 0.6
"""mm: readings as good as these place ink much better than this."""
RESTS_AT_MOST = 0.15
"""s: how long the pen may stand on the cloth after a stop."""
GIVES_UP = 400.0
"""s in which a command has to end by itself: a dead plotter is asked three times, each time for as
long as the two strokes under way could take it at half its speed."""
SIGNALS = {
    "kill": signal.SIGKILL,
    "terminate": signal.SIGTERM,
    "Ctrl C": signal.SIGINT,
    "quit": signal.SIGQUIT,
    "hang-up": signal.SIGHUP,
}
ANY_MACHINE = (
    *SIGNALS,
    "unplug",
    "power off",
    "power blink",
    "bump",
    "bump, unsaid",
    "off between",
)


@dataclass
class Outcome:
    """What one end of a run came to."""

    kind: str
    at: str
    faults: list[str] = field(default_factory=list)
    rested: float | None = None
    blind: float = 0.0
    """mm that ink lies off which nobody could keep back: on its way when the machine started anew,
    or drawn by a carriage that ran on when its motors were cut off."""


class Ordeal:
    """One job, one machine, one person."""

    def __init__(
        self,
        model: Model,
        sheet: Sheet,
        template: Path,
        folder: Path,
        terminal: Terminal,
        seed: str,
    ) -> None:
        self.model, self.sheet, self.terminal = model, sheet, terminal
        self.folder = folder
        shutil.copytree(template, folder)
        self.random = random.Random(seed)
        self.marks = {
            name: (x + self.random.gauss(0, TAPED_TO), y + self.random.gauss(0, TAPED_TO))
            for name, (x, y) in sheet.marks.items()
        }
        self.cloth = TableCloth(Stand())
        machine = model.machine(self.cloth, self.random.randrange(10**6))
        if model.gcode and machine.gantry.homing:
            machine.receive(b"$H\n", 0.0)
        self.at = StandingMachine(machine, self.cloth, 1.0, self.random.randrange(10**6))
        self.reads_once = False
        """Whether the person leaves the readings out once a section is begun."""
        self.times_rests = True
        """Whether a pen that stands on the cloth for too long is a fault."""
        self.kinds = [*ANY_MACHINE, *model.ends]
        """What may end a run."""
        self._left_out: set[str] = set()
        """Marks that the command said to leave out."""
        self._begun: set[str] = set()
        self._judged = 0
        """How many paths of ink are told of already."""
        self._ran_on: list[tuple[int, int, int]] = []
        """What a carriage drew after its motors were cut off: path of ink, first and last point."""
        self._told = 0
        """How many of those are told of already."""
        self._place_unread = False
        """Whether a carriage has run on since its marks were read last."""
        self.outcomes: list[Outcome] = []
        self.log: list[str] = []

    def close(self) -> None:
        self.at.close()

    # -- the person --------------------------------------------------------------------------------

    def set_down(self, section: str) -> None:
        """About where the list says."""
        x, y = self.sheet.origins[section]
        x0, y0, x1, y1 = self.sheet.windows[section]
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        before = self.cloth.stand
        quarter = math.pi / 2 if section in self.sheet.turned else 0.0
        while True:
            shift = [self.random.uniform(-2, 2) for _ in range(2)]
            turn = self.random.uniform(-0.003, 0.003)
            stand = Stand(x, y, quarter).bumped(*shift, turn, middle)
            if max(abs(stand.x - before.x), abs(stand.y - before.y)) > 0.8:
                break
        self.at.bump(stand)

    def read_marks(self, section: str) -> None:
        """The pen is brought over each mark, and what the machine shows written down."""
        rows = ["section,mark,x_mm,y_mm"]
        for name in self.sheet.seen[section]:
            if name in self._left_out:
                continue
            x, y = self.at.shows(self.marks[name])
            x, y = x + self.random.gauss(0, READ_TO), y + self.random.gauss(0, READ_TO)
            rows.append(f"{section},{name},{x:.2f},{y:.2f}")
        (self.folder / "readings.csv").write_text("\n".join(rows) + "\n", "utf-8")
        self._place_unread = False

    def words(self, section: str, *more: str) -> list[str]:
        """What is typed."""
        job = ["drive", "--job", str(self.folder), "--section", section]
        if "--moved" in more or not (self.reads_once and section in self._begun):
            job += ["--readings", str(self.folder / "readings.csv")]
        return [*job, "--unattended", "--port", self.at.port, *more]

    def switched_on_again(self, pace: float) -> None:
        """Power and cable are back, the door is shut."""
        self.at.plug_in()
        if not self.at.machine.powered:
            self.at.do("restore_power")
        if hasattr(self.at.machine, "close_door"):
            self.at.machine.close_door()
        self.at.settle(6.0)
        self.at.pace = pace
        self.at.settle(60.0)

    def brought_to_zero(self) -> None:
        """A gantry without switches: pushed into its corner by hand and switched off and on."""
        self.at.do("lose_power")
        carriage = self.at.machine.carriage
        corner = (self.random.uniform(0, 0.5), self.random.uniform(0, 0.5))
        carriage.slip = (corner[0] - carriage.at[0], corner[1] - carriage.at[1])
        self.at.do("restore_power")
        self.at.settle(5.0)

    def follow(self, section: str, said: str) -> list[str] | None:
        """What the words ask for is done; the words to add to the command, None for nothing."""
        if self.reads_once:
            return []
        low = said.lower()
        if "does not fit" in low or "move the device" in low or "no longer fits" in low:
            if self._counts_from_where_it_is and any(self.at.machine.carriage.slip):
                self.brought_to_zero()
            self.set_down(section)
            self.read_marks(section)
            return ["--moved"]
        if left_out := re.search(r"mark (\w+): .*leave it out", said):
            self._left_out.add(left_out[1])
            self.read_marks(section)
            return []
        if "its zero" in low and self._counts_from_where_it_is:
            self.brought_to_zero()
        if "--moved" in low:
            self.read_marks(section)
            return ["--moved"]
        if re.search(r"read\w*\b.*\b(anew|again|new|fresh)|(anew|again|new|fresh)\b.*\bread", low):
            self.read_marks(section)
            return []
        return None

    @property
    def _counts_from_where_it_is(self) -> bool:
        """Whether it has no switches to find its zero by."""
        machine = self.at.machine
        if self.model.gcode:
            return machine.gantry.homing is False
        return not machine.build.finds_its_zero

    # -- what may end a run ------------------------------------------------------------------------

    def _let_happen(self, kind: str, pace: float) -> Outcome:
        at = self.at
        outcome = Outcome(kind, "")

        def happens() -> None:
            outcome.at = f"byte {at.bytes}, {at.now - at.opened_at:.2f} s"
            if kind.split(",")[0] in ("bump", "off between"):
                self.terminal.send(SIGNALS["kill" if self.random.random() < 0.5 else "terminate"])
            elif kind in SIGNALS:
                at.pace = 1.0 if kind != "kill" else pace
                outcome.rested, at.late = at.now, 0.0
                self.terminal.send(SIGNALS[kind])
            elif kind == "unplug":
                at.unplug()
            elif kind.startswith("power"):
                self._cut_off("lose_power")
                if kind == "power blink":
                    at.do("restore_power")
            elif kind == "reset":
                at.do("reset")
            elif kind == "reset, pen stowed":
                at.do("reset", True)
            elif kind == "limit":
                self._cut_off("hit_limit")
            elif kind == "door":
                at.do("open_door")

        reach = self.random.random() ** 1.5
        if self.random.random() < 0.5:
            at.then(happens, byte=int(reach * self._all_bytes) + 1, second=None)
        else:
            at.then(happens, byte=None, second=reach * self._all_seconds)
        return outcome

    _all_bytes, _all_seconds = 3000, 60.0

    def _cut_off(self, what: str) -> None:
        """The motors lose their current, and a moving carriage runs on with its pen down.

        A flat bed finds its zero again by itself; a gantry without switches has lost its place.
        """
        machine = self.at.machine
        machine.advance(self.at.now)
        laid, slip = self.cloth.ink, machine.carriage.slip
        self.at.do(what)
        last = max(len(laid) - 1, 0)
        for number, ink in enumerate(self.cloth.ink[last:], last):
            before = len(laid[number].path) if number < len(laid) else 1
            if len(ink.path) > before:
                self._ran_on.append((number, before - 1, len(ink.path) - 1))
        if self._counts_from_where_it_is and machine.carriage.slip != slip:
            self._place_unread = True

    @property
    def _meant(self) -> list[tuple[Spot, ...]]:
        """Every path of ink, without what was drawn by a carriage that ran on."""
        paths = [ink.path for ink in self.cloth.ink]
        for number, first, last in reversed(self._ran_on):
            path = paths[number]
            paths[number : number + 1] = [path[: first + 1], path[last:]]
        return paths

    def _afterwards(self, kind: str, section: str, pace: float) -> list[str]:
        """What the world does between two runs, and what the person adds to the same command.

        A run that was told --moved and was ended is run again without: its readings have to tell.
        """
        if kind == "off between":
            # What a killed run left in its buffer may still be under way.
            self._cut_off("lose_power")
            self.at.do("restore_power")
        self.switched_on_again(pace)
        if kind.startswith("bump"):
            self.set_down(section)
            self.read_marks(section)
            return ["--moved"] if kind == "bump" else []
        return []

    # -- the cover ---------------------------------------------------------------------------------

    def run(self, ends: int, pace: float) -> None:
        """Sections one by one until the last, with so many ends among them."""
        self.at.garbles = self.model.garbles
        for number, section in enumerate(self.sheet.strokes):
            self.set_down(section)
            self.read_marks(section)
            left = ends if number + 1 == len(self.sheet.strokes) else (ends + 1) // 2
            done = self._section(section, left, pace)
            ends -= done
            if self.failed:
                return

    @property
    def failed(self) -> bool:
        """Whether anything was found."""
        return any(outcome.faults for outcome in self.outcomes)

    def _section(self, section: str, ends: int, pace: float) -> int:
        more: list[str] = []
        asked = happened = idle = 0
        while True:
            self.at.pace = pace
            kind = self.random.choice(self.kinds) if happened < ends else ""
            outcome = self._let_happen(kind, pace) if kind else Outcome("", "")
            unread, laid = self._place_unread, len(self.cloth.ink)
            typed_at = time.monotonic()
            code, said = self._command(self.words(section, *more))
            came = bool(kind) and self.at.happened
            self.at.never_mind()
            took = time.monotonic() - typed_at
            happens = f"{kind if came else '-'} [{outcome.at}] {more} -> {code}"
            slip = "{:.2f}, {:.2f}".format(*self.at.machine.carriage.slip)
            self.log.append(f"{took:.1f} s {section} {happens} (slip {slip}): {said[-600:]}")
            self.log += [f"{at:.3f} {way} {data!r}" for at, way, data in tuple(self.at.line)]
            if came:
                happened += 1
                self.outcomes.append(outcome)
            elif not self.outcomes:
                self.outcomes.append(outcome)
            mine = self.outcomes[-1]
            more = self._afterwards(kind, section, pace) if came else []
            self._check(section, mine, code, said, came)
            if unread and len(self.cloth.ink) > laid:
                mine.faults.append("inked after its carriage had run on, its marks not read anew")
            if self.failed:
                return happened
            if code == 0:
                self._check_whole(section, mine)
                return happened
            if came:
                asked = idle = 0
                continue
            follows = self.follow(section, said)
            asked, idle = asked + 1, idle + (follows is None)
            if asked > 8 or idle > 2:
                mine.faults.append(f"does not go on (exit {code}): {_last(said)}")
                return happened
            more = follows or []

    def _command(self, words: list[str]) -> tuple[int, str]:
        self.terminal.start(words)
        code = self.terminal.ended(GIVES_UP)
        if code is None:
            self.terminal.send(signal.SIGKILL)
            self.terminal.ended(30.0)
            return 99, self.terminal.said
        return code, self.terminal.said

    # -- what must hold ----------------------------------------------------------------------------

    def _check(self, section: str, outcome: Outcome, code: int, said: str, came: bool) -> None:
        self._check_rest(outcome, came)
        if "Traceback" in said:
            outcome.faults.append(f"traceback: {_last(said)}")
        if code == 99:
            outcome.faults.append(f"neither went on nor ended in {GIVES_UP:.0f} s: {_last(said)}")
        elif code not in (0, 1, 2, 3, 130) and not (came and outcome.kind not in ("", "Ctrl C")):
            outcome.faults.append(f"exit code {code}: {_last(said)}")
        if "is begun" in said:
            self._begun.add(section)
        laid = self._meant
        off, where = Ink(laid[self._judged :]).displaced(self._wanted)
        if off > DISPLACED and came and self._drew_blind(outcome, code):
            outcome.blind, self._judged = off, len(laid)
        elif off > DISPLACED:
            spot = f"{where[0]:.0f},{where[1]:.0f}"
            outcome.faults.append(f"ink {off:.1f} mm off its line, at {spot}")
        for number, first, last in self._ran_on[self._told :]:
            beyond = Ink([self.cloth.ink[number].path[first : last + 1]]).displaced(self._wanted)[0]
            outcome.blind = max(outcome.blind, beyond if beyond > DISPLACED else 0.0)
        self._told = len(self._ran_on)
        ink, drawn = Ink([path.path for path in self.cloth.ink]), self._recorded(section)
        strokes = self.sheet.strokes[section]
        false = [
            name for name in strokes if name in drawn and ink.missing(strokes[name]) > DISPLACED
        ]
        if false:
            outcome.faults.append(f"{len(false)} strokes falsely drawn: {false[0]}")

    def _drew_blind(self, outcome: Outcome, code: int) -> bool:
        """Whether a pen plotter started anew under what was on its way to it, and was found out.

        It acknowledges nothing: what reaches it before it is asked next it draws from wherever
        it stands. That is told apart from ink that the command could have kept back.
        """
        started_anew = outcome.kind.startswith(("reset", "power"))
        return started_anew and not self.model.gcode and code != 0

    def _check_rest(self, outcome: Outcome, came: bool) -> None:
        """How long the pen stood on the cloth after a stop that the command could see."""
        began, outcome.rested = outcome.rested, None
        if began is None or not came or outcome.kind == "kill":
            return
        since = self.at.machine.carriage.resting_since
        rests = [
            rest.until - max(rest.since, began) for rest in self.cloth.rests if rest.until > began
        ]
        if since is not None and self.at.machine.carriage.down:
            outcome.faults.append("the pen is left down")
            return
        outcome.rested = max(rests, default=0.0)
        if self.times_rests and outcome.rested > RESTS_AT_MOST:
            late = f"this computer was up to {self.at.late:.2f} s late"
            outcome.faults.append(f"the pen rests for {outcome.rested:.2f} s ({late})")

    def _check_whole(self, section: str, outcome: Outcome) -> None:
        ink = Ink([path.path for path in self.cloth.ink])
        worst = {name: ink.missing(path) for name, path in self.sheet.strokes[section].items()}
        lacks = [name for name, far in worst.items() if far > DISPLACED]
        if lacks:
            outcome.faults.append(f"{len(lacks)} strokes missing: {lacks[0]}")

    def _recorded(self, section: str) -> set[str]:
        said = self.terminal.run(["drive", "--job", str(self.folder), "--csv"])
        start = said.index("at,run")
        rows = csv.DictReader(io.StringIO(said[start:]))
        return {
            row["stroke"] for row in rows if row["section"] == section and row["event"] == "drawn"
        }

    @property
    def _wanted(self) -> NDArray[np.float64]:
        return samples(path for strokes in self.sheet.strokes.values() for path in strokes.values())


def _last(said: str) -> str:
    """The words that ended it."""
    lines = [line for line in said.splitlines() if line.strip()]
    return " / ".join(lines[-2:])[-300:]
