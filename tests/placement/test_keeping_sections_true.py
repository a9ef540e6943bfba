"""The Millrace job kept true from the first tape mark to the proof, through the command alone.

The plotter, the tape and the cloth are simulated here and share nothing with the program: a
machine of 0.02488 mm units driven as 0.025, set down askew, read with noise. Every figure that
the program is told is written into a file, and every answer is what it prints.
"""

from __future__ import annotations

import re
import shutil
import sqlite3
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.spatial import cKDTree

from marking.job.folder import JOB_FILE
from tests.conftest import MILLRACE
from tests.driving.side_by_side import way
from tests.job.command_cases import BAD_INPUT, REFUSED, assert_plain, contents
from tests.placement.walk import (
    AS_SET,
    INKED,
    READING_SD,
    TAPE_SD,
    TOLERANCE,
    TRUE,
    UNIT,
    Device,
    Walk,
    ask,
    laid,
    measured_file,
    readings_file,
)

if TYPE_CHECKING:
    from pathlib import Path

    from marking.arrays import FloatArray
    from tests.conftest import RunCli


@pytest.fixture(scope="module")
def walk(run_cli: RunCli, tmp_path_factory: pytest.TempPathFactory) -> Walk:
    folder = tmp_path_factory.mktemp("walk")
    (folder / JOB_FILE).write_text(MILLRACE, "utf-8")
    rng = np.random.default_rng(11)
    answers: dict[str, Any] = {}
    answers["sheet"] = ask(run_cli, folder, "trial")
    assert not (folder / "job.db").exists()
    square = {run: length * TRUE for run, length in answers["sheet"]["runs"].items()}
    measured = measured_file(folder, "square", square)
    answers["trial"] = ask(run_cli, folder, "trial", "--measured", measured)
    picture = folder / "errors.png"
    answers["control"] = ask(
        run_cli, folder, "control", "--spacing", "3 in", "--join-rows", "2", "--map", picture
    )
    sections = {s["id"]: s for s in ask(run_cli, folder, "section")["sections"]}
    answers["sections"] = sections
    control = {m["id"]: np.array(m["at"]) for m in answers["control"]["marks"]}
    set_at = {name: at + TAPE_SD * rng.standard_normal(2) for name, at in control.items()}
    devices: dict[str, Device] = {}
    read: dict[str, dict[str, FloatArray]] = {}
    for name in INKED:
        section = sections[name]
        low, high = np.array(section["window"][:2]), np.array(section["window"][2:])
        device = Device(low, rng.uniform(-1, 1, 2), float(rng.uniform(-0.002, 0.002)))
        spots = {
            mark: at
            for mark, at in set_at.items()
            if ((control[mark] > low + 2) & (control[mark] < high - 2)).all()
        }
        for mark in section["witness"]:
            at = np.array(mark["at"])
            inker = next(n for n in devices if (at <= np.array(sections[n]["core"][2:])).all())
            spots[mark["id"]] = laid(at, devices[inker], answers[f"place {inker}"])
        read[name] = {
            mark: device.shown(at) + READING_SD * rng.standard_normal(2)
            for mark, at in spots.items()
        }
        if name == "r1c3":
            spoilt = {**read[name]}
            blunder = next(mark for mark in spoilt if mark.startswith("w"))
            spoilt[blunder] = spoilt[blunder] + (6.0, 0.0)
            file = readings_file(folder, name, spoilt)
            again = ask(run_cli, folder, "place", "--readings", file, code=REFUSED)
            answers["blunder"] = blunder, again
            answers["placed after blunder"] = (folder / "out" / "placed" / "r1c3.hpgl").exists()
        file = readings_file(folder, name, read[name])
        answers[f"place {name}"] = ask(run_cli, folder, "place", "--readings", file)
        devices[name] = device
        ask(run_cli, folder, "place", "--inked", name)
    answers["all"] = ask(run_cli, folder, "place", "--all")
    return Walk(folder, answers, devices, read)


