"""Prints how often the proof of a finished cover is wrong, on covers whose errors are known.

    python tests/bench_proof.py [COVERS]

200 covers of each kind unless given; seeds are fixed, so the same figures come out every time.
Covers and tape are `covers`, which shares no code with the proof. `told` is how often the worst
line's true error lies within the two limits told; each holds at least 95 times in 100, both at
least 90. `PASS!` is a pass of a cover with a line past the tolerance, `FAIL!` a failure of one
without. The last lines are the 95 % figures of stretch and skew, which hold 93 to 97 in 100.
"""

import sys

import numpy as np
from covers import cover_of, knocked, taped

from devices.job import Job
from marking.jobfile import load_job
from marking.layout import lay_out
from marking.proof import TWO_SIDED, prove
from marking.proofplan import plan_proof
from marking.sections import cut_into_sections
from marking.stock import stock
from marking.tape import Tape

TOLERANCE = 25.4 / 16


def bench(folder, profile):
    text = stock().joinpath("demo", "millrace", "job.toml").read_text("utf-8")
    (folder / "job.toml").write_text(text, "utf-8")
    job = load_job(folder, Job, sets=[f"plotter.profile={profile}"])
    return job, lay_out(job)
