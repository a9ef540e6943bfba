"""No decision hangs on the last bits, which are another processor's own.

Linear algebra libraries add in another order on each processor, so the last bits of what they
return differ. Here they are changed on purpose, and by the kernels that OpenBLAS chooses among:
OPENBLAS_CORETYPE, as in the "Dynamic arch" part of its user manual.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from msgspec.structs import replace

from devices.projector.light.throw import largest_upright
from marking.layout.survey import SIDES, Adjustment, _which_again
from marking.measures.ties import first_of_greatest
from marking.network.allowed_errors import Allowed
from marking.proof.outcome import many_lines
from marking.tape_marks.forecast import forecast
from tests.placement.inking import READING_SD, set_out_by_tape

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import RunCli

FLAGS = {"Haswell": "avx2", "Nehalem": "sse4_2"}
"""Instructions that a kernel needs, as Linux names them."""
CROOKED = """
[table]
length = "150 in"
width = "64 in"
[table.survey]
near = "150 in"
far = "150 1/16 in"
zero_end = "64 in"
far_end = "63 15/16 in"
diagonal_from_zero_near = "163 1/16 in"
diagonal_from_zero_far = "163 1/8 in"
[plotter]
profile = "flatbed-a3"
"""


def kernels() -> list[str]:
    """Those of `FLAGS` that this machine can run; none where it is no x86 under Linux."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as file:
            has = set(file.read().split())
    except OSError:
        return []
    return [name for name, flag in FLAGS.items() if flag in has]


def wobbled(values: Any, seed: int) -> Any:
    """The same figures with other last bits."""
    return values * (1 + np.random.default_rng(seed).uniform(-2e-15, 2e-15, np.shape(values)))


def test_of_equal_figures_the_first_counts_whatever_their_last_bits() -> None:
    figures = np.array([1.0, 3.0, 2.9999, 3.0, 3.0])
    for seed in range(20):
        assert first_of_greatest(wobbled(figures, seed)) == 1
        assert first_of_greatest(wobbled(-figures, seed)) == 0
    assert first_of_greatest(np.array([0.0, -1.0, 0.0])) == 0
    assert first_of_greatest(np.array([-1.0, 1e-6, 2e-6])) == 2


def test_the_proof_sheet_is_the_same_on_every_processor(run_cli: RunCli, tmp_path: Path) -> None:
    """A sheet printed on one computer is filled in and judged on another, by its row's names."""
    (tmp_path / "job.toml").write_text(CROOKED, "utf-8")
    sheets = []
    for kernel in ("", *kernels()):
        env = {"OPENBLAS_CORETYPE": kernel} if kernel else {}
        done = run_cli("prove", "--job", tmp_path, "--json", env=env)
        assert done.returncode == 0, done.stderr
        told = json.loads(done.stdout)["distances"]
        sheets.append([(one["id"], np.round(one["ends"], 6).tolist()) for one in told])
    assert all(sheet == sheets[0] for sheet in sheets)


def test_a_kernel_that_is_asked_for_is_the_one_that_runs() -> None:
    """Else the test above compares a processor with itself: OpenBLAS says which core it took."""
    script = (
        "import ctypes, glob, os, numpy\n"
        "(found,) = glob.glob(os.path.dirname(numpy.__file__) + '.libs/*openblas*')\n"
        "ask = ctypes.CDLL(found).scipy_openblas_get_corename64_\n"
        "ask.restype = ctypes.c_char_p\n"
        "print(ask().decode())\n"
    )
    for kernel in kernels():
        done = subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "OPENBLAS_CORETYPE": kernel},
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout.strip() == kernel


def test_the_forecast_imagines_the_same_covers_whichever_way_eigenvectors_point(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan, seen, datum = set_out_by_tape("flatbed-24x36", 152.4, 0)
    plain = forecast(plan, seen, READING_SD, Allowed(1.5), 1, datum)
    eigh = np.linalg.eigh
    monkeypatch.setattr(np.linalg, "eigh", lambda matrix: (eigh(matrix)[0], -eigh(matrix)[1]))
    assert forecast(plan, seen, READING_SD, Allowed(1.5), 1, datum) == plain


@pytest.mark.parametrize("seed", range(8))
def test_a_picture_without_keystone_gives_one_and_the_same_rectangle(seed: int) -> None:
    # A lower arm fits into it at any height, equally well.
    corners = np.array([[-700.0, -400.0], [700.0, -400.0], [700.0, 400.0], [-700.0, 400.0]])
    box = largest_upright(wobbled(corners, seed), 500.0)
    assert box == pytest.approx((-700.0, -400.0, 700.0, 100.0), abs=1e-6)


@pytest.mark.parametrize("seed", range(8))
def test_of_sides_that_would_close_a_survey_equally_well_the_same_is_named(seed: int) -> None:
    measured = np.array([3000.0, 3000.0, 1600.0, 1600.0, 3400.0, 3420.0])
    closing = np.array([9.0, 9.0, 17.0, 17.0, 20.0, -20.0])
    found = Adjustment(measured, measured, np.full(6, 0.5), closing, 20.0, 12.0)
    # The closings are quotients of small differences, so more than their last bits is rounding.
    rounding = np.random.default_rng(seed).uniform(-1e-10, 1e-10, 6)
    said = _which_again(replace(found, closing=closing + rounding), "mm")
    assert f"Measure {SIDES[4]} again" in said
    assert said == _which_again(found, "mm")


def test_what_many_lines_allow_hangs_on_no_last_bits() -> None:
    # Unknowns that are equally sure have no eigenvectors of their own: rounding chooses some.
    rng = np.random.default_rng(5)
    rows, rounding = rng.normal(size=(40, 6)), 1e-14 * rng.normal(size=(6, 6))
    told = many_lines(rows, np.eye(6))
    assert many_lines(rows, np.eye(6) + rounding + rounding.T) == pytest.approx(told, rel=1e-9)
