"""Keys about the work: read with their units, refused by name, and moving no line."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest

from devices.job import Job
from marking.errors import BadInputError
from marking.job.folder import load_job
from marking.layout.layout import lay_out
from marking.record.record import layout_hash

TOP = 'table = { length = "60 in", width = "30 in" }\n'
WORK = """
[allowed]
total = "1/8 in"
step = "1 mm"
[fence]
length = "8 ft"
stops = "none"
[inking]
cross_lines = "ruled"
drying = "90 s"
[ways]
have = ["plotter"]
[pace]
reading = "20 s"
set_down = "1 h 5 min"
"""


def job_of(folder, text):
    (folder / "job.toml").write_text(text, "utf-8")
    return load_job(folder, Job)


def test_they_are_read_with_their_units_and_move_no_line(tmp_path):
    plain, job = job_of(tmp_path, TOP), job_of(tmp_path, TOP + WORK)
    assert (job.allowed.total, job.allowed.square, job.allowed.step) == (3.175, None, 1.0)
    assert job.fence is not None
    assert (job.fence.length, job.fence.straight, job.fence.stops) == (2438.4, 0.3, None)
    assert (job.inking.cross_lines, job.inking.drying) == ("ruled", 90.0)
    assert job.ways.have == ("plotter",)
    assert (job.pace.reading, job.pace.set_down, job.pace.tick) == (20.0, 3900.0, 8.0)
    assert plain.fence is None
    assert layout_hash(lay_out(job)) == layout_hash(lay_out(plain))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[allowed]\ntotal = "0 mm"', "allowed.total.*more than zero"),
        ('[fence]\nstraight = "0.3 mm"', "fence.length"),
        ('[fence]\nlength = "8 ft"\nstops = "some"', "fence.stops"),
        ('[inking]\ncross_lines = "hand"', "inking.cross_lines"),
        ('[ways]\nhave = ["plotter", "plotter"]', "ways.have.*twice"),
        ('[ways]\nhave = ["laser"]', "ways.have"),
        ('[pace]\nreading = "30"', "pace.reading.*unit"),
        ('[pace]\nnapping = "1 h"', "pace.napping"),
    ],
)
def test_what_is_wrong_with_one_is_told_by_its_name(tmp_path, text, said):
    with pytest.raises(BadInputError) as told:
        job_of(tmp_path, TOP + text + "\n")
    assert re.search(said, str(told.value))


def test_the_keys_can_be_imported_by_themselves() -> None:
    """Outside the command nothing has told pydantic yet to look for no plugins."""
    plain = {key: value for key, value in os.environ.items() if not key.startswith("PYDANTIC")}
    words = [sys.executable, "-c", "import marking.job.keys"]
    done = subprocess.run(words, env=plain, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
