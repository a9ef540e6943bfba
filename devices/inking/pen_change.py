"""When a run has to stop for a pen: another one in the same holder, or a new one for a spent one.

It owns the order of strokes by pens and what a filling lasts for; it must not know how anything
is sent, nor who is asked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from devices.dialects.writer import PenUse
    from marking.job.keys import PensTable
    from marking.layout.layout import Stroke
    from marking.record.rows import KeptStroke
    from marking.sections.plan import Section

Tip = tuple[int, bool]
"""A holder, and whether the marks of the pen in it come out again."""
_HAIR = 1e-9
"""Of a filling: what arithmetic may lose."""


class PenAsked(Struct, frozen=True):
    """A pen that a person puts into a holder: another kind, or a `new` one for a spent one."""

    slot: int
    pen: str
    new: bool = False

    @property
    def question(self) -> str:
        """What is asked."""
        if self.new:
            return f"Put a new pen into holder {self.slot}. Is it in?"
        return f"Holder {self.slot} needs the pen for {self.pen}. Is it in?"

    def record(self, section: str) -> dict[str, Any]:
        """The same for a program."""
        return {"section": section, "holder": self.slot, "pen": self.pen, "new": self.new}


class PenStretch(Struct, frozen=True):
    """Strokes to ink in one go, and what a person has to agree to before the first of them."""

    asked: tuple[PenAsked, ...]
    strokes: tuple[PenUse, ...]
    new_pen: bool = False
    """Whether one that inks is put in for a spent one."""

    @property
    def questions(self) -> tuple[str, ...]:
        """What a person is asked, in order."""
        return tuple(one.question for one in self.asked)


def stretches(
    section: Section,
    todo: Sequence[PenUse],
    pens: PensTable,
    left: Mapping[Tip, float],
    last: Mapping[int, str],
) -> Iterator[PenStretch]:
    """`todo`, pen by pen, cut where a person has to change one.

    `left` is what each pen's filling has left (`left_by_tip`), `last` the pen that drew last out of
    each holder (`last_by_slot`).
    """
    left = dict(left)
    held: dict[int, Tip] = {}
    before = {slot: _tip(name, pens) for slot, name in last.items()}
    drawn = {piece.stroke.id: piece.stroke for piece in section.pieces}
    asked: list[PenAsked] = []
    strokes: list[PenUse] = []
    new = False
    for stroke in _tip_by_tip(todo, pens):
        slot = pens.named(stroke.pen).slot
        tip = _tip(stroke.pen, pens)
        now: list[PenAsked] = []
        # A section of ink alone may come after one that ended with the removable pen.
        other = _shared(slot, section, pens) or before.get(slot, tip) != tip
        if held.get(slot) != tip and other:
            now.append(PenAsked(slot, stroke.pen))
        held[slot] = tip
        spent_one = _draws(drawn[stroke.id], pens, left)
        if spent_one:
            now.append(PenAsked(slot, stroke.pen, new=True))
        if now and strokes:
            yield PenStretch(tuple(asked), tuple(strokes), new)
            asked, strokes, new = [], [], False
        asked += now
        new = new or (spent_one and stroke.pen != "removable")
        strokes.append(stroke)
    if strokes:
        yield PenStretch(tuple(asked), tuple(strokes), new)


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


def left_by_tip(
    sections: Iterable[Section], pens: PensTable, kept: Iterable[KeptStroke]
) -> dict[Tip, float]:
    """What is left of each pen's filling, by what is kept of the strokes, oldest first.

    1 is a whole one, which a pen that drew nothing has.
    """
    named = {
        (section.id, piece.stroke.id): piece.stroke
        for section in sections
        for piece in section.pieces
    }
    drawn = dict.fromkeys((one.section, one.stroke) for one in kept if one.event != "sent")
    return left_after([named[one] for one in drawn if one in named], pens, {})


def left_after(
    strokes: Iterable[Stroke], pens: PensTable, left: Mapping[Tip, float]
) -> dict[Tip, float]:
    """What is left of each pen's filling once `strokes` are drawn too."""
    after = dict(left)
    for stroke in strokes:
        _draws(stroke, pens, after)
    return after


def _draws(stroke: Stroke, pens: PensTable, left: dict[Tip, float]) -> bool:
    """Takes what `stroke` needs from what is left; whether that needs a new pen.

    Counted in fillings: what one pen draws may be stated to last differently, line by heavy line.
    """
    pen, tip = pens.named(stroke.pen), _tip(stroke.pen, pens)
    if pen.ink_length is None:
        return False
    need = stroke.length * stroke.times(pen) / pen.ink_length
    spent = left.get(tip, 1.0) < need - _HAIR
    left[tip] = (1.0 if spent else left.get(tip, 1.0)) - need
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


def _tip(name: str, pens: PensTable) -> Tip:
    return pens.named(name).slot, name == "removable"


def _tip_by_tip(strokes: Sequence[PenUse], pens: PensTable) -> list[PenUse]:
    """Strokes in their order, but those of one pen together where pens share a holder."""
    first: dict[Tip, int] = {}
    for stroke in strokes:
        first.setdefault(_tip(stroke.pen, pens), len(first))
    return sorted(strokes, key=lambda stroke: first[_tip(stroke.pen, pens)])


def _shared(slot: int, section: Section, pens: PensTable) -> bool:
    """Whether a person has to change pens in this holder."""
    tips = {_tip(piece.stroke.pen, pens) for piece in section.pieces}
    return sum(tip[0] == slot for tip in tips) > 1
