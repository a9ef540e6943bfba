"""Ink by where its device stood: a section begun, moved and gone on with lies by two placements.

What ink was laid by which placement is told by the poses that both were kept with and by the
order of rows, never by a clock, which may be set back. It knows the record and where strokes
lie, no network. Table frame, millimetres.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.sections.mended import section_mended
from marking.sections.neighbours import Butt

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.arrays import FloatArray
    from marking.network.network import KnownMark, Setup
    from marking.record.record import Record
    from marking.record.rows import KeptPlacement, KeptRun
    from marking.sections.plan import Section

_STANCE = " stance "
_TOUCHES = 0.01
"""mm from a stroke within which a mark or the end of a line is part of it."""
_STRAIGHT = 0.99
"""Cosine of the angle to an axis up to which a line runs along it."""
_ALONG, _ACROSS = np.array([1.0, 0.0]), np.array([0.0, 1.0])
"""The ways of a long line and of a cross line."""


class LaidInk(Struct, frozen=True):
    """What of a section was inked while its device stood in one place."""

    name: str
    """The section's id for where it stood last; before that, the id and the number of the place."""
    section: str
    placement: KeptPlacement | None
    """What it was placed by; None where nothing is kept of it."""
    strokes: frozenset[str] | None
    """Every stroke that was sent there, drawn or perhaps drawn; None for the whole section."""


def section_of(name: str) -> str:
    """The id of the section whose ink is named so."""
    return name.partition(_STANCE)[0]


def stances(record: Record) -> dict[str, tuple[LaidInk, ...]]:
    """Where the device of each section begun stood while it inked, first to last; no mends."""
    placed: dict[str, list[KeptPlacement]] = {}
    for placement in record.placements():
        placed.setdefault(placement.section, []).append(placement)
    runs: dict[str, list[KeptRun]] = {}
    for run in record.runs():
        runs.setdefault(run.section, []).append(run)
    sent: dict[int, set[str]] = {}
    for kept in record.strokes():
        sent.setdefault(kept.run, set()).add(kept.stroke)
    # What is laid anew lies by marks around it, and places nothing else.
    begun = dict.fromkeys(
        ink.section for ink in record.ink() if section_mended(ink.section) is None
    )
    return {
        section: _of_one(section, placed.get(section, []), runs.get(section, []), sent)
        for section in begun
    }


def _of_one(
    section: str,
    placed: Sequence[KeptPlacement],
    runs: Sequence[KeptRun],
    sent: Mapping[int, set[str]],
) -> tuple[LaidInk, ...]:
    last = placed[-1] if placed else None
    if not runs:
        return (LaidInk(section, section, last, None),)
    found: list[tuple[KeptPlacement | None, set[str]]] = []
    same = _where_it_stood(placed)
    for run in runs:
        by, strokes = inked_by(run, placed), sent.get(run.id, set())
        by = by and same[by.id]
        if found and found[-1][0] == by:
            found[-1][1].update(strokes)
        else:
            found.append((by, set(strokes)))
    # A place where no stroke was sent holds no ink; the last is where the device stands now.
    held = [one for one in found[:-1] if one[1]]
    if not held:
        return (LaidInk(section, section, found[-1][0], None),)
    earlier = [
        LaidInk(f"{section}{_STANCE}{count + 1}", section, by, frozenset(strokes))
        for count, (by, strokes) in enumerate(held)
    ]
    return (*earlier, LaidInk(section, section, found[-1][0], frozenset(found[-1][1])))


def _where_it_stood(placed: Sequence[KeptPlacement]) -> dict[int, KeptPlacement]:
    """By placement the last that was made of the same place, its device not moved: verniers were
    read that it had drawn by the one before."""
    same = {one.id: one for one in placed}
    for before, after in reversed(list(itertools.pairwise(placed))):
        detail = after.detail if isinstance(after.detail, dict) else {}
        earlier = before.detail if isinstance(before.detail, dict) else {}
        pose = earlier.get("inked_with", before.pose)
        if detail.get("steps") and detail.get("halves") == pose:
            same[before.id] = same[after.id]
    return same


