"""A value as a person would type it: in the job's unit, as short as it is true."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marking.measures.durations import format_duration
from marking.measures.lengths import format_length, parse_length

if TYPE_CHECKING:
    from devices.bench.fields.field import Kind
    from marking.measures.lengths import Units

_FINE = 0.02
"""Share of a length that a tape's fraction may be off before it is given in millimetres."""


def as_typed(value: Any, kind: Kind, units: Units) -> Any:
    """A value of the model as its field shows it."""
    if isinstance(value, tuple):
        return [_one_of(each, units) for each in value]
    if isinstance(value, bool) or not isinstance(value, float):
        return value
    if kind == "length":
        return _length(value, units)
    if kind == "time":
        return format_duration(value)
    if kind == "speed":
        return f"{_short(value / 25.4)} in/s" if units == "in" else f"{value:g} mm/s"
    if kind == "run":
        return f"{_short(value / 304.8)} ft" if units == "in" else f"{value / 1000:g} m"
    return f"{100 * value:g} %" if kind == "share" else value


def _short(value: float) -> str:
    """Its first three figures, and no power of ten."""
    return f"{float(f'{value:.3g}'):g}"


def _one_of(value: Any, units: Units) -> Any:
    """One value of a list: a hem that is folded, a length, or a word or figure as it is."""
    if hasattr(value, "depth"):
        return f"{value.kind} {_length(value.depth, units)}"
    return _length(value, units) if isinstance(value, float) else value


def _length(value: float, units: Units) -> str:
    shown = format_length(value, units)
    near = parse_length(shown) if value >= 0 else value
    return f"{value:g} mm" if abs(near - value) > _FINE * abs(value) else shown
