"""A layout, a division and tape marks as plain data and back, exact to the last bit.

It owns the names that the kept data goes by: a class or a field may be renamed, its name here may
not, since job folders hold it. It knows no record and no file.
"""

from __future__ import annotations

import json
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

from marking.errors import BadInputError, shortened
from marking.layout.hems import FoldLine
from marking.layout.layout import Grid, Layout, Margins, PlacedNumeral, Stroke
from marking.layout.lines import LongLine
from marking.layout.numerals import Legibility, Neighbours, Numeral
from marking.layout.survey import Adjustment, Top
from marking.measures.tape import Tape
from marking.network.fence import Clamping
from marking.sections.footing import Footing
from marking.sections.locating_marks import Mark
from marking.sections.plan import Piece, Plan, Section, Unreached
from marking.sections.route import Leg, Route
from marking.sections.ruled import RuledLine
from marking.sections.zones import Zone, ZonePace
from marking.tape_marks.marks import Diagonals, Square, TapeMark, TapeMarks, TapeRow, TapeRun

if TYPE_CHECKING:
    from msgspec import Struct

_FORMS: dict[str, type[Struct]] = {
    "stroke": Stroke,
    "placed numeral": PlacedNumeral,
    "numeral": Numeral,
    "grid": Grid,
    "long line": LongLine,
    "margins": Margins,
    "legibility": Legibility,
    "neighbours": Neighbours,
    "fold line": FoldLine,
    "top": Top,
    "adjustment": Adjustment,
    "layout": Layout,
    "zone": Zone,
    "pace": ZonePace,
    "footing": Footing,
    "mark": Mark,
    "piece": Piece,
    "leg": Leg,
    "route": Route,
    "section": Section,
    "unreached": Unreached,
    "ruled line": RuledLine,
    "division": Plan,
    "control": TapeMarks,
    "control mark": TapeMark,
    "control row": TapeRow,
    "tape run": TapeRun,
    "square": Square,
    "diagonals": Diagonals,
    "clamping": Clamping,
    "tape": Tape,
}
_NAMES = {form: name for name, form in _FORMS.items()}
_RENAMED = {"section": {"witness": "locating_marks"}}
"""By form: what a field is called now, by its name in the data, where the two differ."""
_FORM, _ARRAY = "is", "array"
_LARGEST, _MOST_SHRUNK = 64_000_000, 60
"""Bytes of a layout or a division, and how many of them a byte of what is kept may stand for: a
bench comes to 1,000,000 and 10, and data that is made to fill the memory to 1,000."""


def packed(thing: Layout | Plan) -> bytes:
    """`thing` as it is kept: JSON, in which floats come back as they went in, compressed."""
    return zlib.compress(json.dumps(plain(thing), separators=(",", ":")).encode("ascii"), 9)


def unpacked_layout(data: bytes) -> Layout:
    """The layout that `packed` made into `data`. Raises BadInputError for anything else."""
    thing = _unpacked(data)
    if not isinstance(thing, Layout):
        raise _unreadable(type(thing).__name__)
    return thing


def unpacked_division(data: bytes) -> Plan:
    """The division that `packed` made into `data`. Raises BadInputError for anything else."""
    thing = _unpacked(data)
    if not isinstance(thing, Plan):
        raise _unreadable(type(thing).__name__)
    return thing


def plain(thing: Any) -> Any:
    """Values, arrays and tuples as dicts and lists, each dict saying what it is."""
    if isinstance(thing, np.ndarray):
        return {_FORM: _ARRAY, "of": thing.tolist(), "shape": list(thing.shape)}
    if isinstance(thing, tuple | list):
        return [plain(one) for one in thing]
    if isinstance(thing, np.generic):
        return thing.item()
    if thing is None or isinstance(thing, str | int | float):
        return thing
    name = _NAMES[type(thing)]
    now = {field: key for key, field in _RENAMED.get(name, {}).items()}
    held = {now.get(key, key): plain(getattr(thing, key)) for key in thing.__struct_fields__}
    return {_FORM: name, **held}


def from_plain(data: Any) -> Any:
    """What `plain` made into `data`; lists come back as tuples."""
    if isinstance(data, list):
        return tuple(map(from_plain, data))
    if not isinstance(data, dict):
        return data
    name = data[_FORM]
    if name == _ARRAY:
        return np.array(data["of"], dtype=np.float64).reshape(data["shape"])
    renamed = _RENAMED.get(name, {})
    held = {renamed.get(key, key): from_plain(one) for key, one in data.items() if key != _FORM}
    form = _FORMS[name]
    return form(**{key: held[key] for key in form.__struct_fields__ if key in held})


def _unpacked(data: bytes) -> Any:
    try:
        return from_plain(json.loads(_inflated(data)))
    except (LookupError, TypeError, ValueError, AttributeError, RecursionError) as fault:
        raise _unreadable(shortened(repr(fault))) from None


def _inflated(data: bytes) -> bytes:
    """What was compressed. Raises ValueError for more than any layout comes to."""
    inflating = zlib.decompressobj()
    most = min(_LARGEST, _MOST_SHRUNK * len(data) + 100_000)
    try:
        whole = inflating.decompress(data, most)
    except zlib.error as fault:
        raise ValueError(str(fault)) from None
    if not inflating.eof:
        raise ValueError(f"cut short, or over {most} bytes")
    return whole


def _unreadable(said: str) -> BadInputError:
    return BadInputError(f"neither a layout nor a division ({said})")