@pytest.fixture
def inked(walk: Walk, tmp_path: Path) -> Path:
    """A copy of the job with four sections inked, to do bad things to."""
    folder = tmp_path / "job"
    shutil.copytree(walk.folder, folder)
    return folder


def test_the_device_check_finds_a_machine_of_a_wrong_unit_and_keeps_it(walk: Walk) -> None:
    found = walk.answers["trial"]
    assert found["scale_x"] == pytest.approx(TRUE, abs=2e-4)
    assert found["scale_y"] == pytest.approx(TRUE, abs=2e-4)
    assert found["certain"][:2] == [True, True]


def test_control_says_what_it_holds_and_leaves_a_sheet_and_a_map(walk: Walk) -> None:
    control = walk.answers["control"]
    assert len({mark["id"] for mark in control["marks"]}) == len(control["marks"])
    # 3-4-5, and both diagonals by Pythagoras.
    a, b, c = control["square"]["ratio"]
    assert a * a + b * b == c * c
    xs = [mark["at"][0] for mark in control["marks"]]
    assert control["diagonals"]["length"] == pytest.approx(
        np.hypot(max(xs) - min(xs), control["height"]["length"])
    )
    found = control["forecast"]
    assert found["worst_line"] <= found["tolerance"] == TOLERANCE
    assert found["worst_step"] <= found["step"]
    assert found["holds"]
    assert (walk.folder / "errors.png").read_bytes().startswith(b"\x89PNG")
    assert (walk.folder / "out" / "control.pdf").read_bytes().startswith(b"%PDF")
    assert (walk.folder / "out" / "control.svg").read_bytes().startswith(b"<?xml")


def test_control_takes_the_widest_spacing_that_holds_or_says_what_would_help(
    run_cli: RunCli, tmp_path: Path
) -> None:
    job = '[table]\nlength = "60 in"\nwidth = "30 in"\n'
    (tmp_path / JOB_FILE).write_text(job + '[plotter]\nprofile = "flatbed-24x36"\n', "utf-8")
    easy = ask(run_cli, tmp_path, "control")
    assert easy["forecast"]["holds"]
    assert easy["remedies"] == []
    assert easy["spacing"] > 76.2
    closer = ask(run_cli, tmp_path, "control", "--spacing", "3 in")
    assert len(closer["marks"]) > len(easy["marks"])
    assert closer["forecast"]["worst_line"] < easy["forecast"]["worst_line"]
    (tmp_path / JOB_FILE).write_text(f'tolerance = "0.3 mm"\n{job}', "utf-8")
    hard = ask(run_cli, tmp_path, "control", "--spacing", "6 in", code=REFUSED)
    assert not hard["forecast"]["holds"]
    best = min(hard["remedies"], key=lambda remedy: remedy["worst_line"])
    assert best["worst_line"] < hard["forecast"]["worst_line"]
    said = run_cli("control", "--spacing", "6 in", "--job", tmp_path)
    assert "DOES NOT HOLD" in said.stdout
    assert not any(remedy["holds"] for remedy in hard["remedies"])
    assert "Nothing that was tried holds. What comes nearest, each as" in said.stdout
    assert said.returncode == REFUSED
    assert said.stderr.startswith("wrote ")


def test_a_blunder_is_named_and_nothing_is_written_to_ink_by(walk: Walk) -> None:
    blunder, answer = walk.answers["blunder"]
    assert answer["verdict"] == "read again"
    assert [doubt["marks"] for doubt in answer["doubts"]] == [[blunder]]
    assert blunder in answer["advice"]
    assert answer["file"] is None
    assert not walk.answers["placed after blunder"]


