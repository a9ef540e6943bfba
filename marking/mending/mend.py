"""A mend: what is asked to be inked anew, why and how, kept with its very strokes, and its state.

It knows the record, the layout and the division; no machine. Table frame, millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from marking.begun.inked import drawn_pieces, ruled_lines_done
from marking.begun.on_the_cover import plan_hash
from marking.errors import RefusedError
from marking.layout.layout import Stroke
from marking.mending.chosen import called, inside, strokes_named
from marking.mending.marks_around import asked_for, beside, crossings
from marking.mending.struck_out import struck_out
from marking.record.kept import as_kept
from marking.record.record import layout_hash
from marking.sections.mended import mended_name, mended_section
from marking.sections.plan import Piece

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from marking.arrays import Box
    from marking.job.keys import PensTable
    from marking.layout.layout import Layout
    from marking.mending.marks_around import Crossing
    from marking.record.record import Record
    from marking.sections.locating_marks import Mark
    from marking.sections.plan import Plan, Section

MendState = Literal["asked", "begun", "inked", "taken back"]


class MendAsked(Struct, frozen=True):
    """What a person wants inked anew."""

    why: str
    lines: str | None = None
    """As typed; None where the box or the section says it."""
    box: Box | None = None
    section: str | None = None
    off: float | None = None
    """mm that the wrong lines lie off; None where the ink is drawn over itself."""


class Mend(Struct, frozen=True):
    """What was asked for once, by section, and what has become of it."""

    id: str
    why: str
    off: float | None
    pieces: Mapping[str, tuple[Piece, ...]]
    """By section, under ids of the mend's own: first what strikes out, then what is drawn."""
    done: frozenset[str]
    """The sections of it that are inked anew."""
    state: MendState
    step: float | None
    """mm: the largest step to the ink around that a person saw; None before it was looked over."""
    by_hand: tuple[Piece, ...] = ()
    """What was ruled by hand between stubs, and is to be ruled anew."""
    ruled: bool = True
    """Whether all of that is ruled anew."""

    @property
    def every_piece(self) -> tuple[Piece, ...]:
        """All of it, by machine and by hand."""
        return (*(piece for pieces in self.pieces.values() for piece in pieces), *self.by_hand)

    @property
    def to_rule(self) -> tuple[Piece, ...]:
        """What waits for a hand."""
        return () if self.ruled or self.state == "taken back" else self.by_hand

    @property
    def open(self) -> tuple[str, ...]:
        """Sections that wait for it."""
        return (
            ()
            if self.state == "taken back"
            else tuple(n for n in self.pieces if n not in self.done)
        )

    @property
    def waits_for_a_look(self) -> bool:
        """Whether all of it is inked anew and nobody has told yet how its ink meets the old."""
        return self.state == "inked" and self.step is None


def ask(
    record: Record, layout: Layout, plan: Plan, pens: PensTable, asked: MendAsked
) -> tuple[Mend, tuple[str, ...]]:
    """Keeps what is asked for; the mend, and what of it is not inked yet, as a person calls it.

    Raises BadInputError for what is not laid out, RefusedError for what was never inked.
    """
    wanted = None if asked.lines is None else set(strokes_named(layout, asked.lines))
    drawn = drawn_pieces(record, layout, plan)
    chosen: dict[str, tuple[Piece, ...]] = {}
    bare: list[str] = []
    for section in plan.sections:
        if asked.section not in (None, section.id):
            continue
        pieces = [p for p in section.pieces if p.stroke.layer != "witness"]
        named_here = [p for p in pieces if wanted is None or p.of in wanted]
        inked: Sequence[Piece] = [p for p in named_here if p.stroke.id in drawn[section.id]]
        left: Sequence[Piece] = [p for p in named_here if p.stroke.id not in drawn[section.id]]
        if asked.box is not None:
            inked, left = (inside(layout, some, asked.box) for some in (inked, left))
        bare += [piece.of for piece in left]
        if inked:
            chosen[section.id] = tuple(inked)
    by_hand, left = _ruled(record, layout, plan, asked, wanted)
    bare += [piece.of for piece in left]
    if not chosen and not by_hand:
        raise RefusedError(_nothing(layout, bare))
    named = f"m{len({row[4] for row in record.rows('mend')}) + 1}"
    made = {
        section: tuple(
            replace(p, stroke=replace(p.stroke, id=f"{p.stroke.id}-{named}"))
            for p in (
                *(struck_out(pieces, asked.off, layout, pens) if asked.off is not None else ()),
                *pieces,
            )
        )
        for section, pieces in chosen.items()
    }
    detail = {
        "why": asked.why,
        "off_mm": asked.off,
        "pieces": {name: [_plain(p) for p in pieces] for name, pieces in made.items()},
        "by_hand": [
            _plain(replace(p, stroke=replace(p.stroke, id=f"{p.stroke.id}-{named}")))
            for p in by_hand
        ],
    }
    _add(record, layout, plan, named, "asked", detail)
    (mend,) = (one for one in mends(record, layout, plan) if one.id == named)
    return mend, called(layout, bare)


