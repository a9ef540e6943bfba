"""What libraries import for others is put off, and works all the same once it is asked."""

from __future__ import annotations

import os
import subprocess
import sys

ASKED_AT_ONCE = """
from marking.job.keys import MarkingJob
print(MarkingJob.model_validate({"table": {"length": "1 m", "width": "1 m"}}).table.length)
"""
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


ANOTHER_WAY = """
import sys
from marking.put_off import put_off
with put_off("urllib.request.urlopen"):
    from urllib.request import urlopen
    assert "urllib.error" not in sys.modules
    from urllib.request import URLError, Request
    import urllib.request
    class Ours(Request): pass
assert sys.modules["urllib.request"] is urllib.request and urllib.request.Request is Request
try:
    urlopen("file:///nothing/here")
except URLError:
    print(Ours("http://a.example/b").host)
"""


NUMPY = """
import sys
import marking.lean_numpy
assert not {"ctypes", "numpy._core._add_newdocs", "numpy._typing", "pickle"} & set(sys.modules)
import ctypes, io, pickle
import numpy as np
import numpy.ma, numpy.typing, scipy.optimize, scipy.special
array = np.arange(3.0)
kept = io.BytesIO()
np.save(kept, np.array([{"an": "object"}], dtype=object))
kept.seek(0)
assert np.load(kept, allow_pickle=True)[0] == {"an": "object"}
assert array.ctypes.data_as(ctypes.POINTER(ctypes.c_double))[2] == 2.0
assert numpy.typing.NDArray[np.float64].__origin__ is np.ndarray
print(*np.linalg.eigh(np.diag([3.0, 2.0])).eigenvalues, *pickle.loads(array.dumps()))
"""


def test_numpy_still_does_all_that_was_put_off():
    assert printed(NUMPY) == "2.0 3.0 0.0 1.0 2.0\n"


def test_a_library_that_is_asked_for_more_than_we_ask_still_does_it():
    refused, told = printed(WITHOUT, PYDANTIC_DISABLE_PLUGINS="__all__").splitlines()
    assert refused.startswith("'sideways(3)' is not a valid value for attribute 'transform'")
    assert told.endswith(" a.example")


def test_what_is_asked_for_at_once_is_there_at_once():
    # Without the switch, pydantic looks for plugins while its import is still put off.
    assert printed(ASKED_AT_ONCE, PYDANTIC_DISABLE_PLUGINS="") == "1000.0\n"


def test_what_is_no_function_that_was_named_is_the_librarys_own():
    """A class put off as a function could not be inherited from, and would catch no error."""
    assert printed(ANOTHER_WAY) == "a.example\n"


def printed(program: str, **env: str) -> str:
    words = [sys.executable, "-c", program]
    env = {**os.environ, **env}
    return subprocess.run(words, env=env, capture_output=True, text=True, check=True).stdout