@pytest.mark.parametrize("name", INKED)
def test_each_section_is_inked_within_tolerance_of_the_plan(walk: Walk, name: str) -> None:
    answer = walk.answers[f"place {name}"]
    assert answer["verdict"] == "ink"
    text = (walk.folder / "out" / "placed" / f"{name}.hpgl").read_text("ascii")
    coordinates = ",".join(re.findall(r"P[UD](\d[\d,]*);", text)).split(",")
    units = np.array(coordinates, dtype=float).reshape(-1, 2)[:-1]
    drawn = walk.devices[name].draws(units)
    planned = np.concatenate([s["points"] for s in walk.answers["sections"][name]["strokes"]])
    off, _ = cKDTree(planned).query(drawn)
    assert off.max() < TOLERANCE
    missed, _ = cKDTree(drawn).query(planned)
    assert missed.max() < TOLERANCE


def test_all_readings_together_close_and_hold_the_truth(walk: Walk) -> None:
    answer = walk.answers["all"]
    low, high = answer["limits"]
    assert low <= answer["variance_factor"] <= high
    assert [section["id"] for section in answer["sections"]] == list(INKED)
    for section in answer["sections"]:
        core = np.array(walk.answers["sections"][section["id"]]["core"]).reshape(2, 2)
        corner = core[1]
        at = laid(corner, walk.devices[section["id"]], walk.answers[f"place {section['id']}"])
        assert np.hypot(*(at - corner)) < section["off"] + 1.5 * section["doubt"]


def test_after_ink_a_moved_line_is_refused_until_a_person_says_so(
    run_cli: RunCli, inked: Path
) -> None:
    path = inked / JOB_FILE
    path.write_text(path.read_text("utf-8").replace('margin = "1 in"', 'margin = "1 1/8 in"'))
    before = contents(inked)
    for words in (
        ["layout"],
        ["section"],
        ["write"],
        ["control"],
        ["place", "--readings", inked / "r1c4.csv"],
    ):
        assert_plain(run_cli(*words, "--job", inked), REFUSED, "already inked", "--despite-ink")
    kept = {name for name in before if not name.startswith("job.db-")}
    assert {name for name in contents(inked) if not name.startswith("job.db-")} == kept
    assert run_cli("layout", "--despite-ink", "--job", inked).returncode == 0
    assert run_cli("layout", "--job", inked).returncode == 0


def test_the_marks_that_ink_was_placed_by_stay_with_their_sheet(
    run_cli: RunCli, inked: Path
) -> None:
    sheet = (inked / "out" / "control.pdf").read_bytes()
    before = kept_rows(inked)
    done = run_cli("control", "--spacing", "12 in", "--job", inked)
    assert_plain(done, REFUSED, "ink on the cover was placed by these marks", "--only-look")
    forced = run_cli("control", "--spacing", "12 in", "--set-out-anew", "--job", inked)
    assert_plain(forced, REFUSED, "ink on the cover was placed by these marks")
    looked = run_cli("control", "--spacing", "12 in", "--only-look", "--job", inked)
    assert "DOES NOT HOLD" in looked.stdout
    assert (inked / "out" / "control.pdf").read_bytes() == sheet
    assert kept_rows(inked) == before
    ask(run_cli, inked, "place", "--all")
    # The same marks once more are no other marks.
    ask(run_cli, inked, "control", "--spacing", "3 in", "--join-rows", "2")


def test_each_section_is_listed_with_the_control_marks_it_reaches(
    run_cli: RunCli, inked: Path
) -> None:
    control = {m["id"]: np.array(m["at"]) for m in ask(run_cli, inked, "control", *AS_SET)["marks"]}
    for section in ask(run_cli, inked, "section")["sections"]:
        low, high = np.array(section["window"]).reshape(2, 2)
        inside = {m for m, at in control.items() if ((at > low + 12.8) & (at < high - 12.8)).all()}
        outside = {m for m, at in control.items() if ((at < low) | (at > high)).any()}
        assert inside <= set(section["control"])
        assert not outside & set(section["control"])
    said = run_cli("section", "--job", inked).stdout
    assert "| tape marks |" in said
    assert "n15 and f15 stand on cross line 15" in said
    assert run_cli("write", "--report", "--job", inked).returncode == 0
    assert "| tape marks |" in (inked / "out" / "report.md").read_text("utf-8")


