"""What libraries import for others is put off, and works all the same once it is asked."""

from __future__ import annotations

import os
import subprocess
import sys

WITHOUT = """
import sys
import marking.drawing.svg
from marking.job.keys import MarkingJob
MarkingJob.model_validate({"table": {"length": "1 m", "width": "1 m"}})
late = {"urllib.request", "ssl", "importlib.metadata", "svgwrite.data.svgparser"}
assert not late & set(sys.modules)
import svgwrite
drawing = svgwrite.Drawing()
drawing.add(drawing.path("M0,0L1,1"))
try:
    drawing.add(drawing.path(d="M0,0L1,1", transform="sideways(3)"))
except TypeError as fault:
    print(fault)
import importlib.metadata, urllib.request
print(importlib.metadata.version("svgwrite"), urllib.request.Request("http://a.example/b").host)
"""


def test_a_library_that_is_asked_for_more_than_we_ask_still_does_it():
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT],
        env={**os.environ, "PYDANTIC_DISABLE_PLUGINS": "__all__"},
        capture_output=True,
        text=True,
        check=True,
    )
    refused, told = done.stdout.splitlines()
    assert refused.startswith("'sideways(3)' is not a valid value for attribute 'transform'")
    assert told.endswith(" a.example")