def _ruled(
    record: Record, layout: Layout, plan: Plan, asked: MendAsked, wanted: set[str] | None
) -> tuple[Sequence[Piece], Sequence[Piece]]:
    """What of the lines ruled between stubs is chosen: what is on the cover, and what is not yet.

    No section holds any of it.
    """
    if asked.section is not None:
        return (), ()
    done = ruled_lines_done(record, layout, plan)
    lines = [line for line in plan.ruled if wanted is None or line.of in wanted]
    pieces = [
        [Piece(one.stroke, one.of) for one in lines if (one.id in done) == is_]
        for is_ in (True, False)
    ]
    inked, left = pieces if asked.box is None else (inside(layout, p, asked.box) for p in pieces)
    return inked, left


def _nothing(layout: Layout, bare: Sequence[str]) -> str:
    names = called(layout, bare)
    shown = ", ".join(names[:6]) + (", …" if len(names) > 6 else "")
    if not names:
        return "nothing is laid out there, so there is nothing to ink anew; nothing was kept"
    return (
        f"{shown}: not inked by the record, so nothing can be inked anew. canvasrule drive inks "
        "what is open; ink that only a person knows of is told by canvasrule place --inked, a line "
        "that is ruled by canvasrule rule --done. Nothing was kept"
    )


def _plain(piece: Piece) -> dict[str, Any]:
    stroke = piece.stroke
    return {
        "id": stroke.id,
        "of": piece.of,
        "layer": stroke.layer,
        "pen": stroke.pen,
        "points": stroke.points.tolist(),
        "beside": list(stroke.beside),
    }


def _add(
    record: Record, layout: Layout, plan: Plan, mend: str, event: str, detail: dict[str, Any]
) -> None:
    from marking.record.cells import json_cell

    row = (layout_hash(layout), plan_hash(plan), mend, event, json_cell(detail))
    record.add_rows("mend", "layout, plan, mend, event, detail", [row])


def mends(record: Record, layout: Layout, plan: Plan) -> tuple[Mend, ...]:
    """Every mend of this layout and division, oldest first."""
    every = record.rows("mend")
    if not every:
        return ()
    named, division = layout_hash(layout), plan_hash(plan)
    begun = {run.section for run in record.runs()}
    done = {ink.section for ink in record.ink() if ink.event == "done"}
    by_rule = {one.line for one in record.ruled() if one.layout == named}
    rows = [
        (mend, event, detail)
        for _, _, of_layout, of_plan, mend, event, detail in every
        if (of_layout, of_plan) == (named, division)
    ]
    found = []
    for mend, event, detail in rows:
        if event != "asked":
            continue
        later = [(what, told) for name, what, told in rows if name == mend and what != "asked"]
        with as_kept(detail, "a mend"):
            pieces = {
                str(section): tuple(_piece(one) for one in several)
                for section, several in detail["pieces"].items()
            }
            by_hand = tuple(_piece(one) for one in detail.get("by_hand", ()))
            ruled = all(p.stroke.id in by_rule for p in by_hand)
            inked = frozenset(s for s in pieces if mended_name(s, mend) in done)
            steps = [float(told["step_mm"]) for what, told in later if what == "looked over"]
            off = detail["off_mm"]
            found.append(
                Mend(
                    mend,
                    str(detail["why"]),
                    None if off is None else float(off),
                    pieces,
                    inked,
                    _state(
                        [mended_name(s, mend) in begun for s in pieces],
                        inked.issuperset(pieces) and ruled,
                        [what for what, _ in later],
                    ),
                    steps[-1] if steps else None,
                    by_hand,
                    ruled,
                )
            )
    return tuple(found)