def test_a_new_correction_after_ink_is_refused(run_cli: RunCli, inked: Path) -> None:
    done = run_cli("trial", "--measured", inked / "square.toml", "--job", inked)
    assert_plain(done, REFUSED, "inked already", "--despite-ink")


def test_sections_and_their_files_use_the_kept_correction(
    run_cli: RunCli, inked: Path, tmp_path: Path
) -> None:
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    shutil.copy(inked / JOB_FILE, fresh)
    plain = ask(run_cli, fresh, "section")["sections"][0]
    corrected = ask(run_cli, inked, "section")["sections"][0]
    wide = [s["window"][2] - s["window"][0] for s in (plain, corrected)]
    assert wide[1] == pytest.approx(wide[0] * TRUE, rel=2e-4)
    assert not (fresh / "job.db").exists()
    ask(run_cli, inked, "write", "--hpgl")
    text = (inked / "out" / "sections" / "r1c1.hpgl").read_text("ascii")
    coordinates = ",".join(re.findall(r"P[UD](\d[\d,]*);", text)).split(",")
    units = np.array(coordinates, dtype=float).reshape(-1, 2)[:-1]
    drawn = units * UNIT + corrected["window"][:2]
    # Heavy lines are 1 mm wide, their passes side by side.
    strokes = corrected["strokes"]
    planned = np.concatenate([way(s["points"], len(s.get("beside", [0])), 1.0) for s in strokes])
    off, _ = cKDTree(planned).query(drawn)
    assert off.max() < 0.1


@pytest.mark.parametrize(
    ("name", "spoil", "code", "said"),
    [
        ("r1c5", lambda r: dict(list(r.items())[:1]), REFUSED, ["1 mark", "read at least 2"]),
        ("r1c5", lambda r: {**r, "q99": r["n60"]}, BAD_INPUT, ["mark q99 is not known"]),
        (
            "r1c5",
            lambda r: {**r, "n60": np.array([900.0, 10.0])},
            BAD_INPUT,
            ["mark n60", "no pen can stand there"],
        ),
        ("r1c5", lambda r: {**r, "n60": np.array([np.nan, 1.0])}, BAD_INPUT, ["r1c5.csv:", "x"]),
        ("r1c4", lambda r: r, BAD_INPUT, ["section r1c4 is inked already"]),
        ("r9c9", lambda r: r, BAD_INPUT, ["section r9c9", "r1c1 to r7c10"]),
    ],
)
def test_readings_that_cannot_be_are_refused_and_nothing_is_kept(
    run_cli: RunCli,
    inked: Path,
    name: str,
    spoil: Any,
    code: int,
    said: list[str],
) -> None:
    good = {"n60": np.array([9.0, 22.0]), "n63": np.array([85.0, 22.1])}
    file = readings_file(inked, name, spoil(good))
    before = kept_rows(inked)
    done = run_cli("place", "--readings", file, "--job", inked)
    assert_plain(done, code, *said)
    assert kept_rows(inked) == before
    assert not (inked / "out" / "placed" / f"{name}.hpgl").exists() or name in INKED


def kept_rows(folder: Path) -> list[Any]:
    tables = ("reading", "placement", "verification", "ink", "standing_layout")
    connection = sqlite3.connect(folder / "job.db")
    try:
        return [connection.execute(f"SELECT * FROM {table}").fetchall() for table in tables]
    finally:
        connection.close()


def test_inches_typed_as_millimetres_are_suspected_from_the_residuals(
    run_cli: RunCli, walk: Walk, inked: Path
) -> None:
    section = walk.answers["sections"]["r1c5"]
    low, high = np.array(section["window"][:2]), np.array(section["window"][2:])
    typed = {
        mark["id"]: (np.array(mark["at"]) - low) / TRUE / 25.4
        for mark in walk.answers["control"]["marks"]
        if ((np.array(mark["at"]) > low + 2) & (np.array(mark["at"]) < high - 2)).all()
    }
    file = readings_file(inked, "r1c5", typed)
    answer = ask(run_cli, inked, "place", "--readings", file, code=REFUSED)
    assert answer["verdict"] == "read again"
    assert "inches" in answer["advice"]
    assert answer["file"] is None
    refused = run_cli("place", "--inked", "r1c5", "--accept", "--job", inked)
    assert_plain(refused, REFUSED, "not to be inked", "read again")


