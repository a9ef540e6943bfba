"""Interpreters of plotter programs that no one here wrote, and how two drawings differ.

hp2xx 3.4.4 (Debian) turns HP-GL into DXF at true size, which ezdxf reads; ezdxf's HPGL/2 add-on
records the same plot in plotter units. Both take a unit for 0.025 mm, so coordinates are compared
in units, and the machine's own unit makes millimetres of them. pygcode (PyPI) reads G-code.
"""

from __future__ import annotations

import math
import re
import subprocess
from typing import TYPE_CHECKING, Any

import ezdxf
import numpy as np
from ezdxf.addons.hpgl2 import api as hpgl2
from ezdxf.addons.hpgl2.backend import RecordType
from pygcode import Line as GcodeLine
from pygcode import Machine
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from marking.arrays import FloatArray

    Drawn = dict[int, FloatArray]
    """Segments (n, 2 ends, 2) in plotter units by pen holder."""
    Window = tuple[tuple[int, int], tuple[int, int]]

HALF_UNIT = 0.5
"""Rule 9 of the design: coordinates are within half a unit of exact. Nothing is added for the
interpreters: both are given whole units and what they print leads back to them."""
ARITHMETIC = 1e-6
"""What float64 may lose, in units or mm, between a table point and its device coordinate."""
INTERPRETER_MM = 0.025
"""What hp2xx (`-t`: 1 HP unit = 1/40 mm) and ezdxf (1 plu = 0.025 mm) hold a unit for."""
_DEVICE_CONTROL = re.compile(rb"\x1b\.(?:[@HIMNPQRST][\d;]*:|[A-GJ-LOU-Z()])")
"""Escape sequences, which go past the HP-GL interpreter (HP 7470A manual, chapter 10): those that
set something have parameters and end with a colon, the rest are one letter."""
_QUESTIONS = re.compile(rb"O[AES];")
"""Output instructions: they draw nothing, and no file has anybody to answer to."""


def hp2xx_draws(program: bytes, window: Window, folder: Path) -> Drawn:
    """What hp2xx draws, clipped to `window`: least and greatest corner, in units.

    `-t` keeps the true size and -x -X -y -Y the zero; `-S 1` colours a line by its pen. The DXF
    has six significant digits, which is less than half a unit up to 12 m, so rounding to whole
    units recovers what hp2xx read.
    """
    (x0, y0), (x1, y1) = window
    (folder / "plot.hpgl").write_bytes(program)
    ranges = ["-x", str(x0), "-X", str(x1), "-y", str(y0), "-Y", str(y1)]
    done = subprocess.run(
        ["hp2xx", "-q", "-t", *ranges, "-S", "1", "-m", "dxf", "-f", "plot.dxf", "plot.hpgl"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == "", f"hp2xx says {done.stderr}"
    by_pen: dict[int, list[Any]] = {}
    for entity in ezdxf.readfile(folder / "plot.dxf").modelspace():
        assert entity.dxftype() == "LINE"
        ends = [entity.dxf.start.vec2, entity.dxf.end.vec2]
        by_pen.setdefault(entity.dxf.color, []).append(ends)
    return {pen: _whole_units(lines, (x0, y0)) for pen, lines in by_pen.items()}


def _whole_units(lines_mm: Sequence[Any], zero: tuple[int, int]) -> FloatArray:
    units = np.array(lines_mm, dtype=float) / INTERPRETER_MM
    printed = 0.5 * 10.0 ** (math.floor(math.log10(units.max() * INTERPRETER_MM)) - 5)
    assert np.abs(units - np.rint(units)).max() <= printed / INTERPRETER_MM + ARITHMETIC
    return np.rint(units) + zero


def ezdxf_draws(program: bytes) -> Drawn:
    """What ezdxf's HPGL/2 add-on records; it wants the escape that enters HPGL/2 first.

    It does not know IN and IW, so it clips nothing.
    """
    player = hpgl2.record_plotter_output(b"\x1b%1B" + program, hpgl2.MergeControl.NONE)
    by_pen: dict[int, list[FloatArray]] = {}
    for kind, properties, data in player.recordings():
        assert kind is RecordType.POLYLINE
        points = np.array([(vertex.x, vertex.y) for vertex in data.vertices()])
        by_pen.setdefault(properties.pen_index, []).append(
            np.stack([points[:-1], points[1:]], axis=1)
        )
    return {pen: np.concatenate(lines) for pen, lines in by_pen.items()}


def plain_hpgl(sent: bytes) -> bytes:
    """What of the bytes sent to a plotter its HP-GL interpreter is to draw."""
    plain = _QUESTIONS.sub(b"", _DEVICE_CONTROL.sub(b"", sent))
    assert b"\x1b" not in plain
    return plain


def plain_gcode(sent: bytes) -> bytes:
    """What of the bytes sent to a gantry is G-code.

    Grbl 1.1's interface.md: `?`, `!`, `~` and Ctrl-X are taken out wherever they stand, and a line
    that begins with `$` is for the firmware.
    """
    lines = re.sub(rb"[?!~\x18]", b"", sent).splitlines()
    return b"\n".join(line for line in lines if not line.startswith(b"$"))


def pygcode_draws(program: bytes, down_below: float = 1.0) -> FloatArray:
    """Every move (n, 2 ends, 2) that pygcode makes below a Z of `down_below` mm; mm."""
    machine = Machine()
    drawn = []
    for text in program.decode("ascii").splitlines():
        before = machine.pos
        machine.process_block(GcodeLine(text).block)
        after = machine.pos
        start, end = (before.X, before.Y), (after.X, after.Y)
        if down_below > before.Z and down_below > after.Z and start != end:
            drawn.append((start, end))
    return np.array(drawn, dtype=float)


def _uphill(lines: FloatArray) -> FloatArray:
    """The same lines (n, 4), each from its lesser end: direction does not show on the cloth."""
    turned = lines[:, ::-1]
    first, last = lines[:, 0], lines[:, 1]
    back = (first[:, 0] > last[:, 0]) | ((first[:, 0] == last[:, 0]) & (first[:, 1] > last[:, 1]))
    return np.where(back[:, None, None], turned, lines).reshape(-1, 4)


def differences(wanted: FloatArray, drawn: FloatArray, tolerance: float) -> list[str]:
    """How two collections of segments differ, each with its multiplicity; empty when equal."""
    each, times = np.unique(_uphill(wanted).round(6), axis=0, return_counts=True)
    tree = cKDTree(each)
    ways = np.stack([drawn.reshape(-1, 4), drawn[:, ::-1].reshape(-1, 4)])
    far, nearest = tree.query(ways, p=np.inf)
    better = far.argmin(axis=0)
    index = np.arange(len(drawn))
    far, nearest = far[better, index], nearest[better, index]
    found = [f"extra: {line.tolist()}" for line in drawn[far > tolerance]]
    count = np.bincount(nearest[far <= tolerance], minlength=len(each))
    return found + [
        f"{line.tolist()}: drawn {n} times, wanted {k}"
        for line, n, k in zip(each, count, times, strict=True)
        if n != k
    ]
