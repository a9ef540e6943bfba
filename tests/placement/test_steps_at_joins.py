"""Steps read off verniers, through the command: before a section's ink, after it, and in the proof.

The machine is simulated from HP-GL alone: what a file tells it to draw lies where it really stands.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from devices.commands import main
from tests.job.command_cases import BAD_INPUT, REFUSED
from tests.placement.walk import readings_file

if TYPE_CHECKING:
    from pathlib import Path

UNIT = 0.025
JOB = """title = "A side table"
[table]
length = "29 in"
width = "11 in"
[hems]
depth = "3 in"
folds = []
[plotter]
profile = "flatbed-a3"
"""
STANDS = {"r1c1": (0.6, -0.4, 0.001), "r1c2": (-0.5, 0.8, -0.0015)}
"""By section: shift in mm, and turn."""
SET_WRONG = np.array([0.5, -0.6])
"""mm: what all tape marks that r1c2 reads are off by, as where a rule slipped."""


class Bench:
    """One job on an imagined table."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.capsys = folder, capsys
        (folder / "job.toml").write_text(JOB, "utf-8")
        self.marks = {m["id"]: np.array(m["at"]) for m in self.ask("control")["marks"]}
        self.sections = {s["id"]: s for s in self.ask("section")["sections"]}

    def ask(self, *words: Any, code: int = 0) -> Any:
        self.capsys.readouterr()
        assert main([*map(str, words), "--json", "--job", str(self.folder)]) == code, (
            self.capsys.readouterr()
        )
        return json.loads(self.capsys.readouterr().out)

    def refused(self, *words: Any, code: int = REFUSED) -> str:
        self.capsys.readouterr()
        assert main([*map(str, words), "--job", str(self.folder)]) == code
        return self.capsys.readouterr().err

    def at_table(self, name: str, bed: np.ndarray) -> np.ndarray:
        x, y, turn = STANDS[name]
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        low = np.array(self.sections[name]["window"][:2])
        return bed @ rotation.T + low + (x, y)

    def read(self, name: str) -> Path:
        """Every tape mark in the section's reach as its device shows it, to 0.001 mm."""
        x, y, turn = STANDS[name]
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        low, high = np.array(self.sections[name]["window"]).reshape(2, 2)
        off = SET_WRONG if name == "r1c2" else 0.0
        seen = {
            mark: (at + off - low - (x, y)) @ rotation
            for mark, at in self.marks.items()
            if ((at > low + 3) & (at < high - 3)).all()
        }
        return readings_file(self.folder, name, seen)

    def lines(self, name: str, ending: str = "") -> list[np.ndarray]:
        """What the section's placed file draws, on the table."""
        text = (self.folder / "out" / "placed" / f"{name}{ending}.hpgl").read_text("ascii")
        drawn = []
        for begin, path in re.findall(r"PU([-\d, ]+);\s*PD([-\d, ]+);", text):
            points = [float(n) for n in f"{begin},{path}".replace(" ", "").split(",")]
            drawn.append(self.at_table(name, np.array(points).reshape(-1, 2) * UNIT))
        assert drawn
        return drawn

    def steps(self, name: str = "steps") -> tuple[Path, dict[str, float]]:
        """What a person reads off the pairs, to a tenth of the widest pitch at 2 mm: 0.1 mm."""
        one, two = (self.lines(section, "-verniers") for section in ("r1c1", "r1c2"))
        shown: dict[str, float] = {}
        for vernier in self.ask("prove", "--verniers")["verniers"]:
            at, axis = np.array(vernier["at"]), 0 if vernier["axis"] in ("x", 0) else 1
            first, second = (self._middle(lines, at, axis) for lines in (one, two))
            shown[vernier["id"]] = round(10 * (second - first)) / 10
        return self.write(name, shown), shown

    @staticmethod
    def _middle(lines: list[np.ndarray], at: np.ndarray, axis: int) -> float:
        """Where along the axis the long line in the middle of a half lies: the longest near."""
        near = [
            one for one in lines if np.abs(one[0] - at).max() < 8 or np.abs(one[-1] - at).max() < 8
        ]
        across = [one for one in near if np.abs(np.ptp(one[:, axis])) < 0.2]
        longest = max(across, key=lambda one: float(np.ptp(one[:, 1 - axis])))
        return float(longest[:, axis].mean())

    def write(self, name: str, shown: dict[str, float]) -> Path:
        path = self.folder / f"{name}.toml"
        rows = [f'{key} = "{value:.2f} mm"' for key, value in shown.items()]
        path.write_text("\n".join(["[measured]", *rows]) + "\n", "utf-8")
        return path

    def worst_step(self) -> float:
        """mm: across, between the ends of all long lines that meet at the join."""
        ends = []
        for name in STANDS:
            level = [p for p in self.lines(name) if np.ptp(p[:, 1]) < 2 and np.ptp(p[:, 0]) > 50]
            pick = np.argmax if name == "r1c1" else np.argmin
            ends.append(np.array([float(p[pick(p[:, 0]), 1]) for p in level]))
        assert len(ends[0]) > 4
        apart = np.abs(ends[0][:, None] - ends[1]).min(axis=1)
        # Lines are an inch apart: what is further off than this meets no line at all.
        assert apart.max() < 3
        return float(apart.max())


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Bench:
    made = Bench(tmp_path, capsys)
    made.ask("place", "--readings", made.read("r1c1"), "--verniers")
    made.ask("place", "--inked", "r1c1")
    return made


