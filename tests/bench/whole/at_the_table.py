"""A person at a simulated table, who works by what the bench page says, and by its keys alone.

The plotter is a machine at a TCP port in a time of its own, standing on the cloth where the person
set it down: a little off, and a little askew. What a person sees there is known here and told
nobody: where the pen hangs, and where marks and ink lie. Millimetres on the table.
"""

from __future__ import annotations

import json
import random
import re
import time
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from devices.simulated.table import Stand, TableCloth
from marking.measures.lengths import parse_length
from tests.bench.whole.simulated_cloth import Cover
from tests.interruptions.machine_models import MODELS
from tests.interruptions.standing_machine import StandingMachine

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from tests.conftest import RunCli

    Spot = tuple[float, float]

LONGER, LEANS = 1.004, 0.001
"""The plotter draws 4 in 1000 too long along its X, and its Y leans 1 in 1000."""
TAPED_TO, READ_TO = 0.15, 0.05
"""mm, one sigma: how true a person sets a tape mark, and brings the pen over a mark."""
CORNERS = ("AB", "BC", "CD", "DA", "AC", "BD")
_PATIENCE_SECONDS = 120.0
_LENGTH = r"[\d/]+(?: \d+/\d+)? in"
_STATE = """
const at = (id) => document.getElementById(id);
return JSON.stringify({
  runs: !at("stop").disabled,
  asks: at("answers").checkVisibility() ? at("asks").textContent : "",
  lines: [...at("told").children].map((one) => one.textContent),
});
"""
_TO_MEASURE = """
return JSON.stringify([...document.querySelectorAll("#proof-fields label")]
  .map((one) => [one.htmlFor, one.textContent]));
"""


class Hands(Protocol):
    """What a person does to the page in some browser."""

    def run(self, script: str) -> Any:
        """What a script of the page's own returns."""

    def press(self, key: str) -> None:
        """A key of the machine by its name on the page, by keyboard or finger."""

    def wait(self, seconds: float) -> None:
        """Lets time pass for page and machine."""


class OffTrue(Stand, frozen=True):
    """A machine that stands somewhere and draws too long and askew."""

    def table_of(self, spot: Spot) -> Spot:
        """A place of the machine's own as a place on the table."""
        return super().table_of((LONGER * spot[0] + LEANS * spot[1], spot[1]))

    def machine_of(self, spot: Spot) -> Spot:
        """A place on the table as one of the machine's own."""
        x, y = super().machine_of(spot)
        return ((x - LEANS * y) / LONGER, y)


def _plotter(cloth: TableCloth) -> Any:
    return MODELS["flatbed-a3"].machine(cloth, 7)


