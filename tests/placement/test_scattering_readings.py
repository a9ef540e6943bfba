"""A job whose readings scatter more than declared: the verb `place` says so, and what to do."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from devices.commands import main

JOB = """schema = 1
[table]
length = "60 in"
width = "10 in"
[hems]
depth = "3 in"
[plotter]
profile = "flatbed-a3"
"""
MOST = 0.75
"""mm: a tired hand, evenly within; no reading of it is a slip by itself."""


@pytest.fixture
def ask(capsys):
    """A command's JSON, in this process."""

    def asked(*words):
        main([*map(str, words), "--json"])
        told = capsys.readouterr()
        assert told.out, told.err
        return json.loads(told.out)

    return asked


def test_readings_that_scatter_are_told_with_what_the_rest_will_hold(tmp_path, ask):
    Path(tmp_path, "job.toml").write_text(JOB, "utf-8")
    control = ask("control", "--job", tmp_path, "--spacing", "3 in")
    at = {one["id"]: np.array(one["at"]) for one in control["marks"]}
    rng = np.random.default_rng(6)
    told = []
    for section in ask("section", "--job", tmp_path)["sections"][:3]:
        x0, y0, x1, y1 = section["window"]
        seen = {m: p for m, p in at.items() if x0 + 3 < p[0] < x1 - 3 and y0 + 3 < p[1] < y1 - 3}
        rows = []
        for mark, place in seen.items():
            off = rng.uniform(-MOST, MOST, 2)
            x, y = place - (x0, y0) + off
            rows.append(f"{section['id']},{mark},{x:.3f},{y:.3f}")
        path = tmp_path / "read.csv"
        path.write_text("\n".join(["section,mark,x_mm,y_mm", *rows, ""]), "utf-8")
        told.append(ask("place", "--job", tmp_path, "--readings", path))
        assert told[-1]["verdict"] != "read again", told[-1]["advice"]
        ask("place", "--job", tmp_path, "--inked", section["id"], "--accept")
    assert told[0]["scatter"] is None
    said = told[-1]["scatter"]
    found = re.match(r"since (r\dc\d) your readings scatter (0\.\d\d) mm, not 0\.25: a cover", said)
    assert found, said
    assert float(found[2]) == pytest.approx(MOST / np.sqrt(3), abs=0.12)
    assert "read twice from here" in said