def test_a_section_is_taken_as_inked_once_and_only_as_placed(run_cli: RunCli, inked: Path) -> None:
    assert_plain(run_cli("place", "--inked", "r1c1", "--job", inked), BAD_INPUT, "inked already")
    assert_plain(run_cli("place", "--inked", "r3c3", "--job", inked), REFUSED, "never placed")
    assert_plain(run_cli("place", "--inked", "q1", "--job", inked), BAD_INPUT, "there is none")


def test_a_broken_or_later_record_is_named_and_left(run_cli: RunCli, inked: Path) -> None:
    for name in ("job.db-wal", "job.db-shm"):
        (inked / name).unlink(missing_ok=True)
    connection = sqlite3.connect(inked / "job.db")
    connection.execute("UPDATE schema_version SET version = 99")
    connection.commit()
    connection.close()
    verbs = (["section"], ["control"], ["place", "--all"], ["trial", "--corrected"], ["prove"])
    for words in verbs:
        assert_plain(run_cli(*words, "--job", inked), REFUSED, "later version")
    (inked / "job.db").write_bytes(b"not a record, but long enough to be read as a page" * 40)
    for words in verbs:
        assert_plain(run_cli(*words, "--job", inked), BAD_INPUT, "job.db", "nothing was changed")


def test_nothing_is_placed_before_control_marks_are_chosen(
    run_cli: RunCli, inked: Path, tmp_path: Path
) -> None:
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    shutil.copy(inked / JOB_FILE, fresh)
    done = run_cli("place", "--readings", inked / "r1c1.csv", "--job", fresh)
    assert_plain(done, REFUSED, "run canvasrule control")
    assert not (fresh / "job.db").exists()
    done = run_cli("prove", "--measured", inked / "square.toml", "--job", fresh)
    assert_plain(done, REFUSED, "no proof sheet")
    done = run_cli("control", "--spacing", "24 in", "--job", fresh)
    assert_plain(done, REFUSED, "r1c1", "too few")


def test_a_proof_finds_a_stretched_cover_and_later_what_the_cloth_did_since(
    run_cli: RunCli, inked: Path
) -> None:
    rng = np.random.default_rng(3)
    sheet = ask(run_cli, inked, "prove")
    assert (inked / "out" / "proof.pdf").read_bytes().startswith(b"%PDF")

    def measured(stretch: float) -> Path:
        lengths = {}
        for one in sheet["distances"]:
            (ax, ay), (bx, by) = one["ends"]
            run = np.hypot((bx - ax) * (1 + stretch), by - ay)
            lengths[one["id"]] = run + 0.3 * rng.standard_normal()
        return measured_file(inked, "proof", lengths)

    first = ask(run_cli, inked, "prove", "--measured", measured(0.003), code=REFUSED)
    assert first["outcome"] == "fail"
    assert first["since"] is None
    length = first["size"][0]
    assert first["whole"]["along"]["mm"] == pytest.approx(0.003 * length, abs=2.0)
    later = ask(run_cli, inked, "prove", "--measured", measured(-0.003), code=REFUSED)
    moved = later["since"]["along"]
    assert moved["mm"] == pytest.approx(-0.006 * length, abs=3 * moved["sd"])
    done = run_cli("prove", "--measured", inked / "proof.toml", "--job", inked)
    assert "FAIL" in done.stdout
    assert done.returncode == REFUSED
    assert "Since the earlier proof" in done.stdout
    unknown = run_cli(
        *("prove", "--measured", inked / "proof.toml", "--confirmed", "p999", "--job", inked)
    )
    assert_plain(unknown, BAD_INPUT, "p999")