def test_a_section_whose_halves_are_read_before_its_ink_meets_the_ink_beside_it(
    bench: Bench,
) -> None:
    asked = ("place", "--readings", bench.read("r1c2"), "--accept")
    assert "were drawn" in bench.refused(*asked, "--steps", bench.write("x", {"v01": 0.1}))
    bench.ask(*asked, "--verniers")
    without = bench.worst_step()
    halves = bench.lines("r1c2", "-verniers")
    path, shown = bench.steps()
    # One that is counted on the wrong side places nothing, and can be read again: the halves lie.
    miscounted = bench.write("miscounted", {**shown, "v01": -1.0})
    told = bench.ask(*asked, "--steps", miscounted, "--weight", 0.5, code=1)
    assert "v01" in told["advice"]
    told = bench.ask(*asked, "--steps", path)
    # By marks set wrong alone it would step by over half a millimetre; a vernier tells to 0.1.
    assert without > 0.5
    halfway = bench.worst_step()
    assert halfway < 0.6 * without
    # What is left is meant: between the table, as marks tell it, and the ink beside.
    join = told["seams"][0]
    assert abs(halfway - abs(join["expected"][1])) < join["error"]
    met = bench.ask(*asked, "--steps", path, "--weight", 1)
    assert met["seams"][0]["error"] < 0.5
    assert bench.worst_step() < 0.25
    # The same halves are there to be plotted again, and to be read so in the proof.
    for one, two in zip(halves, bench.lines("r1c2", "-verniers"), strict=True):
        np.testing.assert_allclose(one, two)
    bench.ask("place", "--inked", "r1c2")
    whole = bench.ask("place", "--all")
    off = {one["id"]: np.array(one["change"]) for one in whole["sections"]}
    assert np.abs(off["r1c1"][:2]).max() < 0.5
    # A count of five lines on the wrong side is more than marks and the other pairs allow.
    wrong = bench.write("wrong", {**shown, "v01": -1.0})
    assert "v01 says" in bench.refused("place", "--steps", wrong)


def test_steps_read_after_the_ink_tie_both_sections_and_go_into_the_proof(bench: Bench) -> None:
    bench.ask("place", "--readings", bench.read("r1c2"), "--accept", "--verniers")
    path, shown = bench.steps()
    assert "not inked yet" in bench.refused("place", "--steps", path)
    bench.ask("place", "--inked", "r1c2")
    before = bench.ask("place", "--all")
    told = bench.ask("place", "--steps", path)
    assert {one["id"]: one["step_mm"] for one in told["steps"]} == pytest.approx(shown)
    after = bench.ask("place", "--all")
    doubts = [[one["doubt"] for one in all_["sections"]] for all_ in (before, after)]
    assert after["degrees"] == before["degrees"] + len(shown)
    assert sum(doubts[1]) < sum(doubts[0])
    # The marks said that both lie true; the steps say that they do not.
    off = {one["id"]: np.array(one["change"]) for one in after["sections"]}
    assert np.hypot(*(off["r1c2"][:2] - off["r1c1"][:2])) > 0.2
    asked = bench.ask("prove", "--verniers")["distances"]
    lengths = {one["id"]: one["nominal"] for one in asked}
    bench.capsys.readouterr()
    main(["prove", "--job", str(bench.folder), "--measured", str(bench.write("proof", lengths))])
    assert "read before: " + ", ".join(shown) in bench.capsys.readouterr().err


def test_what_is_no_vernier_and_nothing_to_do_are_refused_in_words(bench: Bench) -> None:
    assert "no vernier of this job" in bench.refused(
        "place", "--steps", bench.write("x", {"v99": 0.1}), code=BAD_INPUT
    )
    assert "tells up to" in bench.refused(
        "place", "--steps", bench.write("y", {"v01": 2.5}), code=BAD_INPUT
    )
    assert "say what to do" in bench.refused("place", code=BAD_INPUT)
    steps = bench.write("z", {"v01": 0.1})
    assert "goes alone" in bench.refused("place", "--all", "--steps", steps, code=BAD_INPUT)
    assert "goes with" in bench.refused("place", "--all", "--verniers", code=BAD_INPUT)
