"""SciPy takes long to import: who does not read marks does not wait for it."""

import json
import subprocess
import sys

import pytest

PLAIN = """
schema = 1
title = "plain"
units = "in"
[table]
length = "60 in"
width = "40 in"
[plotter]
profile = "flatbed-a3"
"""
SURVEYED = (
    PLAIN
    + """
[table.survey]
near = "60 in"
far = "60 in"
zero_end = "40 in"
far_end = "40 in"
diagonal_from_zero_near = "72 1/8 in"
diagonal_from_zero_far = "72 1/8 in"
"""
)
RUN = """
import json, sys
from devices.commands import main
code = main(sys.argv[1:])
print(json.dumps([code, sorted(name for name in sys.modules if name.split(".")[0] == "scipy")]))
"""


@pytest.mark.parametrize("text", [PLAIN, SURVEYED], ids=["plain", "surveyed"])
@pytest.mark.parametrize(
    "verb",
    [
        ["layout"],
        ["section", "--for", "plotter"],
        ["write", "--svg", "--hpgl", "--picture", "--report"],
    ],
    ids=lambda verb: verb[0],
)
def test_laying_out_dividing_and_writing_import_no_scipy(tmp_path, text, verb):
    (tmp_path / "job.toml").write_text(text)
    ran = subprocess.run(
        [sys.executable, "-c", RUN, *verb, "--job", str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
    )
    code, imported = json.loads(ran.stdout.splitlines()[-1])
    assert code == 0, ran.stderr
    assert imported == []