class AtTheTable:
    """The cloth, the machine on it and the tape marks; and whoever works there."""

    def __init__(self, run_cli: RunCli, pace: float, stand: type[Stand] = OffTrue) -> None:
        self.run_cli = run_cli
        self._stand = stand
        self.cloth = TableCloth(stand())
        self.at = StandingMachine(_plotter(self.cloth), self.cloth, pace, 7)
        self.random = random.Random(7)
        self.marks: dict[str, Spot] = {}
        """Where tape marks truly are, by name."""
        self.off = (1.1, -0.9, 0.001)
        """How far off, mm, and how much turned, radians, it is set down beside the tape."""
        self.looks = True
        """Whether the pen is brought over a mark before it is said to be there."""
        self.read: list[str] = []
        """Marks that were read, in order."""
        self.elsewhere = range(0)
        """Which paths of ink lie on another cloth than the one that is looked at."""
        self.layout: Any = None
        self._crossings: dict[str, Spot] = {}

    def close(self) -> None:
        """Puts the machine away."""
        self.at.close()

    def looks_up(self, folder: Path) -> None:
        """About where lines and crossings are to be looked for."""
        self.layout = self._said(folder, "layout")
        for section in self._said(folder, "section")["sections"]:
            self._crossings |= {one["id"]: tuple(one["at"]) for one in section["witness"]}

    @property
    def cover(self) -> Cover:
        """What is inked, as a person finds it."""
        ink = self.cloth.ink
        kept = [ink[n].path for n in range(len(ink)) if n not in self.elsewhere]
        return Cover.inked(kept, self.layout)

    # -- before ink --------------------------------------------------------------------------------

    def scrap(self, program: bytes) -> dict[str, str]:
        """Draws the square on scrap beside the table; what a tape read to half a mm shows of it."""
        cloth = TableCloth(OffTrue())
        plotter, now = _plotter(cloth), 0.0
        for start in range(0, len(program), 200):
            plotter.receive(program[start : start + 200], now)
            while not plotter.idle:
                now += 0.2
                plotter.advance(now)
        square = max(
            (np.array(ink.path) for ink in cloth.ink), key=lambda path: np.ptp(path, 0).sum()
        )
        (x0, y0), (x1, y1) = square.min(0), square.max(0)
        at = {
            name: square[np.hypot(*(square - spot).T).argmin()]
            for name, spot in zip("ABCD", ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), strict=True)
        }
        return {run: _taped(float(np.hypot(*(at[run[0]] - at[run[1]])))) for run in CORNERS}

    def set_tape_marks(self, folder: Path) -> None:
        """Sets the tape marks where their sheet says, as truly as a person does."""
        for mark in self._said(folder, "control", "--only-look")["marks"]:
            x, y = (one + self.random.gauss(0, TAPED_TO) for one in mark["at"])
            self.marks[mark["id"]] = (x, y)

    def _said(self, folder: Path, *words: str) -> Any:
        """What a verb says of the job as JSON."""
        return json.loads(self.run_cli(*words, "--job", folder, "--json").stdout)

    # -- at the machine ----------------------------------------------------------------------------

    def work(self, hands: Hands, until: Callable[[Sequence[str]], bool] | None = None) -> str:
        """Does what the page asks for, until the run has ended or something is true of its words.

        Returns what the page says of it last.
        """
        done, end = "", time.monotonic() + _PATIENCE_SECONDS
        while True:
            page = json.loads(hands.run(_STATE))
            lines: list[str] = page["lines"]
            assert time.monotonic() < end, "\n".join(lines)
            if not page["runs"] or (until is not None and until(lines)):
                return "\n".join(lines)
            wanted = page["asks"] or _asked_for(lines)
            # Until it is heard that something was done, it is not asked for anew.
            if wanted and wanted != done:
                if page["asks"]:
                    self.answer(hands, page["asks"], "\n".join(lines))
                else:
                    self.bring_over(hands, wanted)
                end = time.monotonic() + _PATIENCE_SECONDS
            done = wanted
            hands.wait(0.1)

    def answer(self, hands: Hands, asked: str, said: str) -> None:
        """Yes, once it is so."""
        if section := re.search(r"set down for (r\d+c\d+(?:-m\d+)?)", asked):
            self._set_down(section[1], said)
        if "over where a drawn line begins" in asked:
            self.at.settle(5.0)
            assert self._off_ink() < 0.4, "the pen hangs beside the line that it is said to be over"
        hands.press("enter")

    def _set_down(self, section: str, said: str) -> None:
        """Where the page says, by tape, and as truly as the person is today."""
        told = re.findall(
            rf"{section}: set the device down with .*?({_LENGTH}) along from the zero end "
            rf"and ({_LENGTH}) across from the near edge",
            said,
        )
        assert told, said
        x, y = (parse_length(one) for one in told[-1])
        self.at.settle(5.0)
        self.at.bump(self._stand(x + self.off[0], y + self.off[1], self.off[2]))

    def _spot(self, name: str) -> NDArray[np.float64]:
        """Where a mark lies: a tape mark, or a crossing that is inked."""
        if name in self.marks:
            return np.array(self.marks[name])
        if name in self._crossings:
            return self.cover.crossing(*self._crossings[name])
        about = {one["id"]: one["points"][0] for one in self.layout["strokes"]}
        if "/" in name:
            # A crossing by both of its lines, as those around a mend are named.
            cross, line = name.split("/")
            return self.cover.crossing(about[cross][0], about[line][1])
        number, _, line = name.removeprefix("line ").partition(" and ")
        return self.cover.crossing(about[f"cross-{number}"][0], about[line][1])

    def _pen(self) -> NDArray[np.float64]:
        """Where the pen hangs."""
        return np.array(self.cloth.stand.table_of(self.at.machine.carriage.real))

    def _off_ink(self) -> float:
        """How far the pen hangs beside any ink."""
        points = np.concatenate([np.array(ink.path) for ink in self.cloth.ink])
        return float(np.hypot(*(points - self._pen()).T).min())

    def bring_over(self, hands: Hands, name: str) -> None:
        """Nudges the pen over a mark by what the person sees, and says that it is there."""
        self.at.settle(5.0)
        self.read.append(name)
        if self.looks:
            spot = self._spot(name) + [self.random.gauss(0, READ_TO) for _ in range(2)]
            for step, key in ((1.0, "2"), (0.1, "1")):
                self._nudge(hands, spot, step, key)
            away = float(np.hypot(*(self._pen() - spot)))
            assert away < 0.15, f"the pen stands {away:.2f} mm off mark {name}"
        hands.press("enter")

    def _nudge(self, hands: Hands, spot: NDArray[np.float64], step: float, key: str) -> None:
        there = np.array(self.cloth.stand.machine_of((float(spot[0]), float(spot[1]))))
        stood = np.array(self.at.machine.carriage.real)
        counts = ((there - stood) / step).round()
        if not counts.any():
            return
        hands.press(key)
        for count, ways in zip(counts, (("right", "left"), ("up", "down")), strict=True):
            for _ in range(abs(int(count))):
                hands.press(ways[int(count < 0)])
        end = time.monotonic() + _PATIENCE_SECONDS
        while np.abs(stood + counts * step - self.at.machine.carriage.real).max() > 0.04:
            assert time.monotonic() < end, f"the pen does not go where it was nudged by {step} mm"
            hands.wait(0.1)
        self.at.settle(5.0)

    # -- the finished cover ------------------------------------------------------------------------

    def measured(self, hands: Hands) -> dict[str, str]:
        """What the tape shows of each distance that the page asks for, by its field."""
        cover, found = self.cover, {}
        for at, label in json.loads(hands.run(_TO_MEASURE)):
            one, _, other = label.partition(": ")[2].partition(" to ")
            found[at] = _taped(cover.distance(one, other))
        return found


def _taped(length: float) -> str:
    """As a tape with half millimetres shows it."""
    return f"{round(2 * length) / 2} mm"


def _asked_for(lines: Sequence[str]) -> str:
    """The mark that the pen is to be brought over now, or nothing."""
    # Nudges are told indented.
    last = next((line for line in reversed(lines) if not line.startswith("  ")), "")
    mark = re.match(r"mark (.+?): bring the pen over it", last)
    return mark[1] if mark else ""