def _piece(kept: Mapping[str, Any]) -> Piece:
    points = np.array(kept["points"], dtype=float).reshape(-1, 2)
    beside = tuple(float(off) for off in kept.get("beside", ()))
    stroke = Stroke(str(kept["id"]), kept["layer"], str(kept["pen"]), points, beside)
    return Piece(stroke, str(kept["of"]))


def _state(begun: Sequence[bool], whole: bool, events: Sequence[str]) -> MendState:
    """Of a mend whose set-downs are `begun` or not, all of it done where it is `whole`."""
    if "taken back" in events:
        return "taken back"
    if whole:
        return "inked"
    return "begun" if any(begun) else "asked"


def take_back(record: Record, layout: Layout, plan: Plan, mend: Mend) -> None:
    """Keeps that a mend is not wanted after all. Raises RefusedError once it is begun."""
    if mend.state != "asked":
        raise RefusedError(
            f"{mend.id} is {mend.state}, and ink stays: it cannot be taken back; nothing was kept"
        )
    _add(record, layout, plan, mend.id, "taken back", {})


def rule_anew(record: Record, layout: Layout, plan: Plan, mend: Mend) -> None:
    """Keeps that a person has ruled anew what a mend leaves to the rule. Raises RefusedError."""
    if not mend.to_rule:
        raise RefusedError(f"{mend.id} ({mend.state}) leaves no line to be ruled; nothing was kept")
    if mend.open:
        raise RefusedError(
            f"{mend.id}: its stubs come first, since the rule is laid over them: canvasrule drive "
            "inks them anew. Nothing was kept"
        )
    record.add_ruled(layout, [p.stroke.id for p in mend.to_rule], "ruled", plan_hash(plan))


def look_over(record: Record, layout: Layout, plan: Plan, mend: Mend, step: float) -> None:
    """Keeps the largest step to old ink that a person measured, mm. Raises RefusedError."""
    if mend.state != "inked":
        raise RefusedError(f"{mend.id} is {mend.state}, not inked, so there is no step to measure")
    _add(record, layout, plan, mend.id, "looked over", {"step_mm": step})


def set_downs(
    record: Record, layout: Layout, plan: Plan, pens: PensTable
) -> dict[str, tuple[tuple[Section, bool], ...]]:
    """By section, what is inked anew there: a section of its own for each mend, and if it is done.

    Mends that were taken back are left out.
    """
    found: dict[str, list[tuple[Section, bool]]] = {}
    kept = [one for one in mends(record, layout, plan) if one.state != "taken back"]
    sections = {section.id: section for section in plan.sections}
    for mend in kept:
        for name, pieces in mend.pieces.items():
            section = sections[name]
            around = crossings_around(record, layout, plan, section, kept)
            marks = asked_for(around, _box(pieces))
            made = mended_section(section, mend.id, pieces, marks, pens, plan.zone)
            found.setdefault(name, []).append((made, name in mend.done))
    return {name: tuple(several) for name, several in found.items()}


def crossings_around(
    record: Record,
    layout: Layout,
    plan: Plan,
    section: Section,
    kept: Sequence[Mend],
) -> tuple[Crossing, ...]:
    """The crossings on the cover that the device of a section reaches, none that is spoilt."""
    drawn = drawn_pieces(record, layout, plan)
    lying = {
        one.id: [piece for piece in one.pieces if piece.stroke.id in drawn[one.id]]
        for one in plan.sections
    }
    spoilt = [p for mend in kept for name in mend.open for p in mend.pieces[name]]
    x0, y0, x1, y1 = section.window
    keep = plan.zone.set_down
    return crossings(lying, spoilt, (x0 + keep, y0 + keep, x1 - keep, y1 - keep))


def spoilt_marks(
    record: Record, layout: Layout, plan: Plan, marks: Iterable[Mark]
) -> dict[str, str]:
    """The inked marks on lines that are to be inked anew and are not yet, each with its mend."""
    waiting = [
        (mend.id, piece.stroke.points)
        for mend in mends(record, layout, plan)
        for name in mend.open
        for piece in mend.pieces[name]
    ]
    return {
        mark.id: named
        for mark in marks
        if mark.kind != "control"
        for named, points in waiting
        if beside(mark.at_table, points)
    }


def _box(pieces: Sequence[Piece]) -> Box:
    points = np.concatenate([piece.stroke.points for piece in pieces])
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return (x0, y0, x1, y1)
