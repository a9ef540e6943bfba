"""How far off a cover is that was marked before: total, square, neighbours and its numbers.

Each line is judged by itself, since a hand rules each by itself; one tape is behind all readings,
and its doubt with them. A figure of several readings moves with each by finite differences. It
knows readings and limits, no file. Millimetres; plus is to the far end and to the far edge.
"""

from __future__ import annotations

import math
from difflib import SequenceMatcher
from functools import partial
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct

from marking.marked_before.readings import DOWN, SIDES, UP, numbers_meant, spots
from marking.measures.tape import reading_covariance, true_length
from marking.proof.outcome import furthest, many_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.marked_before.readings import Found, Meant
    from marking.measures.tape import Tape
    from marking.proof.limits import Limit, Limits
    from marking.proof.outcome import Furthest, ProofOutcome

    LengthsByName = Mapping[str, float]
    Figure = tuple[str, Sequence[str], Callable[[LengthsByName], float]]
    """What it is called, the readings that it is made of, and how."""

Advice = Literal["keep", "keep with the card", "replace", "measure again", "cannot tell"]
_COUNTED = 0.6
"""Share of a pitch past which an error is a number that stands wrong: nobody rules so badly."""
_MISREAD = 4.5
"""Standard deviations past which the two diagonals contradict each other."""
_BEARABLE = 2.0
"""Times what is allowed up to which a card of known errors serves: our judgement, no source."""
_SMALL = 0.01


class OffLine(Struct, frozen=True):
    """One measured line: how far it is off, by its own number."""

    id: str
    error: float
    sd: float
    pitches: int
    """How many pitches its numeral counts too many; 0 where it counts right."""


class FoundLimit(Struct, frozen=True):
    """What is told of one limit; `where` it is furthest off."""

    limit: Limit
    outcome: ProofOutcome
    furthest: Furthest
    where: str
    value: float
    sd: float


class OffCover(Struct, frozen=True):
    """What the readings say of the cover."""

    lines: tuple[OffLine, ...]
    limits: tuple[FoundLimit, ...]
    lean: tuple[float, float] | None
    """The zero line's, over the width, and its standard deviation; None without both diagonals."""
    contradicted: bool
    """Whether the diagonals, the edges and the widths cannot all be right."""
    numbers: tuple[str, ...]
    """What is wrong with the numerals, in words."""
    advice: Advice


def off_cover(meant: Meant, found: Found, tape: Tape, limits: Limits) -> OffCover:
    """How far off the cover is by what was read."""
    ids = list(found.shown)
    shown = np.array([found.shown[name] for name in ids])
    lengths = {name: true_length(found.shown[name], tape) for name in ids}
    covariance = reading_covariance(shown, tape)
    lines = tuple(_lines(meant, lengths, np.sqrt(np.diag(covariance)).tolist()))
    pitches = {line.id: line.pitches * meant.layout.grid.pitch[0] for line in lines}
    # A number that stands wrong is one fault; what is left of the line's error is another.
    counted = {name: length + pitches.get(name, 0.0) for name, length in lengths.items()}
    lean, contradicted = _lean(meant, counted, covariance)
    judged = []
    for limit in limits:
        figures = list(_FIGURES[limit.name](meant, counted, limit))
        if figures:
            judged.append(_judged(limit, figures, counted, covariance))
    wrong = tuple(_numbers(meant, found, lines))
    advice = _advice(judged, wrong, contradicted=contradicted)
    return OffCover(lines, tuple(judged), lean, contradicted, wrong, advice)


def _lines(meant: Meant, lengths: LengthsByName, sds: Sequence[float]) -> Iterator[OffLine]:
    known, pitch = spots(meant), meant.layout.grid.pitch[0]
    for (name, length), sd in zip(lengths.items(), sds, strict=True):
        spot = known[name]
        if spot.kind == "diagonal":
            continue
        error = length - spot.nominal
        short = -error / pitch
        pitches = round(short) if spot.kind == "line" and abs(short) > _COUNTED else 0
        yield OffLine(name, error + pitches * pitch, sd, pitches)


def _spread(
    names: Sequence[str], figure: Callable[[LengthsByName], float], at: LengthsByName
) -> FloatArray:
    """(n,): how a figure moves with each length, of which it is made of those named."""
    now, moved = figure(at), np.zeros(len(at))
    for place, name in enumerate(at):
        if name in names:
            moved[place] = (figure({**at, name: at[name] + _SMALL}) - now) / _SMALL
    return moved


def _judged(
    limit: Limit, figures: Sequence[Figure], lengths: LengthsByName, covariance: FloatArray
) -> FoundLimit:
    rows = np.array([_spread(names, figure, lengths) for _, names, figure in figures])
    values = np.array([figure(lengths) for *_, figure in figures])
    sds = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, covariance, rows), 0.0))
    worst = furthest(values, sds, many_lines(rows, covariance))
    return FoundLimit(
        limit,
        worst.outcome(limit.allowed),
        worst,
        figures[worst.line][0],
        float(values[worst.line]),
        float(sds[worst.line]),
    )


def _total(meant: Meant, lengths: LengthsByName, limit: Limit) -> Iterator[Figure]:
    del limit
    known = spots(meant)
    for name in lengths:
        spot = known[name]
        if spot.kind != "diagonal":
            yield name, (name,), partial(_over, name, spot.nominal)