def inked_by(run: KeptRun, placed: Sequence[KeptPlacement]) -> KeptPlacement | None:
    """The placement, of those of the run's section, whose pose the run inked with."""
    for placement in reversed(placed):
        detail = placement.detail if isinstance(placement.detail, dict) else {}
        if run.pose in (detail.get("inked_with"), placement.pose):
            return placement
    return placed[-1] if placed else None


def laid_at(
    point: tuple[float, float],
    section: Section,
    several: Sequence[LaidInk],
    along: FloatArray | None = None,
) -> list[str]:
    """Under which names the lines of `section` through a table point were inked, first to last.

    Of all lines, or of those that run `along` (2,), a unit vector.
    """
    through = {
        piece.stroke.id
        for piece in section.pieces
        if _passes(np.asarray(point), piece.stroke.points, along)
    }
    return [one.name for one in several if one.strokes is None or through & one.strokes]


def _passes(point: FloatArray, line: FloatArray, along: FloatArray | None) -> bool:
    """Whether a line (n, 2) passes a point (2,), and there runs `along`."""
    starts, runs = line[:-1], np.diff(line, axis=0)
    lengths = np.maximum(np.linalg.norm(runs, axis=1), 1e-6)
    reached = np.clip(((point - starts) * runs).sum(axis=1) / lengths**2, 0.0, 1.0)
    off = np.linalg.norm(starts + reached[:, None] * runs - point, axis=1)
    straight = True if along is None else np.abs(runs @ along) > _STRAIGHT * lengths
    return bool(((off < _TOUCHES) & straight).any())


def attributed(
    targets: Mapping[str, KnownMark],
    sections: Iterable[Section],
    begun: Mapping[str, Sequence[LaidInk]],
) -> tuple[dict[str, KnownMark], dict[str, str]]:
    """Each mark by the place whose ink it is; and those that are no one mark, with their section.

    A mark's x is its cross line's, its y that of the line or the tick across it. A line sent from
    two places may lie there twice: from then on its marks cannot be read.
    """
    found, mixed = dict(targets), {}
    by_id = {section.id: section for section in sections}
    for name, target in targets.items():
        by = target.inked_by
        if by is None or len(begun.get(by, ())) < 2:
            continue
        at, section, several = target.mark.at_table, by_id[by], begun[by]
        cross, long = (laid_at(at, section, several, axis) for axis in (_ACROSS, _ALONG))
        if len(cross) > 1 or len(long) > 1:
            mixed[name] = by
        # Whoever read a mixed one did so while it was the first place's ink alone.
        x, y = cross[:1] or long[:1] or [by], long[:1] or cross[:1] or [by]
        found[name] = replace(target, inked_by=x[0], crossed_by=y[0] if y != x else None)
    return found, mixed


def butts_as_laid(
    joints: Sequence[Butt], sections: Iterable[Section], begun: Mapping[str, Sequence[LaidInk]]
) -> tuple[Butt, ...]:
    """The joins with each end of a line under the name of the place it was inked from."""
    by_id = {section.id: section for section in sections}
    found: list[Butt] = []
    for butt in joints:
        moved = [name for name in butt.sections if len(begun.get(name, ())) > 1]
        if not moved:
            found.append(butt)
            continue
        for point in butt.points_table:
            at = (float(point[0]), float(point[1]))
            one, two = (
                (laid_at(at, by_id[name], begun[name]) if name in moved else []) or [name]
                for name in butt.sections
            )
            found += [Butt((a, b), point[None]) for a in one for b in two]
    return tuple(found)


def set_apart(
    section: str, targets: Iterable[KnownMark], setups: Iterable[Setup], begun: Sequence[LaidInk]
) -> tuple[tuple[KnownMark, ...], tuple[Setup, ...], str]:
    """The same with the section's own ink under a name of its own, so that it can be placed anew.

    The name comes last.
    """
    own = f"{section}{_STANCE}{len(begun)}"
    return (
        tuple(
            replace(
                t,
                inked_by=own if t.inked_by == section else t.inked_by,
                crossed_by=own if t.crossed_by == section else t.crossed_by,
            )
            for t in targets
        ),
        tuple(replace(s, section=own) if s.section == section else s for s in setups),
        own,
    )
