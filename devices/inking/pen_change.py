"""When a run has to stop for a pen: another one in the same holder, or a new one for a spent one.

It owns the order of strokes by pens and what a filling lasts for; it must not know how anything
is sent, nor who is asked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from devices.dialects.writer import PenUse
    from marking.job.keys import PensTable
    from marking.record.rows import KeptStroke
    from marking.sections.plan import Section

_Tip = tuple[int, bool]
"""A holder, and whether the marks of the pen in it come out again."""


@dataclass(frozen=True)
class PenStretch:
    """Strokes to ink in one go, and what a person has to agree to before the first of them."""

    questions: tuple[str, ...]
    strokes: tuple[PenUse, ...]
    new_pen: bool = False
    """Whether one that inks is put in for a spent one."""


def stretches(
    section: Section,
    todo: Sequence[PenUse],
    pens: PensTable,
    spent: dict[int, float],
    last: Mapping[int, str],
) -> Iterator[PenStretch]:
    """`todo`, pen by pen, cut where a person has to change one.

    `spent` is the mm of line that each holder's pens have drawn in this job, `last` the pen that
    drew last out of each (`last_by_slot`).
    """
    left: dict[int, float] = {}
    held: dict[int, _Tip] = {}
    before = {slot: _tip(name, pens) for slot, name in last.items()}
    lengths = {
        piece.stroke.id: piece.stroke.length * piece.stroke.times(pens.named(piece.stroke.pen))
        for piece in section.pieces
    }
    questions: list[str] = []
    strokes: list[PenUse] = []
    new = False
    for stroke in _tip_by_tip(todo, pens):
        pen = pens.named(stroke.pen)
        tip = _tip(stroke.pen, pens)
        asked: list[str] = []
        spent_one = False
        # A section of ink alone may come after one that ended with the removable pen.
        other = _shared(pen.slot, section, pens) or before.get(pen.slot, tip) != tip
        if held.get(pen.slot) != tip and other:
            asked.append(f"Holder {pen.slot} needs the pen for {stroke.pen}. Is it in?")
        held[pen.slot] = tip
        if pen.ink_length is not None:
            left.setdefault(pen.slot, pen.ink_length - spent.get(pen.slot, 0.0) % pen.ink_length)
            need = lengths[stroke.id]
            if left[pen.slot] < need:
                asked.append(f"Put a new pen into holder {pen.slot}. Is it in?")
                spent_one = True
                left[pen.slot] = pen.ink_length
            left[pen.slot] -= need
        if asked and strokes:
            yield PenStretch(tuple(questions), tuple(strokes), new)
            questions, strokes, new = [], [], False
        questions += asked
        new = new or (spent_one and stroke.pen != "removable")
        strokes.append(stroke)
    if strokes:
        yield PenStretch(tuple(questions), tuple(strokes), new)


def parted(section: Section, pens: PensTable) -> tuple[Section, Section | None]:
    """`section` without its removable strokes, and these by themselves, where one holder has to
    take both pens: no file can wait for a person. Else the whole of it, and None.
    """
    if not _shared(pens.removable.slot, section, pens):
        return section, None
    return _of_pen(section, removable=False), _of_pen(section, removable=True)


def _of_pen(section: Section, *, removable: bool) -> Section:
    pieces, legs = [], []
    goes_on = False
    for piece, leg in zip(section.pieces, section.route.legs, strict=True):
        kept = (piece.stroke.pen == "removable") == removable
        if kept:
            pieces.append(piece)
            # What it was joined to may be in the other part.
            legs.append(replace(leg, joined=leg.joined and goes_on))
        goes_on = kept
    route = replace(section.route, legs=tuple(legs))
    return replace(section, pieces=tuple(pieces), route=route)


def spent_by_slot(
    sections: Iterable[Section], pens: PensTable, kept: Iterable[KeptStroke]
) -> dict[int, float]:
    """mm of line that each holder's pens have drawn, by what is kept of the strokes."""
    from devices.session.progress import inked_by_slot

    drawn: dict[str, set[str]] = {}
    for event in kept:
        if event.event != "sent":
            drawn.setdefault(event.section, set()).add(event.stroke)
    spent: dict[int, float] = {}
    for section in sections:
        if section.id in drawn:
            for slot, length in inked_by_slot(section, pens, drawn[section.id]).items():
                spent[slot] = spent.get(slot, 0.0) + length
    return spent


def last_by_slot(
    sections: Iterable[Section], pens: PensTable, kept: Iterable[KeptStroke]
) -> dict[int, str]:
    """The pen that drew last out of each holder, by what is kept of the strokes, oldest first."""
    named = {
        (section.id, piece.stroke.id): piece.stroke.pen
        for section in sections
        for piece in section.pieces
    }
    last: dict[int, str] = {}
    for event in kept:
        name = named.get((event.section, event.stroke))
        if name is not None:
            last[pens.named(name).slot] = name
    return last


def _tip(name: str, pens: PensTable) -> _Tip:
    return pens.named(name).slot, name == "removable"


def _tip_by_tip(strokes: Sequence[PenUse], pens: PensTable) -> list[PenUse]:
    """Strokes in their order, but those of one pen together where pens share a holder."""
    first: dict[_Tip, int] = {}
    for stroke in strokes:
        first.setdefault(_tip(stroke.pen, pens), len(first))
    return sorted(strokes, key=lambda stroke: first[_tip(stroke.pen, pens)])


def _shared(slot: int, section: Section, pens: PensTable) -> bool:
    """Whether a person has to change pens in this holder."""
    tips = {_tip(piece.stroke.pen, pens) for piece in section.pieces}
    return sum(tip[0] == slot for tip in tips) > 1