def _neighbours(meant: Meant, lengths: LengthsByName, limit: Limit) -> Iterator[Figure]:
    del limit
    pitch = meant.layout.grid.pitch[0]
    for side in SIDES:
        for n in range(1, meant.last):
            one, two = meant.line(side, n), meant.line(side, n + 1)
            if one in lengths and two in lengths:
                yield f"{one} to {meant.reads(n + 1)}", (one, two), partial(_gap, one, two, pitch)


def _square(meant: Meant, lengths: LengthsByName, limit: Limit) -> Iterator[Figure]:
    corners = _corners(meant)
    if not set(corners) <= set(lengths):
        return
    long_lines = meant.layout.grid.long_lines
    wide = long_lines[-1].y - long_lines[0].y
    share = min(1.0, limit.over / wide)
    yield f"line {meant.reads(0)}", corners, partial(_square_of, meant, share, ())
    for n in range(1, meant.last + 1):
        near, far = (meant.line(side, n) for side in SIDES)
        if near in lengths and far in lengths:
            made = partial(_square_of, meant, share, (near, far))
            yield f"line {meant.reads(n)}", (*corners, near, far), made


def _over(name: str, true: float, at: LengthsByName) -> float:
    return at[name] - true


def _gap(one: str, two: str, pitch: float, at: LengthsByName) -> float:
    return at[two] - at[one] - pitch


def _square_of(meant: Meant, share: float, line: tuple[str, ...], at: LengthsByName) -> float:
    """A line's lean, of the zero line itself where no `line` is named by its two readings."""
    own = at[line[1]] - at[line[0]] if line else 0.0
    return share * (_leans(meant, at)[0] + own)


def _none(meant: Meant, lengths: LengthsByName, limit: Limit) -> Iterator[Figure]:
    del meant, lengths, limit
    yield from ()


_FIGURES = {
    "total": _total,
    "square": _square,
    "neighbours": _neighbours,
    "step": _none,
    "straight": _none,
}


def _corners(meant: Meant) -> tuple[str, ...]:
    near_end, far_end = (meant.line(side, meant.last) for side in SIDES)
    far = meant.layout.grid.long_lines[-1].id
    return near_end, far_end, f"{far}-zero", f"{far}-end", UP, DOWN


def _leans(meant: Meant, at: LengthsByName) -> tuple[float, float]:
    """How far the zero line's far end lies towards the far end, by either diagonal."""
    near, far, zero, end, up, down = (at[name] for name in _corners(meant))
    by_up = math.sqrt(max(up**2 - end**2, 0.0)) - far
    by_down = near - math.sqrt(max(down**2 - zero**2, 0.0))
    return (by_up + by_down) / 2, by_up - by_down


def _by_diagonals(meant: Meant, k: int, at: LengthsByName) -> float:
    return _leans(meant, at)[k]


def _lean(
    meant: Meant, lengths: LengthsByName, covariance: FloatArray
) -> tuple[tuple[float, float] | None, bool]:
    if not set(_corners(meant)) <= set(lengths):
        return None, False
    corners = _corners(meant)
    rows = np.array([_spread(corners, partial(_by_diagonals, meant, k), lengths) for k in (0, 1)])
    sds = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    lean, apart = _leans(meant, lengths)
    return (lean, float(sds[0])), abs(apart) > _MISREAD * float(sds[1])


def _numbers(meant: Meant, found: Found, lines: Sequence[OffLine]) -> Iterator[str]:
    for side, numbers in numbers_meant(meant.layout).items():
        if side in found.numbers:
            yield from _compared(side, numbers, found.numbers[side])
    wrong = [line for line in lines if line.pitches]
    if wrong:
        shown = ", ".join(line.id for line in wrong[:6]) + (", …" if len(wrong) > 6 else "")
        count = wrong[0].pitches * meant.numerals.per_line
        yield (
            f"from {wrong[0].id} on, numerals count {abs(count)} "
            f"{'too many' if count > 0 else 'too few'} for where their lines stand ({shown})"
        )


def _compared(side: str, meant: Sequence[str], stands: Sequence[str]) -> Iterator[str]:
    for what, i0, i1, j0, j1 in SequenceMatcher(None, meant, stands, autojunk=False).get_opcodes():
        missing, there = ", ".join(meant[i0:i1]), ", ".join(stands[j0:j1])
        if what == "delete":
            yield f"{side}: {missing} is left out"
        elif what == "insert":
            before = stands[j0 - 1] if j0 else "the beginning"
            yield f"{side}: {there} stands once too often, after {before}"
        elif what == "replace":
            yield f"{side}: {there} stands where {missing} should"


def _advice(judged: Sequence[FoundLimit], wrong: Sequence[str], *, contradicted: bool) -> Advice:
    asked = [one for one in judged if one.limit.asked]
    if contradicted:
        return "measure again"
    if wrong or any(one.furthest.at_least > _BEARABLE * one.limit.allowed for one in asked):
        return "replace"
    told = {one.limit.name for one in asked}
    if any(one.outcome == "fail" for one in asked):
        return "keep with the card"
    whole = {"total", "square"} <= told and all(one.outcome == "pass" for one in asked)
    return "keep" if whole else "cannot tell"
